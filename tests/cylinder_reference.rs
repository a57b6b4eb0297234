//! Laws of the cylinder and of gas through valves against `tests/reference/08_engine.json`; sources stand in the
//! rows. The remaining rows of that file belong to the demand of the engine.

use crate::support::rows::{Answer, hold, rows};
use railrise::part::cylinder::{SliderCrank, Valve, Wiebe, polytropic_ratios};
use railrise::part::gas::{AIR, Gas, Restriction};
use railrise::part::manifold::{Plenum, Spool};
use std::f64::consts::PI;

#[test]
fn rows_of_cylinder_and_valve_flow_hold() {
    let held = hold("08_engine", rows("08_engine"), &[], |row| match row.kind() {
        "slider" => {
            let crank = SliderCrank::new(row.input("B"), row.input("S"), row.input("L"), row.input("rc"));
            Answer::one(crank.expect("valid").volume(row.input("theta_deg").to_radians()).0)
        }
        "wiebe" => {
            let w = Wiebe { start: 0.0, duration: 1.0, a: row.input("a"), m: row.input("m") };
            if row.id == "8.wiebe.ca50" {
                Answer::one(w.angle_at(0.5))
            } else {
                Answer::one(w.burned(row.input("x")))
            }
        }
        "pcrit" => Answer::one(Gas { gamma: row.input("gamma"), r: 287.05 }.critical_pressure_ratio()),
        "choked" => Answer::one(Gas { gamma: row.input("gamma"), r: 287.05 }.choked_flow_parameter()),
        "orifice" => {
            let gas = Gas { gamma: row.input("gamma"), r: row.input("R") };
            let (p0, t0) = (row.input("p0"), row.input("T0"));
            let cd_a = row.input("Cd") * row.input("A");
            Answer::one(Restriction::new(gas).mass_flow(cd_a, (p0, t0), (row.input("pT"), 300.0)))
        }
        "isen" => {
            let (p, t) = polytropic_ratios(row.input("r"), row.input("n"));
            Answer::many([p, t])
        }
        "mps" => {
            let crank = SliderCrank::new(0.0875, row.input("S"), 0.152, 9.0).expect("valid");
            Answer::one(crank.mean_piston_speed(row.input("rpm") / 60.0))
        }
        _ => Answer::Elsewhere,
    });
    assert_eq!(held, 9 + 6 + 2 + 1 + 4 + 3 + 1);
}

#[test]
fn flow_through_a_restriction_is_odd_continuous_and_choked_below_the_critical_ratio() {
    let r = Restriction::new(AIR);
    let flow = |p2: f64| r.mass_flow(1e-4, (1e5, 300.0), (p2, 300.0));
    assert_eq!(flow(0.5e5), flow(0.1e5));
    assert!(r.is_choked(1e5, 0.5e5) && r.is_choked(0.5e5, 1e5) && !r.is_choked(1e5, 0.6e5));
    assert_eq!(flow(1e5), 0.0);
    let (mut last, mut p) = (flow(0.0), 0.0);
    while p < 1.2e5 {
        p += 0.25;
        let now = flow(p);
        assert!(now <= last && last - now < 1.2e-4, "{p}: {last} {now}");
        last = now;
    }
    for d in [1.0, 5.0, 10.0, 20.0, 500.0] {
        let there = r.mass_flow(1e-4, (1e5 + d, 300.0), (1e5, 300.0));
        let back = r.mass_flow(1e-4, (1e5, 300.0), (1e5 + d, 300.0));
        assert_eq!(there, -back);
    }
    // Near ratio one, beyond the rounding (100 Pa), the incompressible law holds, m = CdA sqrt(2 rho dp), less 3/(4γ) dp/p:
    // the first term of the nozzle's expansibility (our own algebra).
    for dp in [150.0f64, 200.0, 300.0] {
        let incompressible = 1e-4 * (2.0f64 * 1e5 * dp / (287.05 * 300.0f64)).sqrt();
        let off = flow(1e5 - dp) / incompressible - 1.0;
        assert!(off.abs() < 2e-3 && (off + 0.75 / 1.4 * dp / 1e5).abs() < 1e-5, "{dp}: {off}");
    }
}

