//! Pump, regulator and injector at any setting: falling or rising as they must, with true slopes, and their inverses.

use proptest::prelude::*;
use railrise::part::injector::open_time;
use railrise::part::pump::{Curve, Pump};
use railrise::part::regulator::{Mode, Regulator};

fn any_pump() -> impl Strategy<Value = Pump> {
    let displacement =
        (2e-6..8e-6f64, 1e-12..2e-11f64, 5e-6..3e-5f64).prop_map(|(g, k, c)| Curve::Displacement { g, k, c });
    let regenerative = (3e3..2e4f64, 2e9..2e10f64, 0.02..0.1f64).prop_map(|(a, b, t)| Curve::Regenerative {
        a,
        b,
        t,
        u: 0.4 * t * b / a,
    });
    (
        prop_oneof![displacement, regenerative],
        0.1..0.6f64,
        0.5..3.0f64,
        0.0..3e-11f64,
        3e5..9e5f64,
        0.0..3e4f64,
    )
        .prop_map(|(curve, armature, idle_current, wear_slip, relief, required_margin)| Pump {
            curve,
            armature,
            idle_current,
            motor_constant: 0.02,
            rated_viscosity: 0.55e-3,
            wear_slip,
            wear_head: 0.0,
            relief,
            relief_slope: 1.3e9,
            required_margin,
        })
}

fn any_regulator() -> impl Strategy<Value = Regulator> {
    (0.02..0.05f64, 2e-3..8e-3f64, 5e3..1e5f64, 1e5..6e5f64, 1e-4..1e-3f64, 0.0..1.0f64).prop_map(
        |(diaphragm, seat, rate, base, max_lift, flow_force)| {
            let mut r = Regulator {
                area: std::f64::consts::PI * diaphragm * diaphragm / 4.0,
                seat,
                rate,
                preload: 0.0,
                max_lift,
                min_lift: 0.0,
                cd: 0.7,
                flow_force,
                friction: 0.0,
            };
            r.preload = base * (r.area - r.seat_area());
            r
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, max_global_rejects: 20_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_pumps_rise_falls_with_flow_and_its_slopes_are_true(
        pump in any_pump(), q in 1e-6..6e-5f64, volts in 8.0..15.0f64, loss in 0.0..0.3f64, margin in 3e3..5e4f64,
    ) {
        let at = |q: f64, m: f64| pump.at_flow(q, volts, loss, 0.5e-3, m);
        let r = at(q, margin);
        prop_assume!(r.speed > 20.0 && r.rise > 0.0); // it turns and pumps
        prop_assert!(at(q * 1.01, margin).rise < r.rise && r.slope < 0.0);
        let h = 1e-4 * q;
        let slope = (at(q + h, margin).rise - at(q - h, margin).rise) / (2.0 * h);
        let kink = (r.rise - pump.relief).abs() < 2e-3 * pump.relief;
        prop_assert!(kink || (slope / r.slope - 1.0).abs() < 1e-4, "{slope} {}", r.slope);
        let m = 1e-4 * margin;
        let near_need = (margin / pump.required_margin - 1.0).abs() < 1e-3;
        let by_inlet = (at(q, margin + m).rise - at(q, margin - m).rise) / (2.0 * m);
        prop_assert!(kink || near_need || (by_inlet - r.by_inlet).abs() < 1e-3 * r.by_inlet.abs() + 1e-3, "{by_inlet} {}", r.by_inlet);
        // More volts give more rise, wire resistance takes it away.
        prop_assert!(pump.at_flow(q, volts + 0.5, loss, 0.5e-3, margin).rise > r.rise);
        prop_assert!(pump.at_flow(q, volts, loss + 0.05, 0.5e-3, margin).rise < r.rise);
    }

    #[test]
    fn a_pumps_flow_against_a_rise_is_the_inverse_of_its_rise_at_a_flow(
        pump in any_pump(), q in 1e-6..6e-5f64, volts in 8.0..15.0f64, loss in 0.0..0.3f64, margin in 3e3..5e4f64,
    ) {
        let r = pump.at_flow(q, volts, loss, 0.5e-3, margin);
        prop_assume!(r.speed > 20.0 && r.rise > 0.0);
        let (back, by_rise, by_margin) = pump.flow_against(r.rise, volts, loss, 0.5e-3, margin);
        prop_assert!((back / q - 1.0).abs() < 1e-8, "{back} {q}");
        prop_assert!((by_rise * r.slope - 1.0).abs() < 1e-6);
        prop_assert!((by_margin + r.by_inlet / r.slope).abs() <= 1e-6 * by_margin.abs() + 1e-18);
    }

    #[test]
    fn a_regulators_pressure_rises_with_flow_and_reference_and_its_slopes_are_true(
        r in any_regulator(), q in 1e-7..8e-5f64, back in 1e5..2e5f64, boost in -6e4..1.5e5f64,
    ) {
        let at = |q: f64, back: f64, reference: f64| r.at_flow(q, 730.0, back, reference);
        let reference = 1e5 + boost;
        let here = at(q, back, reference);
        prop_assert!(here.lift >= 0.0 && here.lift <= r.max_lift);
        prop_assert!(at(q, back, reference + 1e3).fuel >= here.fuel - 1e-6);
        // The flow force may let it fall by a little; the bore's saturation never.
        if r.flow_force < 0.3 {
            prop_assert!(at(q * 1.01, back, reference).fuel >= here.fuel - 1e-6);
        }
        let h = 1e-5 * q;
        let (low, high) = (at(q - h, back, reference), at(q + h, back, reference));
        if low.mode == high.mode && here.lift < 0.24 * r.seat {
            let slope = (high.fuel - low.fuel) / (2.0 * h);
            prop_assert!((slope - here.slope).abs() < 1e-3 * here.slope.abs() + 1e5, "{slope} {}", here.slope);
            let by = (at(q, back + 10.0, reference).fuel - at(q, back - 10.0, reference).fuel) / 20.0;
            prop_assert!((by - here.by_return).abs() < 1e-2, "{by} {}", here.by_return);
        }
        if here.mode == Mode::FullLift {
            prop_assert!((here.fuel - r.floor(q, 730.0, back)).abs() < 1e-6 * here.fuel);
        }
    }

    #[test]
    fn a_longer_pulse_never_holds_an_injector_open_for_less_and_nothing_jumps(
        pulse in -1e-3..0.03f64, dead in 0.0..2e-3f64, short in 0.0..1e-3f64, cycle in 0.015..0.2f64,
    ) {
        let open = |p: f64| open_time(p, dead, short, cycle);
        prop_assert!(open(pulse) >= 0.0 && open(pulse) <= cycle);
        let step = 1e-7;
        let more = open(pulse + step) - open(pulse);
        prop_assert!(more >= -1e-15, "{more}");
        // At most two for one, next to static; a dead time of a step's length is a step.
        prop_assert!(more <= 2.5 * step || dead < 1e-5, "{more}");
        prop_assert_eq!(open(cycle), cycle);
    }
}
