//! What each lesson's figure names, asserted on its data; check cells are kind and specific.

use railrise::chart::Hinge;
use railrise::prelude::*;
use railrise::quantity::Amount;
use railrise::study::Plan;
use railrise::study::of_build::BuildModel;

fn near(a: f64, b: f64, share: f64) -> bool {
    (a / b - 1.0).abs() <= share
}

fn si(a: Amount) -> f64 {
    a.si
}

#[test]
fn l1_twice_the_rail_is_not_twice_the_fuel() {
    let at_3_bar = car("hill-climb-car/before-0.7-bar").with("control.base", "3 bar");
    let open = "flow with injectors held open";
    let (speed, boost) = (rpm(3000.0), bar(0.0));
    let now = at_3_bar.at(speed, boost);
    let then = at_3_bar.with("regulator.base", "6 bar").at(speed, boost);
    // Bernoulli, by hand: sqrt(6/3).
    assert!(near(ratio_of(then.value(open), now.value(open)).number(), 2f64.sqrt(), 0.005));
    // The curve lies above the line of proportion below 3 bar and under it above: the figure's bend.
    let turned = at_3_bar.as_value_changes("regulator.base", "1.5 bar", "6 bar", speed, boost);
    let (curve, line) = (turned.series(open), in_proportion(&turned, open, bar(3.0)));
    for i in 0..curve.x.len() {
        let above = curve.y[i] > line.y[i];
        assert!((curve.x[i] - 3.0).abs() < 0.1 || above == (curve.x[i] < 3.0), "{} bar", curve.x[i]);
    }
    // What it costs: supply falls, current rises, all along.
    for (figure, rises) in [("supply capacity", false), ("pump current", true)] {
        let y = turned.series(figure).y;
        assert!(y.windows(2).all(|w| (w[1] > w[0]) == rises), "{figure}");
    }
    // Hose off: one gauge reading, two differences, apart by the manifold.
    let off = at_3_bar.with("regulator.reference", "air");
    let (idle, pull) = (off.idling(), off.at(speed, bar(0.7)));
    assert!((idle.rail_pressure().pascals() - pull.rail_pressure().pascals()).abs() < 2e3);
    let apart = si(idle.difference().amount()) - si(pull.difference().amount());
    assert!(near(apart, 1.35e5, 0.02), "{apart}");
}

#[test]
fn l1_the_units_of_the_trade() {
    // NIST SP 811 factors: 400 kPa = 58.0 psi, 300 kPa = 43.5 psi, 20 inHg = 67.7 kPa = 9.82 psi, 127 L/h = 2.1 L/min.
    for (a, unit, is) in [
        (kpa(400.0).amount(), "psi", 58.0),
        (kpa(300.0).amount(), "psi", 43.5),
        (in_hg(20.0).amount(), "kPa", 67.7),
        (in_hg(20.0).amount(), "psi", 9.82),
        (l_per_h(127.0).amount(), "L/min", 2.1),
    ] {
        assert!(near(a.in_unit(unit).expect("a unit of the trade").number, is, 0.01), "{a} in {unit}");
    }
}

#[test]
fn l2_the_factors_of_a_fixed_rail() {
    // sqrt((p_b - p_m)/p_b), by hand; the table of the lesson.
    let table: [(f64, [f64; 3]); 2] = [(3.0, [0.876, 0.816, 0.730]), (4.0, [0.908, 0.866, 0.806])];
    let one = car("hill-climb-car/cure-second-pump");
    for (base, factors) in table {
        let text = format!("{base} bar");
        let fixed = one.with("regulator.base", &text).with("regulator.reference", "air");
        for (boost, factor) in [0.7, 1.0, 1.4].into_iter().zip(factors) {
            assert!(((1.0 - boost / base).sqrt() - factor).abs() < 6e-4);
            // Air alone changes lambda by nothing: compare with the car whose hose is on.
            let hosed = one.with("regulator.base", &text).at(rpm(3000.0), bar(boost));
            let found = hosed.lambda() / fixed.at(rpm(3000.0), bar(boost)).lambda();
            assert!(near(found.number(), factor, 0.02), "{base} {boost}: {}", found.number());
        }
        // No boost: fixed and referenced are one car.
        let (a, b) = (fixed.at(rpm(3000.0), bar(0.0)), one.with("regulator.base", &text));
        assert!(near((a.lambda() / b.at(rpm(3000.0), bar(0.0)).lambda()).number(), 1.0, 1e-9));
    }
}