// Against the closed form, Heywood (1988) eq. C-8 (from memory).
#[test]
fn the_flow_function_meets_its_closed_form_within_1e_8() {
    for g in [1.25, 1.33, 1.4] {
        let gas = Gas { gamma: g, r: 287.05 };
        let r = Restriction::new(gas);
        let mut ratio = gas.critical_pressure_ratio() + 1e-9;
        while ratio < 1.0 - 1.001e-3 {
            let x = ratio.powf((g - 1.0) / g);
            let exact = ratio.powf(1.0 / g) * (2.0 * g / (g - 1.0) * (1.0 - x)).sqrt();
            assert!((r.flow_function(ratio) / exact - 1.0).abs() < 1e-8, "{g} {ratio}");
            ratio += 1.7e-4;
        }
    }
}

#[test]
fn the_slope_of_volume_and_the_rate_of_burning_are_derivatives() {
    let crank = SliderCrank::new(0.0875, 0.0998, 0.152, 9.0).expect("valid");
    let wiebe = Wiebe { start: -0.3, duration: 1.0, a: 5.0, m: 2.0 };
    for k in 0..50 {
        let (theta, d) = (-3.0 + 0.12 * f64::from(k), 1e-5);
        let slope = (crank.volume(theta + d).0 - crank.volume(theta - d).0) / (2.0 * d);
        assert!((slope - crank.volume(theta).1).abs() < 1e-11, "{theta}");
        if (-0.29..0.69).contains(&theta) {
            let rate = (wiebe.burned(theta + d) - wiebe.burned(theta - d)) / (2.0 * d);
            assert!((rate - wiebe.rate(theta)).abs() < 1e-8, "{theta}");
        }
    }
    assert_eq!((wiebe.rate(-0.31), wiebe.rate(0.71)), (0.0, 0.0));
}

#[test]
fn impossible_geometry_is_refused_by_name() {
    for (b, s, l, r, key) in [
        (0.0, 0.1, 0.15, 9.0, "bore"),
        (0.09, f64::NAN, 0.15, 9.0, "stroke"),
        (0.09, 0.1, 0.04, 9.0, "rod"),
        (0.09, 0.1, 0.15, 1.0, "compression_ratio"),
    ] {
        assert_eq!(SliderCrank::new(b, s, l, r).expect_err("refused").key, key);
    }
}

#[test]
fn a_valve_opens_and_closes_once_a_cycle() {
    let v = Valve { opens: 6.1, closes: 10.5, lift: 9e-3, head: 0.034, port: 0.029, count: 2.0, cd: 0.65 };
    v.validate().expect("valid");
    assert_eq!((v.lift_at(6.0), v.lift_at(10.6)), (0.0, 0.0));
    assert!((v.lift_at(8.3) - 9e-3).abs() < 1e-12 && (v.lift_at(8.3 - 4.0 * PI) - 9e-3).abs() < 1e-12);
    // Curtain below a quarter of the diameter, port above.
    assert!((v.area_at(8.3) - 0.65 * 2.0 * PI / 4.0 * 0.029f64.powi(2)).abs() < 1e-15);
    assert_eq!(v.next_edge(6.0), 6.1);
    assert!((v.next_edge(6.1) - 10.5).abs() < 1e-12);
    assert!((v.next_edge(10.5) - (6.1 + 4.0 * PI)).abs() < 1e-12);
    let shut = Valve { closes: 6.0, ..v };
    assert_eq!(shut.validate().expect_err("refused").key, "closes");
}

#[test]
fn a_plenum_keeps_the_gas_law_and_a_spool_its_exponential() {
    let plenum = Plenum { volume: 4e-3, gas: AIR };
    let (m, e) = plenum.fill(2.4e5, 330.0);
    let (p, t) = plenum.state(m, e);
    assert!((p - 2.4e5).abs() < 1e-6 && (t - 330.0).abs() < 1e-9);
    let spool = Spool { tau: 0.5 };
    let p = spool.after(0.7e5, 1.4e5, 0.5);
    assert!((p - (1.4e5 - 0.7e5 * (-1.0f64).exp())).abs() < 1e-9);
    assert!((spool.rate(0.7e5, 1.4e5) - 1.4e5).abs() < 1e-9);
}
