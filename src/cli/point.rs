//! `railrise point`: one operating point as a table or as JSON.

use railrise::build::Build;
use railrise::error::{Error, Kind};
use railrise::explain;
use railrise::quantity::{Dim, Flavour, GaugePressure, pa, rad_per_s, unit};
use railrise::steady::{Acceptance, Operating, limits_at, point, reserve};
use std::path::PathBuf;
use std::process::ExitCode;

/// The arguments of `railrise point`.
#[derive(clap::Args)]
pub struct Args {
    /// The build file.
    build: PathBuf,
    /// Engine speed, such as 6500 or "6500 rpm".
    #[arg(long)]
    rpm: String,
    /// Manifold pressure above ambient, such as "1.4 bar", "20 psi" or "-0.65 bar".
    #[arg(long, allow_hyphen_values = true)]
    boost: String,
    /// Changes a value of the build, such as "main pump.wear=10 %"; may be repeated.
    #[arg(long = "set", value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Shows how a figure comes about, such as "lambda"; may be repeated.
    #[arg(long, value_name = "FIGURE")]
    explain: Vec<String>,
    /// Writes JSON in SI units instead of the tables.
    #[arg(long)]
    json: bool,
}

/// Runs the subcommand.
pub fn run(args: Args) -> ExitCode {
    match work(&args) {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{e}");
            ExitCode::from(if e.kind() == Kind::Solve { 1 } else { 2 })
        }
    }
}

fn asked(text: &str, dim: Dim, bare: &str, what: &str) -> Result<unit::Read, Error> {
    let with_unit = if text.trim().parse::<f64>().is_ok() && !bare.is_empty() {
        format!("{text} {bare}")
    } else {
        text.to_owned()
    };
    unit::read(&with_unit, dim).map_err(|e| {
        Error::new(Kind::Value, format!("--{what} \"{text}\" is not a {} with a unit ({e:?})", dim.name()))
            .next(format!("accepted units: {}", unit::accepted(dim)))
    })
}

fn work(args: &Args) -> Result<String, Error> {
    let mut build = Build::read(&args.build)?;
    for s in &args.set {
        let (key, value) = s.split_once('=').ok_or_else(|| {
            Error::new(Kind::Value, format!("--set \"{s}\" has no ="))
                .next("write --set \"main pump.wear=10 %\"")
        })?;
        build.set(key.trim(), value.trim())?;
    }
    let speed = asked(&args.rpm, Dim::AngularVelocity, "rpm", "rpm")?;
    let boost = asked(&args.boost, Dim::Pressure, "", "boost")?;
    let ambient = build
        .section("ambient")
        .parameter("pressure")
        .map_or(railrise::quantity::STANDARD_ATMOSPHERE, |p| p.si);
    let boost = match boost.flavour {
        Some(Flavour::Absolute) => GaugePressure::from_pascals(boost.si - ambient),
        _ => GaugePressure::from_pascals(boost.si),
    };
    if !(speed.si >= 0.0) {
        return Err(Error::new(Kind::Value, format!("--rpm {} is below zero", args.rpm))
            .next("give a speed of zero (engine off) or more"));
    }
    let op = if speed.si == 0.0 {
        Operating::engine_off()
    } else {
        Operating::at(rad_per_s(speed.si), pa(boost.pascals()))
    };
    let p = point(&build, &op)?;
    let mut out = String::new();
    if speed.si == 0.0 {
        if args.json {
            return Ok(format!("{:#}\n", explain::json(&p, None, None)));
        }
        return Ok(format!("{}", explain::readings(&p)));
    }
    let l = limits_at(&build, &p, &Acceptance::default())?;
    let r = reserve(&build, &op)?;
    if args.json {
        return Ok(format!("{:#}\n", explain::json(&p, Some(&l), Some(&r))));
    }
    for s in build.slips() {
        let line = s.line.map_or_else(String::new, |l| format!(" (line {l})"));
        out.push_str(&format!("Probable slip, {}{line}: {}\n\n", s.key, s.what));
    }
    out.push_str(&format!(
        "{}\n{}\n{}\n",
        explain::readings(&p),
        explain::checks(&l),
        explain::reserve_words(&r)
    ));
    for figure in &args.explain {
        out.push_str(&format!("\n{}", explain::explain(&p, figure)?));
    }
    if op.boost().pascals() > 0.0 {
        out.push_str(&format!("\n{}\n", explain::PULL_CAUTION));
    }
    Ok(out)
}