#[test]
fn l3_twice_the_boost_is_a_third_more_fuel() {
    let engine = car("hill-climb-car/cure-second-pump");
    let (before, after) = (engine.at(rpm(6500.0), bar(0.7)), engine.at(rpm(6500.0), bar(1.4)));
    let found = ratio_of(after.asked_flow(), before.asked_flow()).number();
    let t = |r: &Reading| si(r.value("charge temperature"));
    assert!(
        near(found, 2.413 / 1.713 * t(&before) / t(&after), 1e-6) && near(found, 1.349, 0.002),
        "{found}"
    );
    // The map's line is what the one pump of L4 brings at full load.
    let one_pump = car("hill-climb-car/raised-1.4-bar").at(rpm(6500.0), bar(1.4)).value("supply capacity");
    assert!(near(si(one_pump), 101.0e-3 / 3600.0, 0.005), "{one_pump}");
    // Power times consumption, an independent sum: within the 10 % that count as settled.
    let by_power = fuel_for_power(&engine, kw(285.0));
    assert!(near(ratio_of(by_power, after.asked_flow()).number(), 1.0, 0.10));
    let e85 = engine.with("fuel.ethanol", "85 %").at(rpm(6500.0), bar(1.4));
    assert!(near(ratio_of(e85.asked_flow(), after.asked_flow()).number(), 1.385, 0.003));
    let unaware = engine.with("fuel.ethanol", "85 %").with("control.stoichiometric_ratio", "14.31");
    assert!(unaware.at(rpm(6500.0), bar(1.4)).lambda().number() > 0.84 * 1.2);
}

#[test]
fn l4_the_hinge_sits_at_the_crossing() {
    let lambda_x = |run: &Run, i: usize| run.series("lambda").x[i];
    let raised = car("hill-climb-car/raised-1.4-bar");
    let pull = raised.pull(rpm(2500.0), rpm(7000.0));
    let hinges: Vec<Hinge> = supply_and_demand(&pull).hinges();
    assert_eq!(hinges.len(), 1);
    assert!(hinges[0].runs_short);
    let shut = pull.hinge().expect("it runs short").in_unit("rpm").expect("a speed").number;
    let step = 4500.0 / 120.0;
    assert!((shut - hinges[0].x).abs() <= 0.5, "one hinge, one number: {shut}, {}", hinges[0].x);
    let first_shut = pull.readings().iter().position(|r| r.point().out_of_control()).expect("it shuts");
    assert!((lambda_x(&pull, first_shut) - shut).abs() <= step, "the crossing is where the regulator shuts");
    // Flat before it, a gradual rise after it: no step between neighbours is a cliff.
    let lambda = pull.series("lambda");
    let (mut flat, mut after) = (Vec::new(), Vec::new());
    for (x, y) in lambda.x.iter().zip(&lambda.y) {
        if *x < shut - step { flat.push(*y) } else { after.push(*y) }
    }
    let spread =
        flat.iter().copied().fold(f64::MIN, f64::max) - flat.iter().copied().fold(f64::MAX, f64::min);
    assert!(spread < 0.004, "{spread}");
    assert!(after.windows(2).all(|w| w[1] >= w[0] - 1e-9 && w[1] - w[0] < 0.01));
    assert!(*after.last().expect("points") > 0.84);
    // As the pressure falls the pump regains flow.
    let flow = pull.series("pump flow");
    assert!(flow.y.last() > flow.at(shut).as_ref());
    // The screw is dead while the pump is the limit.
    let (speed, boost) = (rpm(6500.0), bar(1.4));
    let turned = raised.with("regulator.screw", "1 turn").at(speed, boost);
    assert!(near((turned.difference() / raised.at(speed, boost).difference()).number(), 1.0, 1e-6));
    // Pump = return + engine, on both sides of the hinge.
    for r in [raised.at(rpm(4000.0), boost), raised.at(speed, boost)] {
        let (p, e, back) =
            (si(r.pump_flow().amount()), si(r.engine_flow().amount()), si(r.return_flow().amount()));
        assert!((p - e - back).abs() < 1e-3 * p);
    }
    // Simulated boost gives back what the supply brings at that pressure.
    let test = raised.simulated_boost(bar(1.4), volts(13.8));
    let brings = raised.at(speed, boost).value("supply capacity");
    assert!(near(ratio_of(test.return_flow(), brings).number(), 1.0, 0.02));
}

#[test]
fn l4_a_flow_in_litres_a_minute_is_flagged() {
    let slip = car("hill-climb-car/raised-1.4-bar")
        .with("main pump.rows", "[{ pressure = '3 bar', voltage = '13.5 V', flow = '146 L/min' }]");
    let t = slip.slips().to_string();
    assert!(t.contains("more than 10 L/min for one car pump") && t.contains("146.0 L/h"), "{t}");
    // Mended, the slip is gone.
    let mended =
        slip.with("main pump.rows", "[{ pressure = '3 bar', voltage = '13.5 V', flow = '146 L/h' }]");
    assert!(mended.slips().to_string().contains("Nothing looks like a slip"));
}

