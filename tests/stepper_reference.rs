//! Every stepper solves every reference problem it claims, within the digits of the row.
//! Sources stand in the rows of `tests/reference/10_numerics.json`.

use crate::support::rows::{Answer, Row, hold, rows};
use railrise::stepper::{
    After, Crossing, Every, Exponential, Matrix, Method, Options, Regime, Rodas4, StopReason, System, Tsit5,
    solve,
};

const FILE: &str = "10_numerics";

fn row(id: &str) -> Row {
    crate::support::rows::row(FILE, id)
}

/// Asserts the row's own tolerance, and counts the row as held.
fn held(r: &Row, got: &[f64]) {
    held_against(r, &r.numbers(), got);
}

fn held_against(r: &Row, expected: &[f64], got: &[f64]) {
    if let Err(e) = r.check_against(expected, got) {
        panic!("{e}");
    }
    judged(r, true);
}

/// Counts a row as held when a check of its own passed.
fn judged(r: &Row, holds: bool) {
    hold(FILE, rows(FILE), &[], |other| {
        if other.id == r.id { Answer::judge(holds, "see the test") } else { Answer::Elsewhere }
    });
}

fn end<const N: usize, S: System<N>, M: Method<N>>(
    mut system: S,
    mut method: M,
    y0: [f64; N],
    t: f64,
    options: Options<N>,
) -> [f64; N] {
    let run = solve(&mut system, &mut method, 0.0, y0, t, &options, &mut ()).expect("valid input");
    assert_eq!(run.stop, StopReason::Finished);
    run.y
}

struct Robertson([f64; 3], bool);
impl System<3> for Robertson {
    fn rhs(&self, _t: f64, y: &[f64; 3], dy: &mut [f64; 3]) {
        let [k1, k2, k3] = self.0;
        dy[0] = -k1 * y[0] + k3 * y[1] * y[2];
        dy[2] = k2 * y[1] * y[1];
        dy[1] = -dy[0] - dy[2];
    }
    fn jacobian(&self, t: f64, y: &[f64; 3], f: &[f64; 3], j: &mut Matrix<3>) {
        if !self.1 {
            // Forward differences, as a system without an analytic Jacobian would have.
            struct Plain([f64; 3]);
            impl System<3> for Plain {
                fn rhs(&self, t: f64, y: &[f64; 3], dy: &mut [f64; 3]) {
                    Robertson(self.0, false).rhs(t, y, dy);
                }
            }
            return Plain(self.0).jacobian(t, y, f, j);
        }
        let [k1, k2, k3] = self.0;
        let rows = [
            [-k1, k3 * y[2], k3 * y[1]],
            [k1, -k3 * y[2] - 2.0 * k2 * y[1], -k3 * y[1]],
            [0.0, 2.0 * k2 * y[1], 0.0],
        ];
        for (r, row) in rows.iter().enumerate() {
            for (c, v) in row.iter().enumerate() {
                j.set(r, c, *v);
            }
        }
    }
}

#[test]
fn robertson_by_rodas4_to_1e11_s_and_on_the_way() {
    let r = row("10.rober");
    let k: [f64; 3] = r.input_list("k").try_into().expect("three rates");
    let options = || Options::with_absolute(1e-9, [1e-13, 1e-17, 1e-13]);
    held(&r, &end(Robertson(k, true), Rodas4::new(), [1.0, 0.0, 0.0], 1e11, options()));
    for id in ["10.rober.t0.4", "10.rober.t4.0", "10.rober.t40.0"] {
        let r = row(id);
        for analytic in [true, false] {
            let y = end(
                Robertson(k, analytic),
                Rodas4::new(),
                [1.0, 0.0, 0.0],
                r.input("t"),
                Options::with_absolute(1e-9, [1e-12, 1e-16, 1e-12]),
            );
            held(&r, &y);
        }
    }
}

#[test]
fn robertson_by_tsit5_while_it_is_affordable() {
    let k = [0.04, 3e7, 1e4];
    for id in ["10.rober.t0.4", "10.rober.t4.0", "10.rober.t40.0"] {
        let r = row(id);
        let options = Options::with_absolute(1e-10, [1e-12, 1e-16, 1e-12]);
        held(&r, &end(Robertson(k, true), Tsit5::new(), [1.0, 0.0, 0.0], r.input("t"), options));
    }
}

