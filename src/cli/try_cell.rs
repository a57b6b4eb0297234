use std::process::ExitCode;
use std::time::Instant;
#[derive(clap::Args)]
pub struct Args {
    cells: Vec<String>,
}
pub fn run(args: Args) -> ExitCode {
    let t = Instant::now();
    let p = match railrise::kernel::prepare::enter() {
        Ok(p) => p,
        Err(e) => {
            eprintln!("{e}");
            return ExitCode::from(1);
        }
    };
    eprintln!("prepared {:?}", t.elapsed());
    let mut s = match railrise::kernel::session::Session::start(&p, &p.started_in, &mut |m| eprintln!("{m}"))
    {
        Ok(s) => s,
        Err(e) => {
            eprintln!("{e}");
            return ExitCode::from(1);
        }
    };
    eprintln!("started {:?}", t.elapsed());
    for c in args.cells {
        let t = Instant::now();
        let r = s.execute(&c, &mut |o| println!("{o:?}"));
        if let Err(e) = r {
            println!("ERR {} [{}]\n{}", e.name, e.message, e.text)
        }
        eprintln!("cell {:?}", t.elapsed());
    }
    ExitCode::SUCCESS
}