#[test]
fn l5_volts_are_flow() {
    let raised = car("hill-climb-car/raised-1.4-bar");
    let (speed, boost) = (rpm(6500.0), bar(1.4));
    let full = raised.at(speed, boost);
    // Ohm's law with copper after IEC 60028: 17.241 mohm mm2/m, 0.393 % a kelvin.
    let per_metre = 17.241 * (1.0 + 0.00393 * 30.0) / 2.5;
    let amps = si(full.pump_current().amount());
    let feed = (per_metre * 4.5 + 32.0) * 1e-3 * amps;
    assert!(near(si(full.value("main pump feed drop")), feed, 1e-3));
    let back = (per_metre * 1.2 + 10.0) * 1e-3 * amps;
    assert!(near(si(full.pump_voltage().amount()), si(full.value("supply voltage")) - feed - back, 1e-4));
    // Worse contact: less voltage, less supply, leaner; all along.
    let worse = raised.as_value_changes("main pump.feed_contacts", "0 mΩ", "200 mΩ", speed, boost);
    for (figure, rises) in [("pump voltage", false), ("supply capacity", false), ("lambda", true)] {
        assert!(worse.series(figure).y.windows(2).all(|w| (w[1] > w[0]) == rises), "{figure}");
    }
    // New wiring moves the hinge up and does not cure.
    let hinge = |c: &Car| c.pull(rpm(2500.0), rpm(7000.0)).hinge().expect("short").si;
    assert!(hinge(&car("hill-climb-car/cure-wiring")) > 1.03 * hinge(&raised));
    // One change at a time: the wire does most of it, the filter a little.
    let wire = raised
        .with("main pump.wire_area", "6 mm²")
        .with("main pump.return_length", "0.6 m")
        .with("main pump.feed_contacts", "9 mΩ")
        .with("main pump.return_contacts", "4 mΩ");
    let by_wire = hinge(&wire) - hinge(&raised);
    let by_filter = hinge(&wire.with("fine filter.dirt", "0")) - hinge(&wire);
    assert!(by_filter > 0.0 && by_wire > 5.0 * by_filter, "{by_wire} {by_filter}");
    // Idle hides the drop.
    let idle = si(raised.idling().value("main pump wiring drop"));
    assert!(idle < 0.8 * si(raised.at(rpm(4500.0), boost).value("main pump wiring drop")));
}

#[test]
fn l6_the_same_clog_on_each_side_of_the_regulator() {
    let sound = car("hill-climb-car/filter-each-side");
    let before = sound.with("fine filter.dirt", "12");
    let after = sound.with("rail filter.dirt", "12");
    let rail = |c: &Car| c.idling().rail_pressure().pascals();
    assert!((rail(&before) - rail(&sound)).abs() < 2e3 && (rail(&after) - rail(&sound)).abs() < 2e3);
    let (speed, boost) = (rpm(6500.0), bar(0.7));
    let at = |c: &Car| c.at(speed, boost);
    let (s, b, a) = (at(&sound), at(&before), at(&after));
    assert!(near((b.lambda() / s.lambda()).number(), 1.0, 0.003), "hidden");
    assert!((a.lambda() / s.lambda()).number() > 1.03, "lean");
    assert!(
        b.pump_current() > s.pump_current() * 1.05
            && near((a.pump_current() / s.pump_current()).number(), 1.0, 0.01)
    );
    // Root law with the loss of the run; 0.3 bar at 3.0 bar is 5.1 % of flow and lambda 0.843, by hand.
    let flow = ratio_of(a.engine_flow(), s.engine_flow()).number();
    assert!(near(flow, (a.difference() / s.difference()).root().number(), 0.005), "{flow}");
    assert!(near(1.0 - 0.9f64.sqrt(), 0.051, 0.01) && near(0.80 / 0.9f64.sqrt(), 0.843, 0.001));
    // Smooth droop with demand behind it; a hinge, and only late, before it.
    let droop = after.pull(rpm(2000.0), rpm(6500.0));
    let loss = droop.series("rail filter loss");
    let flow = droop.series("engine flow");
    for i in 1..loss.y.len() {
        assert_eq!(loss.y[i] > loss.y[i - 1], flow.y[i] > flow.y[i - 1], "loss follows demand");
    }
    let hidden = sound.as_value_changes("fine filter.dirt", "0", "80", speed, boost);
    let open = sound.as_value_changes("rail filter.dirt", "0", "50", speed, boost);
    let lean = |r: &Run| r.first_above("lambda", 0.824).expect("lean in the end").si;
    assert!(lean(&hidden) > 5.0 * lean(&open), "{} and {}", lean(&hidden), lean(&open));
    assert!(hidden.hinge().is_some() && open.hinge().is_none());
}

