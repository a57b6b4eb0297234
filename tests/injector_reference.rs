//! Injectors against the rows of `07_injector`.

use crate::support::rows::{Answer, Row, hold, rows};
use railrise::part::injector::*;
use railrise::quantity::*;

const CANNOT: &[(&str, &str)] = &[
    (
        "7.j1832.fluid",
        "a word remembered and not confirmed: the fluid of a rating is data of the injector here",
    ),
    ("7.j1832.terms", "words, nothing to compute: the documents of `injector` use these terms"),
];

#[test]
fn injector_rows_hold() {
    let held = hold("07_injector", rows("07_injector"), CANNOT, |row| match row.kind() {
        "sqrt" => Answer::one(ratio_both_ways(row, row.input("dp"), row.input("dp_ref"))),
        "scale" => {
            let (q, reference, dp) = (row.input("q_ref"), row.input("dp_ref"), row.input("dp"));
            let rho = kg_per_m3(745.0);
            let law = static_flow(m3_per_s(q), pa(reference), rho, pa(dp), rho);
            Answer::one(law.value)
        }
        "psi" => Answer::one(psi(43.5).value),
        "lbhr" => Answer::one(lb_per_h(1.0).value),
        "ccmin" => {
            let volume = lb_per_h(1.0) / kg_per_m3(row.input("rho"));
            Answer::one((volume / cc_per_min(1.0)).value)
        }
        "fluid" => Answer::one(mass_flow_ratio(kg_per_m3(row.input("rho1")), kg_per_m3(row.input("rho2")))),
        // An ideal regulator: the rail follows the manifold, or the ambient.
        "ref11" => {
            let manifold = AbsolutePressure::from_pascals(row.input("map_abs"));
            let base = pa(row.input("base_dp"));
            let rail = manifold + base;
            let dp = rail - manifold;
            Answer::many([rail.pascals(), dp.value, ratio_both_ways(row, dp.value, base.value)])
        }
        "noref" => {
            let ambient = AbsolutePressure::from_pascals(row.input("patm"));
            let base = pa(row.input("base_dp"));
            let rail = gauge(base).absolute(ambient);
            let dp = rail - AbsolutePressure::from_pascals(row.input("map_abs"));
            Answer::many([dp.value, ratio_both_ways(row, dp.value, base.value)])
        }
        "lossdp" => {
            let base = row.input("base");
            Answer::one(ratio_both_ways(row, base - row.input("droop"), base) - 1.0)
        }
        "deadtime" => {
            let dead = DeadTime::constant(row.input("tau")).at(13.5, 4e5).expect("one value everywhere");
            let (q, pulse) = (m3_per_s(row.input("Q")), s(row.input("tw")));
            let volume = delivered_volume(q, pulse, s(dead));
            let back = pulse_for_volume(volume, q, s(dead));
            assert!(
                ((back / pulse).value - 1.0).abs() < 1e-12,
                "{}: the pulse comes back as {back:?}",
                row.id
            );
            Answer::one(volume.value)
        }
        "dutymax" => {
            let speed = rpm(row.input("n"));
            let available = available_time(speed);
            let pulse = available * 0.85;
            assert!((duty(pulse, speed) - 0.85).abs() < 1e-15);
            Answer::many([available.value, pulse.value])
        }
        "j1832" if row.part(2) == "scope" => Answer::one(PORT_SUPPLY_LIMIT),
        "j1832" => Answer::judge(false, "not a number"),
        other => panic!("{}: no law for `{other}`", row.id),
    });
    assert_eq!(held, 24, "rows held");
}

/// The law and the solvers' kernel agree to 1e-12; the kernel's answer is returned.
fn ratio_both_ways(row: &Row, dp: f64, reference: f64) -> f64 {
    let injector = Injector {
        static_flow: 1e-5,
        reference_difference: reference,
        reference_density: 745.0,
        dead_time: DeadTime::constant(1e-3),
    };
    let (q, _) = injector.static_volume_flow(dp, 745.0);
    let law = flow_ratio(pa(dp), pa(reference));
    assert!((q / 1e-5 / law - 1.0).abs() < 1e-12, "{}: kernel {q}, law {law}", row.id);
    q / 1e-5
}
