//! What every part must show at any input: odd, rising, true slopes, limits, inverses, refusals.

use proptest::prelude::*;
use railrise::part::check_valve::{CLOSED_SLOPE, CheckValve};
use railrise::part::filter::Filter;
use railrise::part::injector::*;
use railrise::part::line::*;
use railrise::part::motor::Motor;
use railrise::part::orifice::{self, *};
use railrise::part::surge_pot::*;
use railrise::part::wiring::*;
use railrise::quantity::*;
use std::f64::consts::PI;

fn any_line() -> impl Strategy<Value = Line> {
    (0.05..8.0, 3e-3..16e-3, 0.0..0.02, 0.0..20.0).prop_map(|(length, bore, rough, k_sum)| Line {
        length,
        bore,
        roughness: rough * bore,
        k_sum,
        rise: 0.0,
    })
}

/// Flows of a car's fuel system, m³/s: 0.04 to 4000 L/h, evenly on a logarithmic scale.
fn any_flow() -> impl Strategy<Value = f64> {
    (-8.0..-3.0).prop_map(|e: f64| 10_f64.powf(e))
}

fn any_fluid() -> impl Strategy<Value = (f64, f64)> {
    (650.0..1000.0, 2e-4..2e-3)
}

/// Relative gap between a slope and the central difference of the law.
fn slope_gap(law: impl Fn(f64) -> (f64, f64), x: f64) -> f64 {
    let h = 1e-5 * x.abs();
    let numeric = (law(x + h).0 - law(x - h).0) / (2.0 * h);
    (law(x).1 / numeric - 1.0).abs()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_line_is_odd_rising_and_knows_its_slope(line in any_line(), (rho, mu) in any_fluid(), q in any_flow()) {
        let law = |q| line.drop(q, rho, mu);
        prop_assert_eq!(law(q).0, -law(-q).0);
        prop_assert_eq!(law(q).1, law(-q).1);
        prop_assert!(law(q * 1.001).0 > law(q).0);
        prop_assert!(law(q).1 > 0.0);
        // The central difference is good to 1e-7 where the curve bends most (the end of laminar flow).
        prop_assert!(slope_gap(law, q) < 1e-6, "gap {}", slope_gap(law, q));
    }

    #[test]
    fn a_line_at_rest_is_hagen_poiseuille(line in any_line(), (rho, mu) in any_fluid()) {
        let line = Line { k_sum: 0.0, ..line };
        let exact = laminar_resistance(pa_s(mu), m(line.length), m(line.bore)).value;
        let (dp, slope) = line.drop(0.0, rho, mu);
        prop_assert_eq!(dp, 0.0);
        prop_assert!((slope / exact - 1.0).abs() < 1e-12);
        let slow = 50.0 * PI * line.bore * mu / (4.0 * rho); // Re = 50
        prop_assert!((line.drop(slow, rho, mu).0 / (exact * slow) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_rise_is_the_weight_of_the_column(line in any_line(), (rho, mu) in any_fluid(), q in any_flow(), rise in -2.0..2.0) {
        let lifted = Line { rise, ..line };
        let weight = static_head(kg_per_m3(rho), m(rise)).value;
        let difference = lifted.drop(q, rho, mu).0 - line.drop(q, rho, mu).0;
        prop_assert!((difference - weight).abs() < 1e-9 * (weight.abs() + line.drop(q, rho, mu).0));
    }

    #[test]
    fn colebrook_solves_its_own_equation(e in 1.0..9.0, rough in 0.0..0.05) {
        let re = 10_f64.powf(e);
        let f: f64 = friction_factor_colebrook(re, rough);
        let x = 1.0 / f.sqrt();
        let residual = x + 2.0 * (rough / 3.7 + 2.51 * x / re).log10();
        prop_assert!(residual.abs() < 1e-12 * x, "residual {residual}");
    }

    /// The explicit forms stand as close to Colebrook as their authors say.
    #[test]
    fn explicit_friction_factors_stand_near_colebrook(e in 3.8..8.0, rough in 1e-6..0.05) {
        let re = 10_f64.powf(e);
        let exact = friction_factor_colebrook(re, rough);
        let off = |f: f64| (f / exact - 1.0).abs();
        prop_assert!(off(friction_factor_serghides(re, rough)) < 0.005);
        prop_assert!(off(friction_factor_haaland(re, rough)) < 0.02);
        // Churchill's own fit of the smooth wall differs most at low Re and rough walls: 5 % below Re 1e4.
        let churchill_allowed = if re < 1e4 { 0.06 } else { 0.03 };
        prop_assert!(off(friction_factor_churchill(re, rough)) < churchill_allowed);
        prop_assert!(off(friction_factor_swamee_jain(re, rough)) < 0.04);
    }

    #[test]
    fn friction_factor_slope_is_the_derivative(e in 2.1..7.0, rough in 0.0..0.05) {
        let re = 10_f64.powf(e);
        let law = |re: f64| friction_factor_churchill_with_slope(re, rough);
        let h = 1e-5 * re;
        let numeric = (law(re + h).0 - law(re - h).0) / (2.0 * h);
        // Against f/Re, since the slope passes through zero in transition.
        prop_assert!((law(re).1 - numeric).abs() < 1e-6 * law(re).0 / re);
    }

    #[test]
    fn a_very_fast_flow_is_fully_rough(rough in 1e-4..0.05) {
        let f = friction_factor_colebrook(1e12, rough);
        prop_assert!((f / friction_factor_fully_rough(rough) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn laminar_darcy_weisbach_is_hagen_poiseuille(q in 1e-8..1e-6, d in 3e-3..12e-3, (rho, mu) in any_fluid()) {
        let (bore, density, viscosity) = (m(d), kg_per_m3(rho), pa_s(mu));
        let u = velocity(m3_per_s(q), bore);
        let f = friction_factor_laminar(reynolds(u, bore, density, viscosity));
        let a = darcy_weisbach(f, m(2.0), bore, density, u).value;
        let b = hagen_poiseuille(viscosity, m(2.0), bore, m3_per_s(q)).value;
        prop_assert!((a / b - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_loss_moved_to_another_bore_is_the_same_pressure(k in 0.1..30.0, d1 in 3e-3..12e-3, d2 in 3e-3..12e-3, q in any_flow()) {
        let rho = kg_per_m3(745.0);
        let at = |k, d| fitting_loss(k, rho, velocity(m3_per_s(q), m(d))).value;
        prop_assert!((at(k, d1) / at(k_on_other_bore(k, d1, d2), d2) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn loss_coefficients_keep_their_limits(beta in 0.0..1.0) {
        for k in [k_sudden_expansion, k_sudden_contraction_crane, k_sudden_contraction_white, k_sudden_contraction_rennels] {
            prop_assert!(k(1.0).abs() < 1e-12);       // no step, no loss
            prop_assert!(k(beta) > 0.0 && k(beta) < k(0.0) + 1e-12); // the smaller, the worse
        }
        prop_assert_eq!(k_sudden_expansion(0.0), K_EXIT);
    }

    #[test]
    fn a_filter_is_odd_rising_and_knows_its_slope(
        linear in 0.0..1e12, square in 0.0..1e10, dirt in 0.0..20.0, (rho, mu) in any_fluid(), q in any_flow(),
    ) {
        prop_assume!(linear > 1e6);
        let filter = Filter { linear, square, dirt };
        let law = |q| filter.drop(q, rho, mu);
        prop_assert_eq!(law(q).0, -law(-q).0);
        prop_assert!(law(q * 1.001).0 > law(q).0);
        prop_assert!(slope_gap(law, q) < 1e-8);
        let dirtier = Filter { dirt: dirt + 0.1, ..filter };
        prop_assert!(dirtier.drop(q, rho, mu).0 > law(q).0);
        prop_assert!(filter.with_blocked_area(0.5).drop(q, rho, mu).0 >= 2.0 * law(q).0 * (1.0 - 1e-12));
    }

    #[test]
    fn orifice_flow_and_drop_are_inverses(
        e in -3.0..6.5, cd_a in 1e-8..1e-4, rho in 600.0..1000.0, small in -2.0..3.0,
    ) {
        let (dp, small) = (10_f64.powf(e), 10_f64.powf(small));
        let (q, dq) = orifice::flow(dp, cd_a, rho, small);
        let (back, slope) = orifice::drop(q, cd_a, rho, small);
        prop_assert!((back / dp - 1.0).abs() < 1e-9, "{back} for {dp}");
        prop_assert!((dq * slope - 1.0).abs() < 1e-9, "slopes {dq} and {slope}");
        prop_assert_eq!(orifice::flow(-dp, cd_a, rho, small).0, -q);
        prop_assert_eq!(orifice::drop(-q, cd_a, rho, small).0, -back);
        prop_assert!(slope_gap(|x| orifice::flow(x, cd_a, rho, small), dp) < 1e-6);
        prop_assert!(slope_gap(|x| orifice::drop(x, cd_a, rho, small), q) < 1e-6);
    }

    /// The rounding of the root shows nowhere that matters: it falls with the square of the ratio.
    #[test]
    fn the_rounded_root_does_not_show(e in 2.0..6.5, small in 0.01..10.0) {
        let dp = 10_f64.powf(e);
        let exact = orifice_flow(1.0, m2(1e-6), pa(dp), kg_per_m3(745.0)).value;
        let (rounded, _) = orifice::flow(dp, 1e-6, 745.0, small);
        prop_assert!(rounded <= exact * (1.0 + 1e-14));
        prop_assert!(1.0 - rounded / exact <= 0.25 * (small / dp).powi(2) + 1e-14);
    }

    #[test]
    fn a_check_valve_is_continuous_and_shut_backwards(cracking in 0.0..5e4, cd_a in 1e-6..1e-4, rho in 600.0..1000.0, q in any_flow()) {
        let valve = CheckValve { cracking, cd_a };
        let law = |q| valve.drop(q, rho);
        prop_assert!(law(q).0 > cracking);
        prop_assert!(law(q * 1.001).0 > law(q).0);
        let bare = CheckValve { cracking: 0.0, cd_a }; // the cracking pressure would take digits from the difference
        prop_assert!(slope_gap(|q| bare.drop(q, rho), q) < 1e-6);
        prop_assert_eq!(bare.drop(q, rho).1, law(q).1);
        prop_assert!((law(1e-300).0 - law(-1e-300).0).abs() < 1e-9);
        // 4 bar backwards passes less than the network's tolerance of 1e-10 m³/s.
        let (leak, _) = valve.flow(-4e5, rho);
        prop_assert!((-1e-10..=0.0).contains(&leak));
        prop_assert_eq!(valve.drop(-1e-11, rho).1, CLOSED_SLOPE);
        let (dp, _) = law(q);
        prop_assert!((valve.flow(dp, rho).0 / q - 1.0).abs() < 1e-3 + 1e-9 * cracking / (dp - cracking));
    }

    /// Korteweg's wave speed is the sound speed on the two moduli in series: two routes, one number.
    #[test]
    fn korteweg_is_liquid_and_wall_in_series(k in 0.5e9..2.5e9, e in 1e7..2e11, d in 3e-3..12e-3, wall in 3e-4..4e-3) {
        let (k, rho, e, d, wall) = (pa(k), kg_per_m3(745.0), pa(e), m(d), m(wall));
        let one = korteweg_wave_speed(k, rho, d, wall, e, 1.0);
        let both = effective_bulk_modulus(&[k, bulk_modulus_of_wall(e, wall, d, 1.0)]);
        prop_assert!(((one / sound_speed(both, rho)).value - 1.0).abs() < 1e-12);
        prop_assert!(one < sound_speed(k, rho));
    }

    #[test]
    fn a_thin_wall_needs_no_thick_wall_factor(nu in 0.0..0.5) {
        let thin = Restraint::FullyAnchored(nu).thin_wall_factor();
        prop_assert!((thick_wall_factor(mm(10.0), mm(1e-5), nu) / thin - 1.0).abs() < 1e-4);
    }

    /// Wave impedance and frequency follow from inertance and capacitance of the same line.
    #[test]
    fn line_constants_agree(length in 0.2..6.0, d in 3e-3..12e-3, a in 100.0..1300.0) {
        let (rho, length, bore, speed) = (kg_per_m3(745.0), m(length), m(d), m_per_s(a));
        let bulk = rho * speed * speed;
        let i = inertance(rho, length, bore_area(bore)).value;
        let c = capacitance(line_volume(bore, length), bulk).value;
        let z = characteristic_impedance(rho, speed, bore_area(bore)).value;
        prop_assert!(((i / c).sqrt() / z - 1.0).abs() < 1e-12);
        prop_assert!(((i * c).sqrt() / (length / speed).value - 1.0).abs() < 1e-12);
        let mut before = 0.0;
        for lumps in 1..40 {
            let f = ladder_frequency(lumps, length, speed);
            prop_assert!(f > before && f < quarter_wave_frequency(length, speed));
            before = f;
        }
        prop_assert!(before > 0.98 * quarter_wave_frequency(length, speed));
        // Closing in exactly one reflection time, Michaud meets Joukowsky.
        let u = m_per_s(1.4);
        let slow = michaud_rise(rho, length, u, reflection_time(length, speed));
        prop_assert!(((slow / joukowsky_rise(rho, speed, u)).value - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_poppet_opens_up_to_its_seat(d in 3e-3..12e-3, angle in 0.3..1.57, lift in 0.0..0.02) {
        let (seat, lift) = (m(d), m(lift));
        let area = poppet_area_limited(seat, angle, lift);
        prop_assert!(area <= hole_area(seat) && area.value >= 0.0);
        prop_assert!(poppet_area_limited(seat, angle, lift * 1.1) >= area);
        prop_assert_eq!(poppet_area_limited(seat, angle, m(-1e-4)).value, 0.0);
    }

    #[test]
    fn a_choked_valve_passes_no_more(p2 in 5e4..2e5) {
        let p = AbsolutePressure::from_pascals;
        let size = |after: f64| liquid_valve_size(
            l_per_h(200.0), kg_per_m3(745.0), p(6e5), p(after), p(6e4), p(3e6), 0.6,
        );
        let (deep, deeper) = (size(p2), size(p2 * 0.5));
        prop_assert!(deep.choked && deeper.choked);
        prop_assert_eq!(deep.kv, deeper.kv);
        prop_assert!(!size(5.5e5).choked);
    }

    /// Bilinear interpolation keeps any a + b V + c p + d V p exactly, and never leaves the cell's corners.
    #[test]
    fn dead_time_is_bilinear(
        a in -1.0..1.0, b in -1.0..1.0, c in -1.0..1.0, d in -1.0..1.0, v in 8.0..16.0, p in 2.0..6.0,
    ) {
        let plane = |v: f64, p: f64| 1e-3 * (a + b * v + c * p + d * v * p);
        let (vs, ps) = (vec![8.0, 10.0, 13.0, 16.0], vec![2e5, 3e5, 6e5]);
        let rows: Vec<Vec<f64>> =
            vs.iter().map(|v| ps.iter().map(|p| plane(*v, p / 1e5)).collect()).collect();
        let table = DeadTime::table(vs, ps, &rows).expect("a good table");
        let got = table.at(v, p * 1e5).expect("inside");
        prop_assert!((got - plane(v, p)).abs() < 1e-14);
        prop_assert!((table.shifted(1e-4).at(v, p * 1e5).expect("inside") - got - 1e-4).abs() < 1e-15);
    }

    #[test]
    fn more_pulse_never_delivers_less(x in 0.3e-3..4e-3) {
        let table = LowPulse::new(vec![(0.3e-3, -0.1e-3), (0.6e-3, 0.05e-3), (1.2e-3, 0.02e-3), (2e-3, 0.0)])
            .expect("a good table");
        let open = |x| table.open_time(x).expect("inside");
        prop_assert!(open(x * 1.01) > open(x));
        prop_assert_eq!(open(x + 2e-3), x + 2e-3);
    }

    #[test]
    fn an_injector_scales_with_both_roots(dp in 1e5..8e5, rho in 650.0..800.0) {
        let injector = Injector {
            static_flow: 1e-5, reference_difference: 3e5, reference_density: 684.0, dead_time: DeadTime::constant(1e-3),
        };
        let law = |dp| injector.static_volume_flow(dp, rho);
        let want = static_flow(m3_per_s(1e-5), kpa(300.0), kg_per_m3(684.0), pa(dp), kg_per_m3(rho)).value;
        prop_assert!((law(dp).0 / want - 1.0).abs() < 1e-12);
        prop_assert!(slope_gap(law, dp) < 1e-8);
        prop_assert!((law(2.0 * dp).0 / law(dp).0 - 2_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_motor_keeps_its_energy(v in 6.0..16.0, t in 0.01..0.3, r in 0.05..0.5, k in 0.01..0.05, f in 0.0..0.05) {
        let motor = Motor { resistance: ohms(r), constant: vs_per_rad(k), friction: nm(f) };
        let p = motor.at(volts(v), nm(t));
        let heat = contact_heating(ohms(r), p.current);
        let rubbed = nm(f) * p.speed;
        prop_assert!((p.electrical - heat - rubbed - p.shaft).value.abs() < 1e-9 * p.electrical.value);
        let back = motor.current(volts(v), p.speed) - p.current;
        prop_assert!(back.value.abs() < 1e-12 * v / r, "{back:?}");
        // Largest power at half the stall torque, friction aside.
        let free = Motor { friction: nm(0.0), ..motor };
        let best = railrise::part::motor::max_mechanical_power(volts(v), ohms(r));
        let half_stall = nm(0.5 * k * v / r);
        prop_assert!(((free.at(volts(v), half_stall).shaft / best).value - 1.0).abs() < 1e-12);
        prop_assert!(free.at(volts(v), nm(t)).shaft <= best * (1.0 + 1e-12));
    }

    #[test]
    fn a_wiring_loop_adds_up(feed in 0.0..0.1, ground in 0.0..0.1, i in 0.1..30.0) {
        let all = Loop::new()
            .with("relay", Side::Feed, ohms(feed)).with("fuse", Side::Feed, fuse_typical(amps(20.0)))
            .with("ground bolt", Side::Ground, ohms(ground));
        let drops = all.drops(amps(i));
        let volts: f64 = drops.iter().map(|d| d.drop.value).sum();
        let watts: f64 = drops.iter().map(|d| d.heat.value).sum();
        prop_assert!((volts - (all.resistance() * amps(i)).value).abs() < 1e-12);
        prop_assert!((watts - volts * i).abs() < 1e-9);
        let sides = all.side_drop(Side::Feed, amps(i)) + all.side_drop(Side::Ground, amps(i));
        prop_assert!((sides.value - volts).abs() < 1e-12);
        prop_assert_eq!(Loop::new().resistance().value, 0.0);
    }

    #[test]
    fn a_surge_pot_empties_only_when_it_loses(v in 0.1..3.0, demand in 20.0..150.0, pump in 150.0..300.0, lift in 0.0..300.0) {
        for back in [Return::ToPot, Return::ToTank] {
            let net = net_outflow(back, l_per_h(demand), l_per_h(pump), l_per_h(lift));
            match time_to_empty(litres(v), net) {
                Some(t) => prop_assert!((((net * t) / litres(v)).value - 1.0).abs() < 1e-12),
                None => prop_assert!(net.value <= 0.0),
            }
        }
    }
}

#[test]
fn a_set_is_judged_by_its_leanest() {
    let set = set_spread(&[1.01, 0.97, 1.00, 1.02]).expect("four flows");
    assert_eq!(set.leanest, 1);
    assert!((set.mean - 1.0).abs() < 1e-15 && (set.range - 0.05).abs() < 1e-12);
    // Sample deviation of those four by hand: √((1 + 9 + 0 + 4)e-4/3).
    assert!((set.relative_deviation.expect("more than one") - (14e-4_f64 / 3.0).sqrt()).abs() < 1e-12);
    assert!((cylinder_lambda(0.80, set.ratios[1]) - 0.80 / 0.97).abs() < 1e-12);
    assert_eq!(set_spread(&[]), None);
    assert_eq!(set_spread(&[1.0, f64::NAN]), None);
}

#[test]
fn tables_refuse_what_they_do_not_hold() {
    let table = DeadTime::table(vec![8.0, 14.0], vec![3e5, 5e5], &[vec![2e-3, 2.2e-3], vec![1e-3, 1.1e-3]])
        .expect("a good table");
    assert_eq!(table.at(14.0, 5e5), Ok(1.1e-3));
    let outside = table.at(7.0, 4e5).expect_err("below the table");
    assert_eq!(outside, OutsideDeadTime::Voltage { asked: 7.0, low: 8.0, high: 14.0 });
    assert!(outside.to_string().contains("8.00 to 14.00 V"), "{outside}");
    assert!(matches!(table.at(12.0, 6e5), Err(OutsideDeadTime::Difference { .. })));
    assert!(table.at(f64::NAN, 4e5).is_err());
    let (held, left) = table.at_edge(20.0, 3e5);
    assert!(left.is_some());
    assert_eq!(held, 1e-3);
    assert!(DeadTime::table(vec![14.0, 8.0], vec![3e5], &[vec![0.0], vec![0.0]]).is_err());
    assert!(DeadTime::table(vec![8.0], vec![3e5], &[vec![0.0, 1.0]]).is_err());
    assert!(DeadTime::table(vec![8.0], vec![3e5], &[vec![f64::NAN]]).is_err());

    assert!(LowPulse::new(vec![(0.3e-3, 0.0)]).is_err());
    assert!(LowPulse::new(vec![(0.3e-3, 0.0), (1e-3, 0.1e-3)]).is_err());
    assert!(LowPulse::new(vec![(0.3e-3, 1e-3), (0.4e-3, 0.0)]).is_err());
    let low = LowPulse::new(vec![(0.3e-3, 0.1e-3), (1e-3, 0.0)]).expect("a good table");
    assert!((low.open_time(0.3e-3).expect("the first point") - 0.4e-3).abs() < 1e-15);
    assert!(low.open_time(0.2e-3).is_err());

    assert!(iec_60228_resistance(3.0, ConductorClass::Flexible, m(1.0)).is_err());
    assert!(railrise::part::suction::ambient_at_altitude(m(20_000.0)).is_err());
}

/// Pressure at altitude against the tables of ISO 2533 (from memory): 1000 m and 3000 m.
#[test]
fn altitude_follows_the_standard_atmosphere() {
    for (h, p) in [(0.0, 101_325.0), (1000.0, 89_874.6), (3000.0, 70_108.5), (11_000.0, 22_632.0)] {
        let got = railrise::part::suction::ambient_at_altitude(m(h)).expect("inside").pascals();
        assert!((got / p - 1.0).abs() < 2e-5, "{h} m: {got} Pa, table {p} Pa");
    }
}

/// A 15 A fuse carries 11.25 A without end (75 %): 9 A leaves a quarter.
#[test]
fn a_fuse_keeps_a_quarter_back() {
    assert!((fuse_margin(amps(15.0), amps(9.0)) - 0.25).abs() < 1e-12);
    assert!(fuse_margin(amps(15.0), amps(12.0)) < 0.0);
    // 12 A through 100 mΩ is 14.4 W: by hand.
    assert!((contact_heating(milliohms(100.0), amps(12.0)).value - 14.4).abs() < 1e-12);
}

/// The suction side: head against losses, and a shut vent.
#[test]
fn suction_adds_up() {
    use railrise::part::suction::*;
    let p = inlet_pressure(atm(), kg_per_m3(745.0), mm(200.0), &[kpa(1.0), kpa(2.0)]);
    // ρ g h = 745 · 9.80665 · 0.2 = 1461.19 Pa, by hand.
    assert!((p.pascals() - (101_325.0 + 1_461.190_85 - 3000.0)).abs() < 1e-6);
    let margin = inlet_margin(p, AbsolutePressure::from_pascals(60e3));
    assert!((margin.value - 39_786.190_85).abs() < 1e-6);
    let vent = Vent { cracking: 0.0, cd_a: 1e-6 };
    let (dp, slope) = vent.depression(5e-5, 1.2);
    assert!((dp - 0.5 * 1.2 * 2500.0).abs() < 1e-9 && (slope - 2.0 * dp / 5e-5).abs() < 1e-3);
    assert_eq!(vent.depression(-1e-5, 1.2), (0.0, 0.0));
    assert_eq!(StrainerState::Folded(0.5).factors(), (2.0, 4.0));
    assert_eq!(StrainerState::Loaded(3.0).factors(), (4.0, 1.0));
}

/// Frictionless column, valve shut at once: high for one return trip, low for the next.
#[test]
fn the_shut_valve_wave_turns_at_each_reflection() {
    let (length, a) = (m(3.0), m_per_s(900.0));
    let wave = |trips: f64| instant_closure_wave(reflection_time(length, a) * trips, length, a);
    assert_eq!([wave(-0.1), wave(0.5), wave(1.5), wave(2.5), wave(3.5)], [0.0, 1.0, -1.0, 1.0, -1.0]);
}