#[test]
fn l7_the_floor_takes_over_and_the_screw_is_dead_on_it() {
    let first = car("hill-climb-car/before-0.7-bar")
        .with("regulator.seat", "4.5 mm")
        .with("regulator.max_lift", "0.20 mm");
    let big = first.with("main pump.flow_factor", "180 %");
    let grows = first.idling_as_value_changes("main pump.flow_factor", "60 %", "200 %");
    let (rail, floor) = (grows.series("rail pressure"), grows.series("regulator floor"));
    assert!(floor.y.windows(2).all(|w| w[1] > w[0]), "the floor rises with pump size");
    assert!(rail.y.iter().zip(&floor.y).all(|(r, f)| r >= &(f - 1e-6)), "the rail never lies below it");
    assert!(rail.y[0] - floor.y[0] > 1.0 && (rail.y[56] - floor.y[56]).abs() < 1e-6, "it takes over");
    // Flow up by r: floor up by no more than r squared.
    let (small, large) = (first.idling(), big.idling());
    let r = ratio_of(large.return_flow(), small.return_flow()).number();
    let rise = ratio_of(large.value("regulator floor"), small.value("regulator floor")).number();
    assert!(rise <= r * r && rise > 0.9 * r * r, "{rise} and {}", r * r);
    // The screw: dead on the floor, alive under load, in raises.
    let idle = big.idling_as_value_changes("regulator.screw", "-2 turn", "0 turn");
    let y = idle.series("rail pressure").y;
    assert!(y.iter().all(|p| (p - y[0]).abs() < 1e-6), "dead");
    let load = big.as_value_changes("regulator.screw", "-2 turn", "2 turn", rpm(6500.0), bar(0.7));
    assert!(load.series("differential pressure").y.windows(2).all(|w| w[1] > w[0]), "in raises");
    assert_eq!(
        (load.axis().unit.as_str(), load.series("lambda").x[0]),
        ("turn", -2.0),
        "drawn as it was given"
    );
    // In control the hose takes the vacuum off; overrun it does not.
    let drop = |c: &Car| c.idling_hose_off().rail_pressure().pascals() - c.idling().rail_pressure().pascals();
    assert!(near(drop(&first), 0.65e5, 0.03) && drop(&big) < 0.6 * 0.65e5);
    // Nothing taken: the higher of set and floor.
    let out = big.with("regulator.screw", "-2 turn");
    let rest = |c: &Car| c.simulated_boost(bar(0.0), volts(13.2));
    assert!(near(rest(&big).rail_pressure().pascals(), 3.0e5, 0.03));
    assert!(near(rest(&out).rail_pressure().pascals(), si(rest(&out).value("regulator floor")), 1e-6));
}

#[test]
fn l8_pulse_is_not_duty() {
    let sound = car("hill-climb-car/cure-second-pump");
    let pull = sound.pull(rpm(2000.0), rpm(7000.0));
    let (pulse, duty) = (pull.series("pulse width"), pull.series("duty"));
    let peak = (0..pulse.y.len()).max_by(|a, b| pulse.y[*a].total_cmp(&pulse.y[*b])).expect("points");
    assert!((4000.0..6000.0).contains(&pulse.x[peak]) && pulse.y[peak] > 1.05 * pulse.y[pulse.y.len() - 1]);
    assert!(duty.y.windows(2).all(|w| w[1] > w[0]), "duty rises while the pulse falls");
    for i in 0..duty.y.len() {
        assert!(near(duty.y[i], 100.0 * pulse.y[i] * pulse.x[i] / 120_000.0, 1e-9), "duty in percent");
    }
    // Too small: static, difference held, lean.
    let small = sound.with("injectors.static_flow", "500 cc/min").at(rpm(6500.0), bar(1.4));
    assert!(near(small.duty().number(), 1.0, 1e-9) && small.lambda().number() > 0.824);
    assert!(near((small.difference() / sound.at(rpm(6500.0), bar(1.4)).difference()).number(), 1.0, 0.01));
    // The same error of the table: idle minds, load does not.
    let wrong = sound.with("control.dead_time_error", "-0.1 ms");
    let off = |a: &Reading, b: &Reading| (a.lambda() / b.lambda()).number() - 1.0;
    let idle = off(&wrong.idling(), &sound.idling());
    let load = off(&wrong.at(rpm(6500.0), bar(1.4)), &sound.at(rpm(6500.0), bar(1.4)));
    assert!(idle > 0.05 && load.abs() < 0.01, "{idle} {load}");
    // Too large: lean only where the open time has fallen into the low-pulse region.
    let at_idle = sound.with("engine.lambda", "1.0");
    let bigger = at_idle.with("injectors.short_pulse", "0.9 ms").idling_as_value_changes(
        "injectors.static_flow",
        "600 cc/min",
        "2000 cc/min",
    );
    for r in bigger.readings() {
        let i = &r.point().injectors[0];
        let lean = r.lambda().number() > 1.0125;
        assert!(!lean || i.pulse - i.dead_time < 0.9e-3);
    }
    assert!(bigger.readings().last().expect("points").lambda().number() > 1.06);
}

