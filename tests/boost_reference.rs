//! Boost, altitude and charge temperature against `tests/reference/09_boost.json`.

use crate::support::rows::{Answer, hold, rows};
use proptest::prelude::*;
use railrise::part::engine::*;
use railrise::quantity::*;

#[test]
fn every_row_of_the_boost_file() {
    let all = rows("09_boost");
    let count = all.len();
    let held = hold("09_boost", all, &[], |row| match row.kind() {
        "pr" => Answer::one(pressure_ratio(
            abs(pa(row.input("p_amb"))),
            gauge(pa(row.input("boost"))),
            pa(row.input("dp_in")),
            pa(row.input("dp_ic")),
        )),
        // "same": the intake and intercooler losses of the rows above it, 2 and 6 kPa.
        "prabs" => Answer::one(pressure_ratio_for(
            abs(pa(row.input("p_man"))),
            abs(pa(row.input("p_amb"))),
            kpa(2.0),
            kpa(6.0),
        )),
        "T2" => {
            let inlet = kelvin(row.input("T1"));
            let (pr, eta, gamma) = (row.input("pr"), row.input("eta"), row.input("gamma"));
            let out = compressor_outlet_temperature(inlet, pr, eta, gamma).expect("in range");
            let work = compressor_specific_work(inlet, out, j_per_kg_k(row.input("cp")));
            Answer::many([out.value, work.value])
        }
        "ic" => {
            let (hot, air) = (kelvin(row.input("T2")), kelvin(row.input("Ta")));
            let out = intercooler_outlet_temperature(hot, air, row.input("e")).expect("in range");
            // "at 2.4 bar abs/1.013": against the standard atmosphere at the coolant's temperature.
            Answer::many([out.value, density_ratio((abs(bar(2.4)), out), (atm(), air))])
        }
        // A 1:1 reference adds the manifold's gauge pressure to the base difference.
        "rail" => Answer::one((gauge(pa(row.input("boost"))) + pa(row.input("base"))).pascals()),
        "conv" => Answer::one(bar(1.4).in_unit("psi").expect("a unit of pressure").number),
        other => panic!("{}: no law answers `{other}`", row.id),
    });
    assert_eq!(held, count);
}

#[test]
fn a_compressor_outside_its_range_is_refused() {
    let ask = |pr, eta| compressor_outlet_temperature(degc(20.0), pr, eta, 1.4);
    assert!(ask(0.7, 0.7).unwrap_err().to_string().contains("absolute"));
    assert!(ask(2.0, 72.0).unwrap_err().to_string().contains("0.72 for 72 %"));
    assert!(ask(2.0, 0.0).is_err() && ask(f64::NAN, 0.7).is_err());
    assert!(intercooler_outlet_temperature(degc(120.0), degc(20.0), 1.2).is_err());
}

/// Below the ambient the throttle sets the manifold, and throttled air keeps its temperature.
#[test]
fn off_boost_the_charge_is_as_warm_as_the_air() {
    let way = Induction {
        compressor_efficiency: 0.7,
        intercooler_effectiveness: 0.6,
        intake_loss: kpa(2.0),
        intercooler_loss: kpa(6.0),
    };
    let c = way.charge(abs(kpa(35.0)), atm(), degc(25.0)).unwrap();
    assert_eq!((c.pressure_ratio, c.temperature), (1.0, degc(25.0)));
}

proptest! {
    #[test]
    fn the_charge_lies_between_the_air_and_the_compressor_outlet(
        boost in 0.05..2.0f64, z in 0.0..3000.0f64, eta in 0.5..0.85f64, e in 0.0..1.0f64,
    ) {
        let air = isa_atmosphere(m(z)).unwrap();
        let way = Induction {
            compressor_efficiency: eta,
            intercooler_effectiveness: e,
            intake_loss: kpa(2.0),
            intercooler_loss: kpa(6.0),
        };
        let manifold = gauge(bar(boost)).absolute(air.pressure);
        let c = way.charge(manifold, air.pressure, air.temperature).unwrap();
        prop_assert!(air.temperature.value <= c.temperature.value + 1e-9);
        prop_assert!(c.temperature.value <= c.compressor_outlet.value + 1e-9);
        // A better compressor heats less; isentropic is the floor.
        let best = compressor_outlet_temperature(air.temperature, c.pressure_ratio, 1.0, 1.4).unwrap();
        prop_assert!(best.value < c.compressor_outlet.value);
        // The same gauge boost costs more ratio in thin air.
        let sea = pressure_ratio(atm(), gauge(bar(boost)), kpa(2.0), kpa(6.0));
        prop_assert!(c.pressure_ratio >= sea - 1e-12);
    }
}
