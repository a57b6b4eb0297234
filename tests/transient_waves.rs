//! A hose with waves: surge, periods, chambers, a published example; lumps converge to it.

use crate::support::demo_car::{car, finished, smooth};
use crate::support::hill_climb_net::{Choice, net};
use crate::support::rows::{Answer, hold, row, rows};
use railrise::build::Build;
use railrise::quantity::{bar, degc, rpm};
use railrise::schedule::Schedule;
use railrise::transient::characteristics::{Hose, HoseEnd, Loss};
use railrise::transient::linear::Linear;
use railrise::transient::network::{Belief, NetSystem, Node, Place};
use railrise::transient::{Options, Solution, run};
use std::f64::consts::PI;

const FILE: &str = "05_unsteady";

/// Reservoir, hose, a valve that shuts at once. Pressure over the first, at the valve, by time in L/a.
fn instant_closure(times: &[f64]) -> Vec<f64> {
    let (length, area, a, rho) = (4.0, 6e-5, 900.0, 745.0);
    let (p0, speed) = (4e5, 0.5);
    let n = 200;
    let mut hose = Hose::new((length, area, a, rho), n, Loss::None, (p0, speed * area)).expect("valid");
    let mut out = Vec::new();
    for t in times {
        while hose.time() * a / length < *t - 1e-9 {
            hose.advance(HoseEnd::Pressure(p0), HoseEnd::Flow(0.0));
        }
        out.push((hose.pressures()[n] - p0) / (rho * a * speed));
    }
    out
}

// Exact travelling wave: rows 5.square (Wylie and Streeter's square wave).
#[test]
fn an_instant_closure_is_the_square_wave() {
    let held = hold(FILE, rows(FILE), &[], |r| match r.kind() {
        "square" => Answer::one(instant_closure(&[r.input("t_over_La")])[0]),
        _ => Answer::Elsewhere,
    });
    assert_eq!(held, 3);
    // Without loss it never dies: ten periods of 4 L/a on, still the Joukowsky rise to rounding.
    let late = instant_closure(&[1.0, 41.0]);
    assert!((late[0] - 1.0).abs() < 1e-12 && (late[1] - 1.0).abs() < 1e-10, "{late:?}");
}

// M. H. Chaudhry, Applied Hydraulic Transients, example 1-1: oil, 0.4 m³/s in 0.5 m, stopped at once: 268.5 m.
#[test]
fn the_published_head_rise_is_met_by_the_hose() {
    let r = row(FILE, "5.ex.chaudhry1.1.dH");
    let (d, q, a) = (r.input("D"), r.input("Q"), r.input("a"));
    let (area, rho) = (PI / 4.0 * d * d, 900.0);
    let mut hose = Hose::new((1000.0, area, a, rho), 50, Loss::None, (5e6, q)).expect("valid");
    for _ in 0..40 {
        hose.advance(HoseEnd::Pressure(5e6), HoseEnd::Flow(0.0));
    }
    let rise = (hose.pressures()[50] - 5e6) / (rho * 9.806_65);
    r.check(rise).unwrap_or_else(|e| panic!("{e}"));
}

// Michaud's rule is exact for a flow that falls evenly over a whole number of periods 2 L/a: row 5.michaud.
#[test]
fn an_even_slow_closure_peaks_at_michauds_rise() {
    let r = row(FILE, "5.michaud");
    let (rho, length, speed, closing) = (r.input("rho"), r.input("L"), r.input("V"), r.input("Tc"));
    let area = 5e-5;
    // Three round trips in the closing time.
    let a = 3.0 * 2.0 * length / closing;
    let n = 400;
    let mut hose = Hose::new((length, area, a, rho), n, Loss::None, (4e5, speed * area)).expect("valid");
    let mut highest = 0.0f64;
    while hose.time() < 2.0 * closing {
        let t = hose.time() + hose.step_length();
        let q = speed * area * (1.0 - t / closing).max(0.0);
        hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Flow(q));
        highest = highest.max(hose.pressures()[n] - 4e5);
    }
    // The peak swings about Michaud's mean by the ratio of a period to the closing time.
    let rule = r.numbers()[0];
    assert!(highest >= 0.999 * rule && highest < 2.01 * rule, "{highest} {rule}");
    let joukowsky = rho * a * speed;
    assert!(highest < joukowsky);
}

/// Period between upward crossings of a mean at the closed end after a small disturbance.
fn period(mut advance: impl FnMut() -> (f64, f64), mean: f64, count: usize) -> f64 {
    let (mut last, mut crossings): (Option<(f64, f64)>, Vec<f64>) = (None, vec![]);
    while crossings.len() <= count {
        let (t, p) = advance();
        if let Some((t0, p0)) = last
            && p0 < mean
            && p >= mean
        {
            crossings.push(t0 + (t - t0) * (mean - p0) / (p - p0));
        }
        last = Some((t, p));
    }
    (crossings[count] - crossings[0]) / count as f64
}