struct VanDerPol(f64);
impl System<2> for VanDerPol {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = y[1];
        dy[1] = self.0 * (1.0 - y[0] * y[0]) * y[1] - y[0];
    }
}

/// The same stretched in time: y' = z, z' = ((1 - y^2) z - y)/eps.
struct VanDerPolStretched(f64);
impl System<2> for VanDerPolStretched {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = y[1];
        dy[1] = ((1.0 - y[0] * y[0]) * y[1] - y[0]) / self.0;
    }
    fn jacobian(&self, _t: f64, y: &[f64; 2], _f: &[f64; 2], j: &mut Matrix<2>) {
        j.set(0, 0, 0.0);
        j.set(0, 1, 1.0);
        j.set(1, 0, (-2.0 * y[0] * y[1] - 1.0) / self.0);
        j.set(1, 1, (1.0 - y[0] * y[0]) / self.0);
    }
}

#[test]
fn van_der_pol_by_both() {
    let r = row("10.vdp.mu1000");
    let mu = r.input("mu");
    let options = || Options::with_absolute(1e-10, [1e-12, 1e-12]);
    held(&r, &end(VanDerPol(mu), Rodas4::new(), [2.0, 0.0], r.input("t"), options()));
    held(&r, &end(VanDerPol(mu), Tsit5::new(), [2.0, 0.0], r.input("t"), options()));
}

#[test]
fn van_der_pol_stretched_by_rodas4() {
    let r = row("10.vdp.eps");
    let options = Options::with_absolute(1e-11, [1e-12, 1e-12]);
    held(&r, &end(VanDerPolStretched(r.input("eps")), Rodas4::new(), [2.0, 0.0], r.input("t"), options));
}

/// Reaction scheme of high irradiance response: Schaefer 1975, in Hairer and Wanner II, section IV.1.
struct Hires;
impl System<8> for Hires {
    fn rhs(&self, _t: f64, y: &[f64; 8], dy: &mut [f64; 8]) {
        dy[0] = -1.71 * y[0] + 0.43 * y[1] + 8.32 * y[2] + 0.0007;
        dy[1] = 1.71 * y[0] - 8.75 * y[1];
        dy[2] = -10.03 * y[2] + 0.43 * y[3] + 0.035 * y[4];
        dy[3] = 8.32 * y[1] + 1.71 * y[2] - 1.12 * y[3];
        dy[4] = -1.745 * y[4] + 0.43 * y[5] + 0.43 * y[6];
        dy[5] = -280.0 * y[5] * y[7] + 0.69 * y[3] + 1.71 * y[4] - 0.43 * y[5] + 0.69 * y[6];
        dy[6] = 280.0 * y[5] * y[7] - 1.81 * y[6];
        dy[7] = -dy[6];
    }
}

#[test]
fn hires_by_all() {
    let r = row("10.hires");
    let mut y0 = [0.0; 8];
    (y0[0], y0[7]) = (1.0, 0.0057);
    held(&r, &end(Hires, Rodas4::new(), y0, r.input("t"), Options::new(1e-9, 1e-13)));
    held(&r, &end(Hires, Tsit5::new(), y0, r.input("t"), Options::new(1e-9, 1e-13)));
    held(&r, &end(Hires, Exponential::new(), y0, r.input("t"), Options::new(1e-9, 1e-13)));
}

struct Ball {
    g: f64,
    restitution: f64,
    hits: Vec<f64>,
}
impl System<2> for Ball {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = y[1];
        dy[1] = -self.g;
    }
    fn root_count(&self) -> usize {
        1
    }
    fn roots(&self, _t: f64, y: &[f64; 2], g: &mut [f64]) {
        g[0] = y[0];
    }
    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; 2]) -> After {
        assert!(!crossing.rising, "the ball never comes from below");
        self.hits.push(t);
        y[0] = 0.0;
        y[1] *= -self.restitution;
        After::Restart
    }
}

