//! Events that no step shows: crossings and ways back between two looks, and guards that are passed by a jump. Closed forms.

use railrise::stepper::{
    After, Crossing, Exponential, Method, Options, Rodas4, StopReason, System, Tsit5, solve,
};
use std::f64::consts::TAU;

/// A swing of 10 Hz that tells each time it passes a level, beside a slow decay.
struct Watched {
    level: f64,
    seen: Vec<f64>,
}
impl System<3> for Watched {
    fn rhs(&self, _t: f64, y: &[f64; 3], dy: &mut [f64; 3]) {
        let w = TAU * 10.0;
        *dy = [w * y[1], -w * y[0], -y[2]];
    }
    fn root_count(&self) -> usize {
        1
    }
    fn roots(&self, _t: f64, y: &[f64; 3], g: &mut [f64]) {
        g[0] = y[0] - self.level;
    }
    fn at_root(&mut self, _crossing: Crossing, t: f64, _y: &mut [f64; 3]) -> After {
        self.seen.push(t);
        After::Continue
    }
}

// sin(20 π t) = level twice in each tenth of a second, for as little as a two-hundredth of it.
#[test]
fn a_crossing_and_the_way_back_within_one_step_are_both_found() {
    fn one<M: Method<3>>(mut method: M, level: f64, off: f64) {
        let mut s = Watched { level, seen: vec![] };
        let options = Options::new(1e-6, 1e-6);
        let run = solve(&mut s, &mut method, 0.0, [0.0, 1.0, 1.0], 1.0, &options, &mut ()).expect("valid");
        assert_eq!(run.stop, StopReason::Finished);
        assert_eq!(s.seen.len(), 20, "{level}: {:?}", s.seen);
        for (k, t) in s.seen.iter().enumerate() {
            let turn = level.asin() / TAU;
            let expected = 0.1 * ((k / 2) as f64 + if k % 2 == 0 { turn } else { 0.5 - turn });
            // Near the top a level moves much in time for little in height.
            let within = off / (1.0 - level * level).sqrt();
            assert!((t - expected).abs() < within, "{level}, {k}: {t} {expected}");
        }
    }
    for level in [0.5, 0.8, 0.99, 0.9999] {
        // The first is exact here; the others gather their errors over ten swings.
        one(Exponential::new(), level, 6e-9);
        one(Tsit5::new(), level, 5e-7);
        one(Rodas4::new(), level, 5e-7);
    }
}

/// Something that must not be below zero and is put there at 1 s; whoever is told puts it back.
struct Jumps {
    due: bool,
    guard: bool,
    told: Vec<f64>,
}
impl System<2> for Jumps {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        *dy = [-0.1, -y[1]];
    }
    fn next_time_event(&self, _t: f64) -> Option<f64> {
        self.due.then_some(1.0)
    }
    fn at_time_event(&mut self, _t: f64, y: &mut [f64; 2]) -> After {
        self.due = false;
        y[0] = -5.0;
        After::Restart
    }
    fn root_count(&self) -> usize {
        1
    }
    fn roots(&self, _t: f64, y: &[f64; 2], g: &mut [f64]) {
        g[0] = y[0];
    }
    fn is_guard(&self, _root: usize) -> bool {
        self.guard
    }
    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; 2]) -> After {
        assert!(!crossing.rising);
        self.told.push(t);
        y[0] = 9.0;
        After::Restart
    }
}

#[test]
fn a_guard_calls_after_a_jump_and_at_the_start_where_a_crossing_does_not() {
    fn one<M: Method<2>>(mut method: M, guard: bool, y0: f64) -> Vec<f64> {
        let mut s = Jumps { due: true, guard, told: vec![] };
        let run = solve(&mut s, &mut method, 0.0, [y0, 1.0], 3.0, &Options::new(1e-8, 1e-10), &mut ());
        assert_eq!(run.expect("valid").stop, StopReason::Finished);
        s.told
    }
    fn each<M: Method<2>>(method: impl Fn() -> M) {
        assert!(one(method(), false, 1.0).is_empty());
        let told = one(method(), true, 1.0);
        assert!(told.len() == 1 && (told[0] - 1.0).abs() < 1e-6, "{told:?}");
        let told = one(method(), true, -1.0);
        assert!(told.len() == 2 && told[0] < 1e-6 && (told[1] - 1.0).abs() < 1e-6, "{told:?}");
    }
    each(Tsit5::new);
    each(Exponential::new);
    each(Rodas4::new);
}
