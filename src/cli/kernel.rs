//! `railrise kernel`: the kernel for notebook programs.

use super::{failed, wrong};
use crate::kernel::install::{self, Place};
use crate::kernel::{library, prepare, serve, sources};
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Make the kernel known to notebook programs, and build what its first start needs
    Install {
        #[command(flatten)]
        whereto: Where,
        /// The kernel's name
        #[arg(long, default_value = "railrise")]
        name: String,
        /// Leave the building to the first start
        #[arg(long)]
        no_build: bool,
    },
    /// Serve one notebook; notebook programs call this
    Serve {
        /// Where client and kernel meet
        connection_file: PathBuf,
    },
    /// List the kernels made known by this program
    List {
        #[command(flatten)]
        whereto: Where,
    },
    /// Forget a kernel
    Remove {
        #[command(flatten)]
        whereto: Where,
        /// The kernel's name
        #[arg(long, default_value = "railrise")]
        name: String,
    },
}

#[derive(clap::Args)]
#[group(multiple = false)]
struct Where {
    /// For this user (as it is without any of the two)
    #[arg(long)]
    user: bool,
    /// Below a folder, such as a virtual environment's
    #[arg(long)]
    prefix: Option<PathBuf>,
}

impl Where {
    fn place(self) -> Result<Place, String> {
        match self.prefix {
            Some(prefix) => std::path::absolute(&prefix)
                .map(Place::Prefix)
                .map_err(|e| format!("{}: {e}", prefix.display())),
            None => Ok(Place::User),
        }
    }
}

/// Does what the action says.
pub fn run(args: Args) -> ExitCode {
    match args.action {
        Action::Install { whereto, name, no_build } => {
            let place = match whereto.place().and_then(|p| install::check_name(&name).map(|()| p)) {
                Ok(place) => place,
                Err(error) => return wrong(error),
            };
            if !no_build {
                let tell = &mut |text: &str| eprintln!("{text}");
                let built = prepare::enter().and_then(|prepared| {
                    sources::make_sure(&prepared, tell)?;
                    library::make_sure(&prepared, tell).map(drop)
                });
                if let Err(error) = built {
                    return failed(error);
                }
            }
            told(install::install(&place, &name), "The kernel is known as")
        }
        Action::Serve { connection_file } => {
            let connection_file = match std::path::absolute(&connection_file) {
                Ok(file) if file.is_file() => file,
                _ => {
                    return wrong(format!("{}: there is no such connection file", connection_file.display()));
                }
            };
            match prepare::enter().and_then(|prepared| serve::serve(prepared, &connection_file)) {
                Ok(()) => ExitCode::SUCCESS,
                Err(error) => failed(error),
            }
        }
        Action::List { whereto } => match whereto.place().and_then(|p| install::list(&p)) {
            Ok(found) => {
                found.iter().for_each(|(name, folder)| println!("{name}\t{}", folder.display()));
                ExitCode::SUCCESS
            }
            Err(error) => failed(error),
        },
        Action::Remove { whereto, name } => {
            told(whereto.place().and_then(|p| install::remove(&p, &name)), "The kernel is forgotten:")
        }
    }
}

fn told(done: Result<PathBuf, String>, words: &str) -> ExitCode {
    match done {
        Ok(folder) => {
            println!("{words} {}", folder.display());
            ExitCode::SUCCESS
        }
        Err(error) => wrong(error),
    }
}