fn bounce<M: Method<2>>(mut method: M) {
    let r = row("10.ball.times");
    let mut ball = Ball { g: r.input("g"), restitution: r.input("e"), hits: vec![] };
    let run =
        solve(&mut ball, &mut method, 0.0, [r.input("h"), 0.0], 10.0, &Options::new(1e-10, 1e-14), &mut ())
            .expect("valid input");
    held(&r, &ball.hits[..10]);
    // Time cannot pass the accumulation point: the run must end there and say why.
    let StopReason::EventsAccumulate { t, root: 0 } = run.stop else { panic!("{:?}", run.stop) };
    let zeno = row("10.ball.zeno");
    let expected = zeno.numbers()[0];
    assert!((t - expected).abs() < 1e-9 && t <= expected + 1e-9, "{t} {expected}");
}

#[test]
fn a_bouncing_ball_hits_on_time_and_stops_at_the_accumulation_point() {
    bounce(Tsit5::new());
    bounce(Rodas4::new());
    bounce(Exponential::new());
}

struct Step {
    wn: f64,
    zeta: f64,
    peak: Option<(f64, f64)>,
}
impl System<2> for Step {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = y[1];
        dy[1] = self.wn * self.wn * (1.0 - y[0]) - 2.0 * self.zeta * self.wn * y[1];
    }
    fn root_count(&self) -> usize {
        1
    }
    fn roots(&self, _t: f64, y: &[f64; 2], g: &mut [f64]) {
        g[0] = y[1];
    }
    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; 2]) -> After {
        if !crossing.rising && self.peak.is_none() {
            self.peak = Some((y[0] - 1.0, t));
        }
        After::Continue
    }
}

#[test]
fn step_responses_by_all() {
    fn one<M: Method<2>>(mut method: M, id: &str) {
        let r = row(id);
        let times = r.input_list("t");
        let mut got = vec![];
        for t in times {
            let mut s = Step { wn: r.input("wn"), zeta: r.input("zeta"), peak: None };
            let options = Options::with_absolute(1e-12, [1e-13, 1e-11]);
            let run = solve(&mut s, &mut method, 0.0, [0.0, 0.0], t, &options, &mut ()).expect("valid");
            got.push(run.y[0]);
        }
        held(&r, &got);
    }
    for id in ["10.msd.z0.1", "10.msd.z0.5", "10.msd.z1.0"] {
        one(Tsit5::new(), id);
        one(Rodas4::new(), id);
        one(Exponential::new(), id);
    }
}

#[test]
fn overshoot_and_peak_time_by_all() {
    fn one<M: Method<2>>(mut method: M) {
        let r = row("10.msd.overshoot");
        let mut s = Step { wn: r.input("wn"), zeta: r.input("zeta"), peak: None };
        let options = Options::with_absolute(1e-13, [1e-15, 1e-13]);
        solve(&mut s, &mut method, 0.0, [0.0, 0.0], 0.05, &options, &mut ()).expect("valid");
        let (overshoot, t) = s.peak.expect("a peak");
        // The row's 1e-12 is that of the formula; a solver at 1e-13 a step gets 1e-10.
        let e = r.numbers();
        assert!((overshoot / e[0] - 1.0).abs() < 1e-10 && (t / e[1] - 1.0).abs() < 1e-10, "{overshoot} {t}");
    }
    one(Tsit5::new());
    one(Rodas4::new());
    one(Exponential::new());
}

/// Mass on a dry surface: slips one way, the other way, or sticks.
struct Coulomb {
    m: f64,
    k: f64,
    friction: f64,
    way: f64,
    turns: Vec<f64>,
    stuck_at: Option<f64>,
}
impl System<2> for Coulomb {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        if self.way == 0.0 {
            *dy = [0.0, 0.0];
        } else {
            *dy = [y[1], (-self.k * y[0] - self.friction * self.way) / self.m];
        }
    }
    fn root_count(&self) -> usize {
        1
    }
    fn regime(&self, _t: f64, _y: &[f64; 2]) -> Regime {
        Regime { felt: u64::from(self.way == 0.0), counted: 0 }
    }
    fn roots(&self, _t: f64, y: &[f64; 2], g: &mut [f64]) {
        g[0] = if self.way == 0.0 { 1.0 } else { y[1] };
    }
    fn at_root(&mut self, _crossing: Crossing, t: f64, y: &mut [f64; 2]) -> After {
        self.turns.push(y[0]);
        y[1] = 0.0;
        if self.k * y[0].abs() <= self.friction {
            self.way = 0.0;
            self.stuck_at = Some(t);
        } else {
            self.way = -y[0].signum();
        }
        After::Restart
    }
}

