//! Steps in time beside SUNDIALS CVODE, in one run, at equal error against one tight reference, on the same right-hand
//! side; and how the cost grows with cylinders and hose lumps.
//!
//! `cargo bench --no-default-features --features cvode --bench time` (system package `libsundials-dev`); without the
//! feature the comparison is left out.

#[cfg(feature = "cvode")]
#[path = "../tests/support/cvode.rs"]
mod cvode;
#[path = "../tests/support/hill_climb_net.rs"]
mod hill_climb_net;

use hill_climb_net::{Choice, net};
use railrise::build::Build;
use railrise::quantity::{bar, rpm, s};
use railrise::schedule::{Schedule, Track};
use railrise::stepper::{Every, Exponential, Method, Rodas4, StopReason, Tsit5, solve};
use railrise::transient::linear::{Linear, Mode};
use railrise::transient::network::NetSystem;
use railrise::transient::{self, Behind, Gases, Options, Stepper};
use std::time::Instant;

/// Record of the rail for the comparison, s.
const GRID: f64 = 1e-4;
/// What counts as equal: 50 Pa and 1e-5 of the injected volume.
const EQUAL: (f64, f64) = (50.0, 1e-5);

/// The car past its start-up.
struct Warm<const N: usize> {
    system: NetSystem<N>,
    t: f64,
    y: [f64; N],
}

impl<const N: usize> Warm<N> {
    fn new(choice: Choice) -> Self {
        let (mut system, y) = NetSystem::<N>::new(net(choice), 0.0).expect("a valid network");
        let options = system.tolerances(0.1);
        let run = solve(&mut system, &mut Tsit5::new(), 0.0, y, 1.0, &options, &mut ()).expect("starts");
        assert_eq!(run.stop, StopReason::Finished);
        system.forget_events();
        Self { system, t: run.t, y: run.y }
    }

    /// Rail on the grid and what each injector passed, in a second.
    fn read(&self, rows: &[[f64; N]], end: &[f64; N]) -> (Vec<f64>, Vec<f64>) {
        let (rail, first) = (self.system.node(0), self.system.injected(0));
        let injectors = self.system.net().injectors.len();
        (
            rows.iter().map(|y| y[rail]).collect(),
            (first..first + injectors).map(|k| end[k] - self.y[k]).collect(),
        )
    }

    fn ours<M: Method<N>>(&self, mut method: M, factor: f64, record: bool) -> Outcome {
        let mut system = self.system.clone();
        let options = system.tolerances(factor);
        let mut grid = Every::new(self.t, GRID);
        let from = Instant::now();
        let run = if record {
            solve(&mut system, &mut method, self.t, self.y, self.t + 1.0, &options, &mut grid)
        } else {
            solve(&mut system, &mut method, self.t, self.y, self.t + 1.0, &options, &mut ())
        }
        .expect("starts");
        let took = from.elapsed().as_secs_f64();
        assert_eq!(run.stop, StopReason::Finished);
        (took, record.then(|| self.read(&grid.y, &run.y)), run.statistics.accepted + run.statistics.rejected)
    }

    #[cfg(feature = "cvode")]
    fn theirs(&self, family: cvode::Family, factor: f64, record: bool) -> Outcome {
        let mut system = self.system.clone();
        let options = system.tolerances(factor);
        let from = Instant::now();
        let run = cvode::solve(
            &mut system,
            family,
            (self.t, self.y, self.t + 1.0),
            &options,
            record.then_some(GRID),
        );
        let took = from.elapsed().as_secs_f64();
        (took, record.then(|| self.read(&run.rows, &run.y)), run.steps)
    }
}

fn differ(a: &(Vec<f64>, Vec<f64>), b: &(Vec<f64>, Vec<f64>)) -> (f64, f64) {
    let rail = a.0.iter().zip(&b.0).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let volume = a.1.iter().zip(&b.1).map(|(a, b)| (a / b - 1.0).abs()).fold(0.0, f64::max);
    (rail, volume)
}

/// Milliseconds, rail pressures and injected volumes where recorded, steps.
type Outcome = (f64, Option<(Vec<f64>, Vec<f64>)>, u64);
type Go<'a> = Box<dyn Fn(f64, bool) -> Outcome + 'a>;