#[test]
fn l9_margin_falls_and_the_pot_empties() {
    let sound = car("hill-climb-car/cure-second-pump");
    let (speed, boost) = (rpm(6500.0), bar(1.4));
    let warming = sound.as_value_changes("fuel.temperature", "15 degC", "48 degC", speed, boost);
    let (margin, vapour) = (warming.series("main pump inlet margin"), warming.series("vapour pressure"));
    assert!(margin.y.windows(2).all(|w| w[1] < w[0]));
    assert!(vapour.y.windows(3).all(|w| w[2] - w[1] > w[1] - w[0]), "ever faster");
    let high = sound.with("ambient.pressure", "80 kPa abs");
    let up = high.as_value_changes("fuel.temperature", "15 degC", "41 degC", speed, boost);
    let out = |r: &Run| r.first_below("main pump inlet margin", 0.10).expect("runs out").si;
    assert!(out(&up) < out(&warming) - 5.0);
    // Thin air takes what it lacks from the margin.
    let less = si(sound.at(speed, boost).value("main pump inlet margin"))
        - si(high.at(speed, boost).value("main pump inlet margin"));
    assert!(near(less, 21.3e3, 0.05), "{less}");
    // rho g h for a metre of height.
    let low = sound.with("strainer.head", "-1000 mm").at(speed, boost);
    let lost = si(sound.with("strainer.head", "0 mm").at(speed, boost).value("main pump inlet margin"))
        - si(low.value("main pump inlet margin"));
    assert!(near(lost, si(low.value("fuel density")) * 9.80665, 0.02), "{lost}");
    // V / (Q_e - Q_lift) and V / (Q_p - Q_lift), by hand.
    let pull = sound.at(speed, boost);
    let pot = surge_pot(litres(1.0)).lift(l_per_h(90.0));
    let by_hand = |q: VolumeRate| 1e-3 / (si(q.amount()) - 90e-3 / 3600.0);
    let lasts = |p: Pot| si(p.empty_after(&pull).expect("it empties").amount());
    assert!(near(lasts(pot.return_to_pot()), by_hand(pull.engine_flow()), 1e-9));
    assert!(near(lasts(pot.return_to_tank()), by_hand(pull.pump_flow()), 1e-9));
    assert!(lasts(pot.return_to_tank()) < lasts(pot.return_to_pot()));
    assert!(pot.lift(l_per_h(130.0)).empty_after(&pull).is_none(), "a lift pump that keeps up");
}

#[test]
fn l8_a_port_injector_sees_the_port() {
    let top = car("hill-climb-car/cure-second-pump").at(rpm(7000.0), bar(1.4));
    let cycle = one_cycle(&top);
    // The cylinder fires at many times the rail; the port stays about the manifold, and the difference about base.
    let rail = top.rail_pressure().pascals() + 101_325.0;
    assert!(si(cycle.highest("cylinder")) > 10.0 * rail, "{}", cycle.highest("cylinder"));
    assert!(near(si(cycle.mean("port")), 101_325.0 + 1.4e5, 0.03), "{}", cycle.mean("port"));
    assert!(cycle.port_swing().number() < 0.25, "{}", cycle.port_swing());
    assert!(near(si(cycle.mean("rail less port")), si(top.difference().amount()), 0.03));
    assert!(cycle.lowest("rail less port").si > 0.0 && cycle.lowest("rail less cylinder").si < -5e6);
    // Compression by hand: p V^1.33 over a ratio of 9 from the manifold; what fires lies above it.
    let squeezed = 2.413e5 * 9f64.powf(1.33);
    assert!(si(cycle.highest("cylinder")) > squeezed && si(cycle.highest("cylinder")) < 4.0 * squeezed);
}

#[test]
fn l10_the_dip_is_slew_times_lag_and_a_slow_log_misses_the_teeth() {
    let short = car("hill-climb-car/before-0.7-bar").with("regulator.reference_lag", "1 ms");
    let long = short.with("regulator.reference_lag", "100 ms");
    let step = |c: &Car| c.boost_step(rpm(4000.0), bar(0.0), bar(0.6), ms(200.0));
    let (slow, quick) = (step(&long), step(&short));
    // First-order lag behind a ramp, by hand.
    let by_hand = 3.0e5 * 0.100 * (1.0 - (-2f64).exp());
    assert!(
        near(slow.dip("differential pressure").si, by_hand, 0.12),
        "{}",
        slow.dip("differential pressure")
    );
    assert!(quick.dip("differential pressure").si < 0.3 * by_hand);
    // What the first figure shows: the reference trails the boost by the lag that was given.
    let trails = slow.lag("regulator reference", "manifold pressure");
    assert!(near(si(trails.amount()), 0.100, 0.05), "{trails}");
    // It costs fuel that a driver feels, by the pressure; the timing costs both cars the same.
    assert!(slow.worst_pulse().number() < -0.045 && quick.worst_pulse().number() > -0.015);
    assert!((slow.worst_scheduling().number() - quick.worst_scheduling().number()).abs() < 1e-4);
    // Twenty readings a second see nearly all of the dip, three a second miss a third of it.
    let diff = "differential pressure";
    let start = slow.at(diff, ms(0.0)).si;
    let depth = |low: Amount| start - low.si;
    let (deep, logged) = (depth(slow.lowest(diff)), depth(slow.lowest_logged(diff, ms(50.0))));
    assert!(logged < deep && logged > 0.95 * deep, "{logged} {deep}");
    assert!(depth(slow.lowest_logged(diff, ms(300.0))) < 0.67 * deep);
    // What a boost that is read 20 ms late invents on the sound car: slew times skew, by hand, from what was imposed.
    let skew = quick.at("boost", ms(320.0)).si - quick.at("boost", ms(300.0)).si;
    assert!(near(skew, 3.0e5 * 0.020, 1e-6), "{skew}");
    // Four cylinders at 4000 rpm: 133 teeth a second, counted as rises through the mean.
    let y = slow.series("rail pressure");
    let last: Vec<f64> = y.y.iter().copied().skip(y.y.len() * 4 / 5).collect();
    let mean = last.iter().sum::<f64>() / last.len() as f64;
    let rises = last.windows(2).filter(|w| w[0] < mean && w[1] >= mean).count() as f64;
    let time = y.x[y.x.len() - 1] - y.x[y.y.len() * 4 / 5];
    assert!((rises / time) > 0.7 * 133.3, "{rises} in {time}");
    // What is stored carries the engine for a blink only.
    let dies = long.pump_failure(rpm(6500.0), bar(0.7), bar(2.0));
    assert!(
        dies.lowest("differential pressure").si < 2.03e5
            && dies.solution().t.last().is_some_and(|t| *t < 0.6)
    );
}