#[test]
fn dry_friction_turns_and_sticks_on_time() {
    fn one<M: Method<2>>(mut method: M) {
        let r = row("10.coulomb");
        let x0 = r.input("x0");
        let mut s = Coulomb {
            m: r.input("m"),
            k: r.input("k"),
            friction: r.input("F"),
            way: -1.0,
            turns: vec![x0],
            stuck_at: None,
        };
        let options = Options::with_absolute(1e-11, [1e-13, 1e-12]);
        let run = solve(&mut s, &mut method, 0.0, [x0, 0.0], 3.0, &options, &mut ()).expect("valid");
        held_against(&r, &r.numbers_of("turns"), &s.turns);
        held_against(&r, &r.numbers_of("t_stick"), &[s.stuck_at.expect("it sticks")]);
        // Stuck means stuck: the last turn is where it stays.
        assert_eq!(run.y, [s.turns[5], 0.0]);
    }
    one(Tsit5::new());
    one(Rodas4::new());
    one(Exponential::new());
}

/// Hydraulic oscillator: L dQ/dt = p, C dp/dt = -Q.
struct Oscillator {
    inertance: f64,
    capacitance: f64,
}
impl System<2> for Oscillator {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        dy[0] = -y[1] / self.capacitance;
        dy[1] = y[0] / self.inertance;
    }
}

#[test]
fn an_undamped_hydraulic_oscillator_by_all() {
    fn one<M: Method<2>>(method: M) {
        let r = row("10.lc");
        let p0 = r.input("p0");
        let s = Oscillator { inertance: r.input("L"), capacitance: r.input("C") };
        let options = Options::with_absolute(1e-13, [1e-7, 1e-14]);
        held(&r, &end(s, method, [p0, 0.0], r.input("t"), options)[..1]);
    }
    one(Tsit5::new());
    one(Rodas4::new());
    one(Exponential::new());
}

/// Blow-down of a rigid vessel of gas through a choked hole, adiabatic; y is p/p0.
/// Closed form: p/p0 = (1 + (g-1)/2 K t/tau)^(-2g/(g-1)), tau = V/(A c0), K = (2/(g+1))^((g+1)/(2(g-1))).
/// Source: textbook gas dynamics (from memory), re-derived from the energy balance.
struct BlowDown {
    gamma: f64,
    rate: f64,
}
impl System<1> for BlowDown {
    fn rhs(&self, _t: f64, y: &[f64; 1], dy: &mut [f64; 1]) {
        let g = self.gamma;
        dy[0] = -g * self.rate * y[0].powf((3.0 * g - 1.0) / (2.0 * g));
    }
}

#[test]
fn blow_down_of_a_vessel_follows_the_closed_form() {
    let g: f64 = 1.4;
    let k = (2.0 / (g + 1.0)).powf((g + 1.0) / (2.0 * (g - 1.0)));
    let (volume, area, c0) = (0.01, 2e-5, 343.0);
    let rate = k * area * c0 / volume;
    fn path<M: Method<1>>(mut method: M, mut s: BlowDown) -> Every<1> {
        let mut seen = Every::new(0.0, 0.1);
        solve(&mut s, &mut method, 0.0, [1.0], 1.0, &Options::new(1e-10, 1e-12), &mut seen).expect("valid");
        seen
    }
    for seen in
        [path(Tsit5::new(), BlowDown { gamma: g, rate }), path(Rodas4::new(), BlowDown { gamma: g, rate })]
    {
        assert_eq!(seen.t.len(), 11);
        for (t, y) in seen.t.iter().zip(&seen.y) {
            let exact = (1.0 + (g - 1.0) / 2.0 * rate * t).powf(-2.0 * g / (g - 1.0));
            assert!((y[0] / exact - 1.0).abs() < 1e-8, "{t}: {} {exact}", y[0]);
        }
    }
}
