//! The run loop: it lands where told, stops with a typed reason, refuses bad input, converges at its order.

use railrise::stepper::{
    After, Bands, Cancel, Crossing, Every, Exponential, Method, Observer, Options, Progress, Rodas4,
    StepView, StepperError, StopReason, System, Tsit5, solve,
};
use std::ops::ControlFlow;
use std::sync::atomic::AtomicBool;

/// y' = -50 (y - cos t): a stiff-ish linear problem with a closed form.
struct Follow;
impl System<1> for Follow {
    fn rhs(&self, t: f64, y: &[f64; 1], dy: &mut [f64; 1]) {
        dy[0] = -50.0 * (y[0] - t.cos());
    }
}
fn follow_exact(t: f64) -> f64 {
    let a = 50.0f64;
    let p = a / (a * a + 1.0);
    p * (a * t.cos() + t.sin()) - p * a * (-a * t).exp()
}

/// y' = y cos t, y = exp(sin t).
struct Swing;
impl System<1> for Swing {
    fn rhs(&self, t: f64, y: &[f64; 1], dy: &mut [f64; 1]) {
        dy[0] = y[0] * t.cos();
    }
    fn time_derivative(&self, t: f64, y: &[f64; 1], _f: &[f64; 1], _step: f64, out: &mut [f64; 1]) {
        out[0] = -y[0] * t.sin();
    }
}

fn fixed_error<M: Method<1>>(mut method: M, steps: u32) -> f64 {
    let h = 2.0 / f64::from(steps);
    // Tolerances so loose that every step is the largest one.
    let mut o = Options::new(0.5, 1e9).max_step(h);
    o.first_step = Some(h);
    let run = solve(&mut Swing, &mut method, 0.0, [1.0], 2.0, &o, &mut ()).expect("valid");
    assert_eq!(run.statistics.accepted, u64::from(steps));
    (run.y[0] - 2.0f64.sin().exp()).abs()
}

// Orders are those of the papers: 5 and 4.
#[test]
fn each_method_converges_at_its_order() {
    let order = |coarse: f64, fine: f64| (coarse / fine).log2();
    let t = order(fixed_error(Tsit5::new(), 50), fixed_error(Tsit5::new(), 100));
    assert!((4.7..5.5).contains(&t), "tsit5 order {t}");
    let r = order(fixed_error(Rodas4::new(), 200), fixed_error(Rodas4::new(), 400));
    assert!((3.7..4.5).contains(&r), "rodas4 order {r}");
}

#[test]
fn the_continuous_extension_is_as_good_as_the_steps() {
    fn worst<M: Method<1>>(mut method: M) -> f64 {
        let mut seen = Every::new(0.0, 0.003);
        solve(&mut Follow, &mut method, 0.0, [0.0], 3.0, &Options::new(1e-8, 1e-10), &mut seen)
            .expect("valid");
        assert_eq!(seen.t.len(), 1001);
        seen.t.iter().zip(&seen.y).map(|(t, y)| (y[0] - follow_exact(*t)).abs()).fold(0.0, f64::max)
    }
    assert!(worst(Tsit5::new()) < 1e-7, "{}", worst(Tsit5::new()));
    assert!(worst(Rodas4::new()) < 1e-6, "{}", worst(Rodas4::new()));
    assert!(worst(Exponential::new()) < 1e-7, "{}", worst(Exponential::new()));
}

/// Adds one at each edge: y' = level.
struct Edges {
    edges: Vec<f64>,
    level: f64,
    landed: Vec<f64>,
}
impl System<1> for Edges {
    fn rhs(&self, _t: f64, _y: &[f64; 1], dy: &mut [f64; 1]) {
        dy[0] = self.level;
    }
    fn next_time_event(&self, t: f64) -> Option<f64> {
        self.edges.iter().copied().find(|e| *e > t)
    }
    fn at_time_event(&mut self, t: f64, _y: &mut [f64; 1]) -> After {
        self.landed.push(t);
        self.level += 1.0;
        After::Restart
    }
}

#[test]
fn imposed_events_are_landed_on_bit_for_bit() {
    let edges: Vec<f64> = (1..1000).map(|i| f64::from(i) * 0.1237e-2).collect();
    let mut s = Edges { edges: edges.clone(), level: 0.0, landed: vec![] };
    let run =
        solve(&mut s, &mut Tsit5::new(), 0.0, [0.0], 1.3, &Options::new(1e-3, 1e-3), &mut ()).expect("valid");
    assert_eq!(s.landed, edges);
    let exact: f64 = edges.iter().map(|e| 1.3 - e).sum();
    assert!((run.y[0] - exact).abs() < 1e-9 * exact, "{} {exact}", run.y[0]);
    assert_eq!(run.statistics.time_events, 999);
}

struct Explodes;
impl System<2> for Explodes {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = 1.0;
        dy[1] = y[1] * y[1];
    }
}

#[test]
fn a_blow_up_stops_with_the_component_and_keeps_what_it_had() {
    // y' = y^2, y(0) = 1 has a pole at t = 1.
    fn one<M: Method<2>>(mut method: M) {
        let run =
            solve(&mut Explodes, &mut method, 0.0, [0.0, 1.0], 2.0, &Options::new(1e-8, 1e-10), &mut ())
                .expect("valid");
        match run.stop {
            StopReason::NotFinite { t, component: 1 } | StopReason::StepTooSmall { t, component: 1 } => {
                assert!((t - 1.0).abs() < 1e-6);
            }
            other => panic!("{other:?}"),
        }
        assert!(!run.stop.is_planned());
        assert!((run.y[0] - run.t).abs() < 1e-9 && run.y[1] > 1e5);
        assert!(run.stop.to_string().contains("component 1"), "{}", run.stop);
    }
    one(Tsit5::new());
    one(Rodas4::new());
}