#[test]
fn a_closed_hose_swings_at_the_quarter_wave() {
    let (length, area, a, rho) = (3.0, 5e-5, 420.0, 745.0);
    let n = 100;
    let mut hose = Hose::new((length, area, a, rho), n, Loss::None, (4e5, 1e-6)).expect("valid");
    let t = period(
        || {
            hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Flow(0.0));
            (hose.time(), hose.pressures()[n])
        },
        4e5,
        5,
    );
    assert!((t / (4.0 * length / a) - 1.0).abs() < 1e-3, "{t}");
}

// Helmholtz: f = 1/(2π) sqrt(1/(L C)), inertance L = ρ l/A, when the hose's own compliance A l/(ρ a²) is small beside C.
#[test]
fn a_chamber_on_a_short_hose_swings_at_the_helmholtz_frequency() {
    let (length, area, a, rho) = (0.4, 5e-5, 1100.0, 745.0);
    let own = area * length / (rho * a * a);
    let capacitance = 200.0 * own;
    let n = 20;
    let mut hose = Hose::new((length, area, a, rho), n, Loss::None, (4e5, 1e-6)).expect("valid");
    let t = period(
        || {
            hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Chamber { capacitance, drawn: 0.0 });
            (hose.time(), hose.pressures()[n])
        },
        4e5,
        4,
    );
    // A third of the hose's own compliance swings with the chamber's (Rayleigh).
    let inertance = rho * length / area;
    let exact = 2.0 * PI * (inertance * (capacitance + own / 3.0)).sqrt();
    assert!((t / exact - 1.0).abs() < 2e-3, "{t} {exact}");
}

#[test]
fn loss_lets_waves_die_and_leaves_steady_flow_alone() {
    let loss = Loss::Along { linear: 2e7, square: 1e12 };
    let (length, area, a, rho) = (4.0, 6e-5, 420.0, 745.0);
    let q = 3e-5;
    let n = 40;
    let mut hose = Hose::new((length, area, a, rho), n, loss, (4e5, q)).expect("valid");
    let end = 4e5 - (2e7 + 1e12 * q) * q * length;
    let before = hose.pressures().to_vec();
    for _ in 0..2000 {
        hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Pressure(end));
    }
    for (p, b) in hose.pressures().iter().zip(&before) {
        assert!((p - b).abs() < 1e-3, "{p} {b}");
    }
    for _ in 0..20_000 {
        hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Flow(0.0));
    }
    assert!((hose.pressures()[n] - 4e5).abs() < 5e3, "{}", hose.pressures()[n]);
    assert!(hose.lowest() < 4e5 - 1e5);
}

#[test]
fn an_orifice_at_the_end_passes_the_orifice_law_when_steady() {
    let (length, area, a, rho) = (1.0, 6e-5, 420.0, 745.0);
    let conductance = 4e-7 * (2.0f64 / rho).sqrt();
    let mut hose =
        Hose::new((length, area, a, rho), 20, Loss::Along { linear: 1e8, square: 0.0 }, (4e5, 0.0))
            .expect("valid");
    for _ in 0..20_000 {
        hose.advance(HoseEnd::Pressure(4e5), HoseEnd::Orifice { conductance, beyond: 1e5 });
    }
    let (p, q) = (hose.pressures()[20], hose.flows()[20]);
    assert!((q / (conductance * (p - 1e5).sqrt()) - 1.0).abs() < 1e-9);
    assert!((hose.flows()[0] / q - 1.0).abs() < 1e-6);
    assert_eq!(
        Hose::new((0.0, area, a, rho), 20, Loss::None, (4e5, 0.0)).expect_err("refused").key,
        "length"
    );
}

#[test]
fn lumps_converge_to_the_quarter_wave_with_the_square_of_their_number() {
    let frequency = |lumps: usize| {
        let mut n = net(Choice { feed_lumps: lumps, pulse: 0.0, ..Choice::default() });
        // A reservoir, the hose, a closed end: nothing else.
        n.pumps.clear();
        n.regulators.clear();
        n.injectors.clear();
        n.belief = Belief::Off;
        n.fluid.mu = 1e-9;
        n.branches.truncate(lumps);
        n.nodes[0] = Node { capacitance: n.nodes[0].capacitance - 2e-12 - 6e-14, ..n.nodes[0].clone() };
        for b in &mut n.branches {
            (b.pump, b.check, b.linear, b.square, b.k_sum) = (None, None, 0.0, 0.0, 0.0);
        }
        for node in &mut n.nodes {
            node.wall = 0.0;
        }
        let (system, y) = NetSystem::<80>::new(n, 0.0).expect("valid");
        assert_eq!(system.net().branches[lumps - 1].to, Place::Node(0));
        let modes = Linear::of(&system, 0.0, &y, system.injected(0)).modes();
        modes.iter().map(|m| m.frequency).filter(|f| *f > 1.0).fold(f64::INFINITY, f64::min)
    };
    let bulk = 1.0 / (1.0 / 1.0e9 + 1.0 / 150e6);
    let exact = (bulk / 740.0f64).sqrt() / (4.0 * 4.2);
    let error = |lumps: usize| (frequency(lumps) / exact - 1.0).abs();
    let (four, eight, sixteen) = (error(4), error(8), error(16));
    assert!(four < 0.01 && sixteen < 1e-3, "{four} {eight} {sixteen}");
    assert!(
        (four / eight - 4.0).abs() < 0.5 && (eight / sixteen - 4.0).abs() < 0.5,
        "{four} {eight} {sixteen}"
    );
}