fn compared() {
    let warm = Warm::<24>::new(Choice::default());
    let tight = warm.ours(Rodas4::new(), 1e-5, true).1.expect("recorded");
    // What a run of this network takes when nobody asks for a method.
    assert!(warm.system.is_nearly_linear());
    #[cfg_attr(not(feature = "cvode"), expect(unused_mut))]
    let mut methods: Vec<(&str, Go<'_>)> = vec![
        ("Exponential (chosen for this network)", Box::new(|f, r| warm.ours(Exponential::new(), f, r))),
        ("Tsit5", Box::new(|f, r| warm.ours(Tsit5::new(), f, r))),
        ("Rodas4, Jacobian in closed form", Box::new(|f, r| warm.ours(Rodas4::new(), f, r))),
    ];
    #[cfg(feature = "cvode")]
    {
        let check = warm.theirs(cvode::Family::Bdf, 1e-5, true).1.expect("recorded");
        let (rail, volume) = differ(&check, &tight);
        println!("the reference and CVODE at the same tight tolerance: {rail:.2} Pa and {volume:.1e} apart");
        methods.push((
            "CVODE BDF, dense, Jacobian in closed form",
            Box::new(|f, r| warm.theirs(cvode::Family::Bdf, f, r)),
        ));
        methods.push((
            "CVODE Adams, dense, Jacobian in closed form",
            Box::new(|f, r| warm.theirs(cvode::Family::Adams, f, r)),
        ));
    }
    println!(
        "\none second at 6500 rev/min, four cylinders, {} states, every pulse resolved:",
        warm.system.active()
    );
    println!(
        "{:<45}{:>9}{:>9}{:>11}{:>11}{:>8}{:>10}",
        "method", "factor", "rail Pa", "volume", "ms", "steps", "x real"
    );
    let mut chosen: Vec<f64> = Vec::new();
    for (_, go) in &methods {
        // The loosest factor, by halves, that meets both limits at this and the next half.
        let mut best = None;
        for k in 0..16 {
            let factor = 16.0 * 0.5f64.powi(k);
            let e = differ(&go(factor, true).1.expect("recorded"), &tight);
            let within = e.0 <= EQUAL.0 && e.1 <= EQUAL.1;
            if within && best.is_none() {
                best = Some(factor);
            } else if !within {
                best = None;
            } else {
                break;
            }
        }
        chosen.push(best.expect("some factor meets the limits"));
    }
    let mut fastest = vec![f64::INFINITY; methods.len()];
    let mut default = f64::INFINITY;
    for _ in 0..9 {
        for (k, (_, go)) in methods.iter().enumerate() {
            fastest[k] = fastest[k].min(go(chosen[k], false).0);
        }
        default = default.min(methods[0].1(warm.system.fineness(true), false).0);
    }
    for (k, (name, go)) in methods.iter().enumerate() {
        let (_, kept, steps) = go(chosen[k], true);
        let e = differ(&kept.expect("recorded"), &tight);
        let real = 1.0 / fastest[k];
        println!(
            "{name:<45}{:>9.4}{:>9.2}{:>11.1e}{:>11.2}{steps:>8}{real:>10.0}",
            chosen[k],
            e.0,
            e.1,
            fastest[k] * 1e3
        );
    }
    let e = differ(&methods[0].1(warm.system.fineness(true), true).1.expect("recorded"), &tight);
    println!(
        "default settings: {:.2} ms, {:.0} x real time, {:.2} Pa, {:.1e}",
        default * 1e3,
        1.0 / default,
        e.0,
        e.1
    );
    for (k, (name, _)) in methods.iter().enumerate().skip(3) {
        println!(
            "{name} takes {:.1} times as long as the stepper chosen, {:.1} times as long as Tsit5, at equal error",
            fastest[k] / fastest[0],
            fastest[k] / fastest[1]
        );
    }
}

fn best_of(n: usize, mut go: impl FnMut() -> f64) -> f64 {
    (0..n).map(|_| go()).fold(f64::INFINITY, f64::min)
}

fn growth() {
    println!("\ncost of Tsit5 at default settings, one second at 6500 rev/min:");
    // One size of state for all, so that only the work grows.
    let cost = |c: Choice| {
        let warm = Warm::<80>::new(c);
        let run = || warm.ours(Tsit5::new(), warm.system.fineness(false), false);
        (best_of(7, || run().0) * 1e3, run().2)
    };
    let mut by_cylinder = Vec::new();
    for cylinders in [4, 6, 8, 12] {
        let pump = 5.2e-6 * cylinders as f64 / 4.0;
        let (ms, steps) = cost(Choice { cylinders, pump, ..Choice::default() });
        println!(
            "{cylinders:>4} cylinders: {ms:.2} ms, {steps} steps, {:.2} ms a cylinder",
            ms / cylinders as f64
        );
        by_cylinder.push((cylinders as f64, ms));
    }
    println!("     cost grows with the number of cylinders to the power {:.2}", exponent(&by_cylinder));
    let mut by_lump = Vec::new();
    for lumps in [4, 8, 16] {
        let (ms, steps) = cost(Choice { feed_lumps: lumps, return_lumps: lumps, ..Choice::default() });
        println!(
            "{:>4} lumps: {ms:.2} ms, {steps} steps, {:.0} ns a step",
            2 * lumps,
            ms * 1e6 / steps as f64
        );
        by_lump.push((2.0 * lumps as f64, ms / steps as f64));
    }
    println!("     cost of a step grows with the number of lumps to the power {:.2}", exponent(&by_lump));
}