#[test]
fn pictures_of_the_build_say_what_the_reading_says() {
    let raised = car("hill-climb-car/raised-1.4-bar");
    let reading = raised.at(rpm(4000.0), bar(1.4));
    let figure = schematic(&reading).figure();
    let text = figure.plain();
    for (part, _) in raised.build().parts().filter(|(n, _)| *n != "injectors") {
        assert!(text.contains(part), "{part} is not drawn:\n{text}");
    }
    for value in [reading.pump_flow().amount(), reading.pump_voltage().amount()] {
        assert!(text.contains(&value.to_string()), "{value} in {text}");
    }
    let rail = format!("{:.3}", reading.rail_pressure().amount().shown()).replace(" gauge", "");
    assert!(text.contains(&rail) && figure.svg().contains("pressures above ambient"), "{rail} in {text}");
    assert!(text.contains("fuel level +1.07 kPa"), "{text}");
    assert!(figure.notes.is_empty(), "{:?}", figure.notes);
    // Two pumps, and a circuit with a tee.
    for name in ["hill-climb-car/cure-second-pump", "hill-climb-car/filter-each-side"] {
        let other = schematic(&car(name).at(rpm(4000.0), bar(0.7))).figure();
        assert!(other.notes.is_empty(), "{name}: {:?}", other.notes);
    }
    // The band of the gauge holds the nominal reading, and is as wide as the dial's class at least.
    let idle = car("hill-climb-car/cure-second-pump").idling();
    let face = expect_gauge(&idle, "rail pressure", bar(6.0));
    let bar_of = |a: Amount| a.in_unit("bar").expect("a pressure").number;
    let reads = bar_of(idle.rail_pressure().amount());
    assert_eq!(face.clone().reading(reads).inside(), Some(true));
    assert_eq!(face.clone().reading(reads + 0.5).inside(), Some(false));
    assert_eq!(face.reading(reads + 0.09).inside(), Some(true), "EN 837-1, class 1.6 of 6 bar: 0.096 bar");
    // Where each bar goes while the boost climbs: five frames, each with its own picture.
    let slider = slide_boost(&raised, rpm(4000.0), &[0.0, 0.35, 0.7, 1.05, 1.4]);
    assert_eq!(slider.frames().count(), 5);
    let swings = tornado(&raised, rpm(6500.0), "headroom").figure().plain();
    assert!(swings.contains("feed_contacts") || swings.contains("wear"), "{swings}");
}

#[test]
fn check_cells_are_kind_and_specific() {
    let ask = |answer: &str| {
        check("difference", answer).if_it_is(bar(4.0), "You added the boost.").against(bar(2.0))
    };
    for empty in ["", "  ", "?", "..."] {
        assert!(!ask(empty).right() && ask(empty).words().contains("such as \"2.5 bar\""), "{empty}");
    }
    for (answer, says) in [
        ("2.0", "of what?"),
        ("2.0 L/h", "measures"),
        ("2.0 bananas", "is not known here"),
        ("two bar", "does not start with a number"),
        ("4 bar", "You added the boost."),
        ("-2 bar", "the wrong sign"),
        ("5 bar", "2.5 times"),
        ("3.01325 bar", "one atmosphere off"),
    ] {
        let f = ask(answer);
        assert!(!f.right() && f.words().contains(says), "{answer}: {}", f.words());
    }
    for right in ["2 bar", "2,0 bar", "200 kPa", "29.0 psi"] {
        assert!(ask(right).right(), "{right}: {}", ask(right).words());
    }
    let flow = check("flow", "2.1 L/h").against(l_per_h(127.0));
    assert!(flow.words().contains("factor of 60"), "{}", flow.words());
    let share = check("duty", "75.8").against(percent(75.8));
    assert!(share.words().contains("hundred times"), "{}", share.words());
}

