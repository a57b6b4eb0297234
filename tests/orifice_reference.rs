//! Orifices, valve sizing and poppets against the rows of `03_orifice`.

use crate::support::rows::{Answer, Row, hold, rows};
use railrise::part::orifice::*;
use railrise::quantity::*;

#[test]
fn orifice_rows_hold() {
    let held = hold("03_orifice", rows("03_orifice"), &[], |row| match row.kind() {
        "C" => {
            let taps = if row.input("L1") == 0.0 { Taps::Corner } else { Taps::DAndHalfD };
            let bore = m(row.input("D"));
            assert_eq!(taps.distances(bore), (row.input("L1"), row.input("L2")));
            let (beta, re) = (row.input("beta"), row.input("Re_D"));
            Answer::one(orifice_coefficient_reader_harris_gallagher(beta, re, bore, taps))
        }
        "ex" => worked_example(row),
        "orf" => {
            let hole = hole_area(m(row.input("d")));
            let (dp, rho) = (pa(row.input("dp")), kg_per_m3(row.input("rho")));
            let law = orifice_flow(row.input("Cd"), hole, dp, rho).value;
            let (kernel, _) = flow(dp.value, row.input("Cd") * hole.value, rho.value, DP_SMALL);
            assert!((kernel / law - 1.0).abs() < 1e-12, "{}: kernel {kernel}, law {law}", row.id);
            Answer::one(law)
        }
        "cd" => {
            let at = |delta| discharge_coefficient_laminar(delta, 1.0);
            Answer::many([at(LAMINAR_DELTA_ROUND), at(LAMINAR_DELTA_SLIT)])
        }
        "Recrit" => Answer::one(transition_reynolds(row.input("Cd"), row.input("delta"))),
        "smoothsqrt" => {
            let q = orifice_flow_regularised(
                m2(row.input("CdA")),
                pa(row.input("dp")),
                kg_per_m3(row.input("rho")),
                pa(row.input("dpc")),
            );
            Answer::one(q.value)
        }
        "Kv" => Answer::one(effective_area_from_kv(row.input("Kv")).value),
        "Cv" => Answer::one(effective_area_from_cv(row.input("Cv")).value),
        "Kv_over_Cv" => Answer::one(kv_per_cv()),
        "iec" => {
            let p = |name| AbsolutePressure::from_pascals(row.input(name));
            let size = liquid_valve_size(
                m3_per_s(row.input("Q")),
                kg_per_m3(row.input("rho")),
                p("P1"),
                p("P2"),
                p("Psat"),
                p("Pc"),
                row.input("FL"),
            );
            assert_eq!(size.choked, row.part(2) == "ex2", "{}: {size:?}", row.id);
            Answer::one(size.kv)
        }
        "FF" => {
            let p = |name| AbsolutePressure::from_pascals(row.input(name));
            Answer::one(critical_pressure_ratio_factor(p("pv"), p("pc")))
        }
        "poppet" => {
            let angle = row.input("alpha_deg").to_radians();
            let (seat, lift) = (m(row.input("d")), m(row.input("x")));
            let area = poppet_area(seat, angle, lift);
            assert_eq!(poppet_area_limited(seat, angle, lift), area, "{}: lift is small", row.id);
            Answer::one(area.value)
        }
        "flowforce" => {
            let angle = row.input("theta_deg").to_radians();
            let force = steady_flow_force(
                row.input("Cd"),
                row.input("Cv"),
                m2(row.input("A")),
                pa(row.input("dp")),
                angle,
            );
            Answer::one(force.value)
        }
        other => panic!("{}: no law for `{other}`", row.id),
    });
    assert_eq!(held, 39, "rows held");
}

/// Crane's plates are tapped one bore before and half a bore after.
fn worked_example(row: &Row) -> Answer {
    let water_60f = (kg_per_m3(998.975_426_532), mpa_s(1.11)); // viscosity from memory
    let plate = |d: f64, bore: f64, dp: Pressure, rho, mu| {
        orifice_plate_flow(m(d), m(bore), Taps::DAndHalfD, dp, rho, mu)
            .unwrap_or_else(|e| panic!("{}: {e}", row.id))
    };
    // Mercury under water: 4.4 inches of mercury less 4.4 inches of water at 60 °F.
    let manometer = in_hg(4.4) - static_water_inches(4.4);
    match (row.part(3), row.part(4)) {
        ("23", "alpha") => {
            let (rho, mu) = water_60f;
            Answer::one(plate(row.input("d"), row.input("D"), manometer, rho, mu).1)
        }
        ("23", "Q") => {
            let (rho, mu) = water_60f;
            assert_eq!(row.input("rho"), rho.value);
            Answer::one(plate(0.0508, 0.102_26, manometer, rho, mu).0.value)
        }
        ("29", "Q") => {
            let (rho, mu) = (kg_per_m3(row.input("rho")), pa_s(row.input("mu")));
            Answer::one(plate(row.input("d"), row.input("D"), pa(row.input("dp")), rho, mu).0.value)
        }
        _ => panic!("{}: no working for this example", row.id),
    }
}

/// Inches of water at 60 °F: 248.84 Pa each (NIST SP 811 B.8).
fn static_water_inches(inches: f64) -> Pressure {
    pa(248.84 * inches)
}

/// What the rows leave out: flange taps, small pipes and slow flow. Source: `fluids` 1.3.1,
/// `C_Reader_Harris_Gallagher`.
#[test]
fn plates_of_other_taps_sizes_and_speeds() {
    for (bore, beta, re, taps, expected) in [
        (0.1, 0.5, 1e5, Taps::Flange, 0.606_201_014_815_611_8),
        (0.05, 0.6, 3e3, Taps::Flange, 0.673_437_637_378_981_5),
        (0.05, 0.3, 1e4, Taps::Corner, 0.609_528_214_631_443_7),
        (0.06, 0.4, 2e3, Taps::DAndHalfD, 0.636_275_628_102_754),
    ] {
        let got = orifice_coefficient_reader_harris_gallagher(beta, re, m(bore), taps);
        assert!(
            (got - expected).abs() < 1e-9,
            "{bore} m, β {beta}, Re {re}, {taps:?}: {got}, not {expected}"
        );
    }
}