/// Slope of the straight line through the logarithms, by least squares.
fn exponent(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let logs: Vec<(f64, f64)> = points.iter().map(|(x, y)| (x.ln(), y.ln())).collect();
    let (mx, my) = (logs.iter().map(|p| p.0).sum::<f64>() / n, logs.iter().map(|p| p.1).sum::<f64>() / n);
    let along: f64 = logs.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    along / logs.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>()
}

fn the_demo_car() {
    println!("\nthe demo car as it is read from its file, everything recorded, one second at 6500 rev/min:");
    let file = format!("{}/datasets/hill-climb-car/before-0.7-bar.toml", env!("CARGO_MANIFEST_DIR"));
    let build = Build::read(file).expect("the demo build reads");
    let held = Schedule::hold(rpm(6500.0), bar(0.7), s(1.0));
    // A speed that moves a little: the gas is then followed through every cycle, not through one that stands for all.
    let moving =
        Schedule { rpm: Track::new(&[(0.0, 6499.0), (1.0, 6501.0)]).expect("in order"), ..held.clone() };
    let plain = Options { warm_up: 0.0, ..Options::default() };
    let smooth = Options { dry_friction: false, ..plain.clone() };
    let modes = Options { stepper: Stepper::Exponential, ..smooth.clone() };
    let port = Options { behind: Behind::Port(Gases::default()), ..smooth.clone() };
    for (what, schedule, o) in [
        ("default settings, dry friction of the poppet", &held, &plain),
        ("no dry friction", &held, &smooth),
        ("no dry friction, exponential asked for", &held, &modes),
        ("ports and cylinders, one cycle for all", &held, &port),
        ("ports and cylinders, every cycle, all cores", &moving, &port),
        ("the same speed, manifold alone", &moving, &smooth),
    ] {
        let mut effort = 0;
        let took = best_of(9, || {
            let from = Instant::now();
            let run = transient::run(&build, schedule, o).expect("valid");
            effort = run.effort.accepted;
            from.elapsed().as_secs_f64()
        });
        println!("{what:<46}{:>8.2} ms, {:.0} x real time, {effort} steps", took * 1e3, 1.0 / took);
    }
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let took = best_of(9, || {
        let from = Instant::now();
        one.install(|| transient::run(&build, &moving, &port).expect("valid"));
        from.elapsed().as_secs_f64()
    });
    let what = "ports and cylinders, every cycle, one core";
    println!("{what:<46}{:>8.2} ms, {:.0} x real time", took * 1e3, 1.0 / took);
}

/// Where the poppet swings, and what is damped least.
fn small_motions() {
    let told = |what: &str, modes: &[(Mode, String)]| {
        let mut swings = modes.iter().filter(|(m, _)| m.frequency > 1.0);
        let (least, of) = swings.clone().next().expect("something swings");
        let poppet = swings.find(|(_, of)| of.contains("poppet") || of.contains("lift"));
        let poppet =
            poppet.map_or("none".to_owned(), |(m, _)| format!("{:.0} Hz, {:.3}", m.frequency, m.damping));
        println!("{what:<46} poppet {poppet}; least {:.1} Hz, {:.3} ({of})", least.frequency, least.damping);
    };
    println!("\nsmall motions, frequency and damping ratio (below zero: grows):");
    let still = Warm::<24>::new(Choice { pulse: 0.0, ..Choice::default() });
    let system = &still.system;
    let modes = Linear::of(system, still.t, &still.y, system.injected(0)).modes();
    let poppet = system.poppet_at(0)..system.poppet_at(1);
    let name = |m: &Mode| if poppet.contains(&m.state) { "poppet" } else { "hoses" }.to_owned();
    let modes: Vec<_> = modes
        .into_iter()
        .map(|m| {
            let of = name(&m);
            (m, of)
        })
        .collect();
    told("the network of this bench, 6500 rev/min", &modes);
    let read = |file: &str| Build::read(format!("{}/datasets/{file}.toml", env!("CARGO_MANIFEST_DIR")));
    let build = read("hill-climb-car/before-0.7-bar").expect("the demo build reads");
    let twins = read("layouts/twin-rails-with-crossover").expect("the layout reads");
    let o = Options::default();
    let weak = Options { wall_loss: 0.5 * o.wall_loss, ..o.clone() };
    for (what, o) in [("", &o), (", walls that lose half", &weak)] {
        for (speed, boost) in [(900.0, -0.65), (3000.0, 0.0), (6500.0, 0.7)] {
            let held = Schedule::hold(rpm(speed), bar(boost), s(1.0));
            told(
                &format!("the demo car, {speed} rev/min{what}"),
                &transient::modes(&build, &held, o).expect("valid"),
            );
        }
    }
    let held = Schedule::hold(rpm(4000.0), bar(0.3), s(1.0));
    told("twin rails, 4000 rev/min", &transient::modes(&twins, &held, &o).expect("valid"));
}

fn main() {
    compared();
    growth();
    small_motions();
    the_demo_car();
}