#[test]
fn a_prediction_is_shown_beside_what_came_out() {
    let said = |t: &str| predict("difference", t).compare(bar(1.6), "of the boost").words().to_owned();
    assert_eq!(said("1.6 bar"), "Spot on.");
    assert_eq!(said("1.7 bar"), "Close: 1.7 bar is 6 % too high.");
    // Where the lesson is about the difference, the belief is not called close.
    let volts =
        |close: &str| predict("voltage", "13.8 V").close_within(close).compare(volts(13.08), "it is lost");
    assert!(!volts("0.1 V").words().contains("Close"), "{}", volts("0.1 V").words());
    assert!(volts("1 V").words().starts_with("Close") && volts("8 %").words().starts_with("Close"));
    let share = predict("duty", "60 %").compare(percent(82.97), "of both").rich();
    assert!(share.get("text/markdown").is_some_and(|m| m.contains("| 60 % | 83.0 % |")));
    assert!(said("3 bar").contains("1.9 times"), "{}", said("3 bar"));
    assert!(said("").contains("between the quotes"));
    assert!(said("1.6 V").contains("measures"), "{}", said("1.6 V"));
}

/// A cell: kind, tags, text.
type CellText = (String, Vec<String>, String);

/// The cells of every lesson.
fn lessons() -> Vec<(String, Vec<CellText>)> {
    let folder = format!("{}/notebooks", env!("CARGO_MANIFEST_DIR"));
    let mut out = Vec::new();
    for file in std::fs::read_dir(folder).expect("the notebooks").map(|f| f.expect("an entry").path()) {
        if file.extension().is_none_or(|e| e != "ipynb") {
            continue;
        }
        let text = std::fs::read_to_string(&file).expect("a notebook");
        let nb: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        if !nb["metadata"]["railrise"]["number"].as_str().is_some_and(|n| n.starts_with('L')) {
            continue;
        }
        let words = |v: &serde_json::Value| -> Vec<String> {
            v.as_array().into_iter().flatten().filter_map(|x| x.as_str().map(str::to_owned)).collect()
        };
        let cells = nb["cells"].as_array().expect("cells").iter();
        let cells = cells.map(|c| {
            let kind = c["cell_type"].as_str().unwrap_or_default().to_owned();
            (kind, words(&c["metadata"]["tags"]), words(&c["source"]).concat())
        });
        out.push((file.file_name().expect("a name").to_string_lossy().into_owned(), cells.collect()));
    }
    out.sort_by(|a, b| a.0.cmp(&b.0));
    out
}

#[test]
fn every_lesson_has_the_steps_that_teach() {
    let all = lessons();
    assert!(all.len() >= 9, "{}", all.len());
    for (name, cells) in &all {
        let prose: String = cells.iter().filter(|c| c.0 == "markdown").map(|c| c.2.as_str()).collect();
        assert!(cells[0].2.contains("> **Caution"), "{name}: the safety note comes first");
        for part in [
            "**The puzzle:**",
            "> **Misconception**",
            "> **Predict**",
            "> **Answer**",
            "## Exercises",
            "## Sources",
        ] {
            assert!(prose.contains(part), "{name} lacks {part}");
        }
        for part in
            ["## What would change the decision", "## What the model cannot say", "## What is left out"]
        {
            assert!(prose.contains(part), "{name} lacks {part}");
        }
        let code = |c: &&(String, Vec<String>, String)| c.0 == "code";
        let cell = |what: &str| cells.iter().filter(code).position(|c| c.2.contains(what));
        let guess = cell("predict(").expect("a prediction");
        let shown = cell(".compare(").expect("it is shown beside the result");
        assert!(guess < shown, "{name}: predict first");
        assert!(
            cells.iter().any(|c| c.1.iter().any(|t| t == "raises-exception")),
            "{name}: break it on purpose"
        );
        assert!(cell(".explain(").is_some(), "{name}: a working with the numbers of the run");
        assert!(cells.iter().filter(code).filter(|c| c.2.contains("check(")).count() >= 2, "{name}");
    }
}

#[test]
fn cells_are_short_and_in_trade_words() {
    for (name, cells) in lessons() {
        for (_, _, text) in cells.iter().filter(|c| c.0 == "code") {
            assert!(text.lines().count() <= 16, "{name}: {text}");
            for line in text.lines() {
                assert!(line.chars().count() <= 76, "{name}: {line}");
            }
            for noise in
                ["::<", "_f64", "_f32", "unwrap", "expect(", ".iter()", "'static", "dyn ", "impl ", "async "]
            {
                assert!(!text.contains(noise), "{name}: {noise} in {text}");
            }
            // What is stored asks; the answer is the learner's.
            if let Some((_, rest)) = text.split_once("check(") {
                let call = rest.split_once(')').map_or(rest, |(call, _)| call);
                assert!(call.trim_end().ends_with("\"\"") || rest.contains(", \"\")"), "{name}: {text}");
            }
        }
    }
}

#[test]
fn l11_the_cars_spread_over_the_line_and_are_seen_to() {
    let today = car("hill-climb-car/raised-1.4-bar").with_full_boost(rpm(3800.0), "1.0 bar");
    let nominal = today.at_full_load(rpm(5800.0));
    assert!(nominal.headroom().number() > 0.0 && nominal.headroom().number() < 0.2);
    let cars = across_tolerances(&today, rpm(5800.0), 1024, 11);
    let shown = cars.histogram();
    let bins = shown.bins();
    let held = bins.iter().filter(|b| b.2 > 0).count();
    assert!(held > 8, "{bins:?}");
    // A bin edge stands on the line, and cars stand on both sides of it.
    let (pass, fail) =
        bins.iter().fold((0, 0), |(p, f), b| if b.1 <= 3.0 + 1e-9 { (p + b.2, f) } else { (p, f + b.2) });
    assert!(pass > 100 && fail == shown.failing().0, "{pass} {fail}");
}

