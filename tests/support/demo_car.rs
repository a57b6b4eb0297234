//! The demo car (invented) as it is read from its file, and its runs.

use railrise::build::Build;
use railrise::schedule::Schedule;
use railrise::transient::{Options, Solution, Stopped, run};

pub fn car(name: &str) -> Build {
    let root = env!("CARGO_MANIFEST_DIR");
    Build::read(format!("{root}/datasets/hill-climb-car/{name}.toml")).expect("the demo build reads")
}

pub fn layout(name: &str) -> Build {
    let root = env!("CARGO_MANIFEST_DIR");
    Build::read(format!("{root}/datasets/layouts/{name}.toml")).expect("the layout reads")
}

/// Without dry friction, which leaves the mean rail anywhere in its band.
pub fn smooth() -> Options {
    Options { dry_friction: false, ..Options::default() }
}

/// The same with a poppet of 3 g damped by 20 N s/m.
pub fn damped() -> Options {
    Options { poppet: Some((20.0, 3e-3)), ..smooth() }
}

/// A run to its end.
pub fn finished(build: &Build, schedule: &Schedule, o: &Options) -> Solution {
    let run = run(build, schedule, o).expect("valid");
    assert_eq!(run.stopped, Stopped::Finished, "{}", run.stopped);
    run
}