#[test]
fn bad_input_is_refused_with_its_name() {
    let go = |t1: f64, y0: f64, o: Options<1>| {
        solve(&mut Follow, &mut Tsit5::new(), 0.0, [y0], t1, &o, &mut ()).map(|_| ())
    };
    assert_eq!(go(-1.0, 0.0, Options::new(1e-6, 1e-6)), Err(StepperError::Interval { t0: 0.0, t1: -1.0 }));
    assert!(matches!(
        go(1.0, f64::NAN, Options::new(1e-6, 1e-6)),
        Err(StepperError::InitialState { component: 0, .. })
    ));
    for (o, name) in [
        (Options::new(-1.0, 1e-6), "relative"),
        (Options::new(1e-6, 0.0), "absolute"),
        (Options::new(1e-6, 1e-6).max_step(-2.0), "max_step"),
    ] {
        let e = go(1.0, 0.0, o).expect_err("refused");
        assert!(e.to_string().contains(name), "{e}");
    }
}

#[test]
fn a_run_can_be_watched_and_cancelled() {
    let flag = AtomicBool::new(false);
    let mut seen = vec![];
    {
        let mut progress = Progress::new(0.0, 10.0, 0.1, |f| {
            seen.push(f);
            if f >= 0.5 {
                flag.store(true, std::sync::atomic::Ordering::Relaxed);
            }
        });
        let mut both = (&mut progress, &mut Cancel(&flag));
        let o = Options::new(1e-6, 1e-8);
        let run = solve(&mut Follow, &mut Tsit5::new(), 0.0, [0.0], 10.0, &o, &mut both).expect("valid");
        let StopReason::Cancelled { t } = run.stop else { panic!("{:?}", run.stop) };
        assert!((5.0..5.2).contains(&t), "{t}");
        assert!((run.y[0] - follow_exact(t)).abs() < 1e-5);
    }
    assert!(seen.len() == 5 && seen.windows(2).all(|w| w[0] < w[1]), "{seen:?}");
}

/// A pendulum that stops at a chosen crossing.
struct Pendulum {
    left: u32,
}
impl System<2> for Pendulum {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = y[1];
        dy[1] = -y[0];
    }
    fn root_count(&self) -> usize {
        1
    }
    fn roots(&self, _t: f64, y: &[f64; 2], g: &mut [f64]) {
        g[0] = y[0];
    }
    fn at_root(&mut self, _crossing: Crossing, _t: f64, _y: &mut [f64; 2]) -> After {
        self.left -= 1;
        if self.left == 0 { After::Stop } else { After::Continue }
    }
}

#[test]
fn a_root_event_can_end_the_run_and_marks_do_not_disturb_it() {
    fn one<M: Method<2>>(mut method: M) {
        let mut s = Pendulum { left: 3 };
        let run = solve(&mut s, &mut method, 0.0, [0.0, 1.0], 100.0, &Options::new(1e-10, 1e-12), &mut ())
            .expect("valid");
        let StopReason::Root { t, crossing } = run.stop else { panic!("{:?}", run.stop) };
        assert!((t - 3.0 * std::f64::consts::PI).abs() < 1e-8, "{t}");
        assert!(!crossing.rising && run.stop.is_planned());
        assert_eq!(run.statistics.root_events, 3);
    }
    one(Tsit5::new());
    one(Rodas4::new());
}

/// A chain of capacities: tridiagonal.
struct Chain {
    declare: bool,
}
impl System<12> for Chain {
    fn rhs(&self, _t: f64, y: &[f64; 12], dy: &mut [f64; 12]) {
        for i in 0..12 {
            let left = if i > 0 { y[i - 1] } else { 1.0 };
            let right = if i < 11 { y[i + 1] } else { 0.0 };
            dy[i] = 400.0 * (left - 2.0 * y[i] + right) - y[i].powi(3);
        }
    }
    fn bands(&self) -> Option<Bands> {
        self.declare.then_some(Bands { lower: 1, upper: 1 })
    }
}

#[test]
fn declared_bands_change_the_cost_and_not_the_answer() {
    let go = |declare| {
        solve(
            &mut Chain { declare },
            &mut Rodas4::new(),
            0.0,
            [0.0; 12],
            0.5,
            &Options::new(1e-8, 1e-10),
            &mut (),
        )
        .expect("valid")
    };
    let (full, banded) = (go(false), go(true));
    for (a, b) in full.y.iter().zip(banded.y) {
        assert!((a - b).abs() < 1e-8);
    }
    assert_eq!(full.statistics.jacobians, banded.statistics.jacobians);
}

/// Counts what an observer is told.
#[derive(Default)]
struct Tally {
    steps: u64,
    contiguous: bool,
    last: f64,
}
impl Observer<1> for Tally {
    fn step(&mut self, s: &StepView<'_, 1>) -> ControlFlow<()> {
        self.contiguous = (self.steps == 0 || self.contiguous) && s.t0 == self.last && s.t1 > s.t0;
        self.last = s.t1;
        self.steps += 1;
        let mut y = [0.0];
        s.at(s.t1, &mut y);
        assert_eq!(y, *s.y1);
        ControlFlow::Continue(())
    }
}

#[test]
fn the_observer_sees_each_accepted_step_once_and_end_to_end() {
    let mut tally = Tally::default();
    let o = Options::new(1e-7, 1e-9);
    let run = solve(&mut Follow, &mut Rodas4::new(), 0.0, [0.0], 2.0, &o, &mut tally).expect("valid");
    assert!(tally.contiguous);
    assert_eq!(tally.steps, run.statistics.accepted);
    assert_eq!(tally.last, 2.0);
}