#[test]
fn l12_four_faults_are_lean_alike_and_told_apart_by_one_more_reading() {
    let sound = car("hill-climb-car/before-0.7-bar");
    let at = |c: &Car| c.at(rpm(6500.0), bar(0.7));
    let a = at(&sound.with_fault("worn pump", 0.9));
    let b = at(&sound.with_fault("wiring drop", 0.9));
    let c = at(&sound.with_fault("strainer blocked", 0.9));
    let d = at(&sound.with("fine filter.dirt", "70"));
    let good = at(&sound);
    for (name, car) in [("A", &a), ("B", &b), ("C", &c), ("D", &d)] {
        assert!(car.lambda().number() > 0.824, "{name}: {}", car.lambda().number());
    }
    let volts = |r: &Reading| si(r.pump_voltage().amount());
    let amps = |r: &Reading| si(r.pump_current().amount());
    let margin = |r: &Reading| r.value("main pump inlet margin").si;
    assert!(volts(&good) - volts(&b) > 1.2, "the wire");
    assert!([&a, &c, &d].iter().all(|r| volts(&good) - volts(r) < 0.5), "the others' volts are fine");
    assert!(amps(&d) > 1.1 * amps(&good), "the filter holds the pump's pressure up");
    assert!(amps(&a) < amps(&good) && amps(&c) < amps(&good), "{} {} {}", amps(&a), amps(&c), amps(&good));
    assert!(margin(&c) < 0.10e5 && margin(&a) > 0.3e5, "{} {}", margin(&c), margin(&a));
    // In the middle of the pull the starved pump still draws more than the sound one: read beyond the hinge.
    let early = |c: &Car| amps(&c.at(rpm(3500.0), bar(0.7)));
    assert!(early(&sound.with_fault("strainer blocked", 0.9)) > 1.03 * early(&sound));
    // Half as bad: only the worn pump is lean, and wire and filter show all the same.
    let half = |fault: &str| at(&sound.with_fault(fault, 0.45));
    let clog = at(&sound.with("fine filter.dirt", "35"));
    assert!(half("worn pump").lambda().number() > 0.824);
    assert!(
        [&half("wiring drop"), &half("strainer blocked"), &clog].iter().all(|r| r.lambda().number() < 0.805)
    );
    assert!(volts(&good) - volts(&half("wiring drop")) > 0.9 && amps(&clog) > 1.15 * amps(&good));
    // The second test: fed straight, the car with the bad wire brings enough and the worn pump does not.
    let fed = |fault: &str| {
        let car = sound.with_fault(fault, 0.9).with("main pump.feed_contacts", "0 mΩ");
        let car = car.with("main pump.return_contacts", "0 mΩ");
        si(car.simulated_boost(bar(0.7), railrise::prelude::volts(13.8)).return_flow().amount())
    };
    let asked = si(good.asked_flow().amount());
    assert!(fed("wiring drop") > asked && fed("worn pump") < asked);
}

#[test]
fn the_capstone_no_boost_cures_vapour_and_base_is_set_again() {
    let pumps = car("hill-climb-car/cure-second-pump");
    let hottest = |boost: Pressure| {
        let warming = pumps.as_value_changes("fuel.temperature", "35 degC", "49 degC", rpm(6500.0), boost);
        warming.first_below("main pump inlet margin", 0.10).expect("it runs out").si
    };
    assert!((hottest(bar(1.4)) - hottest(bar(1.0))).abs() < 0.2);
    // Draw by draw: every car that runs lean has vapour at its pump, no other way to fail adds one.
    let model = BuildModel::full_load(pumps.build(), &[rpm(6500.0).quantity().value]).unwrap();
    let runs = Plan::tolerance(&model).draws(512).seed(2026).run(&model).unwrap();
    let figure = |name: &str| runs.output(name).unwrap().to_vec();
    let cars: Vec<(f64, f64)> =
        figure("lambda over target").into_iter().zip(figure("inlet margin")).collect();
    let lean: Vec<_> = cars.iter().filter(|(lean, _)| *lean > 0.03).collect();
    assert!(lean.len() > 20 && lean.iter().all(|(_, margin)| *margin < 0.10), "{lean:?}");
    // What comes back lifts the regulator; set again at that flow it reads base.
    let found = pumps.idling_hose_off();
    assert!(near(si(found.return_flow().amount()), 240e-3 / 3600.0, 0.01));
    assert!(found.rail_pressure().pascals() > 3.03e5);
    let set = pumps.with("regulator.setting_flow", "240 L/h").idling_hose_off();
    assert!(near(set.rail_pressure().pascals(), 3.0e5, 0.002));
}