/// The car with a feed hose whose wall loses nothing, carried so.
fn carried(model: &str) -> Build {
    let build = car("before-0.7-bar").with("feed hose.model", model).expect("a known key");
    build.with("feed hose.wall_loss", "0").expect("a known key")
}

/// The rail over 0.2 s with the feed hose carried so, at lumps and reaches of these lengths.
fn rail_of(model: &str, lump: f64, reach: f64) -> Vec<f64> {
    let build = carried(model);
    let o = Options {
        dry_friction: false,
        poppet: Some((40.0, 3e-3)),
        warm_up: 0.6,
        lump,
        reach,
        ..Options::default()
    };
    let held = Schedule::hold(rpm(6500.0), bar(0.7), railrise::quantity::s(0.2));
    let sol = finished(&build, &held, &o);
    let moved: f64 = sol.ledger.injectors.values().sum();
    assert!(sol.ledger.imbalance.abs() < 1e-9 * moved, "{:e} of {moved:e}", sol.ledger.imbalance);
    assert_eq!(sol.warnings.iter().any(|w| w.contains("feed hose is carried with waves")), model == "waves");
    sol.channel("rail pressure").expect("recorded").values.to_vec()
}

/// Root mean square of a difference, Pa.
fn apart(a: &[f64], b: &[f64]) -> f64 {
    (a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / a.len() as f64).sqrt()
}

#[test]
fn lumps_come_to_the_waves_as_they_are_refined_in_a_run() {
    // The return hose is in lumps of the same length both times.
    let by_lumps =
        [1.1, 0.35, 0.12].map(|lump| apart(&rail_of("lumps", lump, 0.1), &rail_of("waves", lump, 0.1)));
    let finer = apart(&rail_of("waves", 1.1, 0.05), &rail_of("waves", 1.1, 0.1));
    assert!(
        by_lumps[1] < 0.2 * by_lumps[0] && by_lumps[2] < 0.5 * by_lumps[1] && by_lumps[2] < 200.0,
        "{by_lumps:?}"
    );
    assert!(finer < 100.0, "{finer}");
}

// What fuel in a line grows by comes out of it or stays as pressure, however pressure travels there.
#[test]
fn a_line_with_waves_pushes_out_as_much_as_it_warms_as_one_in_lumps() {
    let (from, to) = (2.0, 6.0);
    let soak = Schedule::hot_soak(degc(35.0), degc(50.0), railrise::quantity::s(to));
    let [lumps, waves] = ["lumps", "waves"].map(|model| finished(&carried(model), &soak, &smooth()));
    let out = |sol: &Solution| sol.ledger.ends.values().sum::<f64>();
    let grew = |sol: &Solution| out(sol) + sol.ledger.stored;
    assert!((grew(&waves) / grew(&lumps) - 1.0).abs() < 1e-9, "{:e} {:e}", grew(&waves), grew(&lumps));
    // What is stored is where the regulator stands as it hunts over a seat that is all but shut: a hundredth.
    assert!((out(&waves) / out(&lumps) - 1.0).abs() < 1e-2, "{:e} {:e}", out(&waves), out(&lumps));
    for sol in [&lumps, &waves] {
        assert!(sol.ledger.imbalance.abs() < 1e-12, "{:e}", sol.ledger.imbalance);
    }
    let rail = |sol: &Solution| {
        let seconds = railrise::quantity::s;
        sol.mean("rail pressure", seconds(from), seconds(to)).expect("recorded").si
    };
    assert!((rail(&waves) - rail(&lumps)).abs() < 200.0, "{} {}", rail(&waves), rail(&lumps));
}

#[test]
fn a_line_that_cannot_carry_waves_is_refused_by_its_key() {
    let held = Schedule::hold(rpm(3000.0), bar(0.2), railrise::quantity::s(0.1));
    let waves = car("before-0.7-bar").with("return hose.model", "waves").expect("a known key");
    let short = waves.with("return hose.length", "0.3 m").expect("a known key");
    let e = run(&short, &held, &Options::default()).expect_err("refused").to_string();
    assert!(e.contains("return hose.model") && e.contains("too short") && e.contains("options.reach"), "{e}");
    let rubber = waves.with("return hose.wall_loss", "0.2").expect("a known key");
    let e = run(&rubber, &held, &Options::default()).expect_err("refused").to_string();
    assert!(e.contains("return hose.wall_loss") && e.contains("0.2"), "{e}");
}

#[test]
fn small_motions_take_a_line_with_waves_in_lumps() {
    let held = Schedule::hold(rpm(3000.0), bar(0.2), railrise::quantity::s(0.1));
    let o = smooth();
    let waves = car("before-0.7-bar").with("feed hose.model", "waves").expect("a known key");
    let of = |b: &Build| railrise::transient::modes(b, &held, &o).expect("valid");
    assert_eq!(of(&waves), of(&car("before-0.7-bar")));
}
