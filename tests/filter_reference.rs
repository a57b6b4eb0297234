//! Filters against the rows of `04_filter`.

use crate::support::rows::{Answer, hold, rows};
use railrise::part::filter::*;
use railrise::quantity::*;

#[test]
fn filter_rows_hold() {
    let held = hold("04_filter", rows("04_filter"), &[], |row| match row.kind() {
        "ergun" => {
            let gradient = ergun(
                m(row.input("dp")),
                row.input("eps"),
                m_per_s(row.input("vs")),
                kg_per_m3(row.input("rho")),
                pa_s(row.input("mu")),
                m(1.0),
            );
            Answer::one(gradient.value)
        }
        "kc" => Answer::one(carman_kozeny_permeability(row.input("eps"), m(row.input("d"))).value),
        "forchheimer" => {
            let (a, b) = (row.input("R1"), row.input("R2"));
            let (mu, rho, q) = (row.input("mu"), row.input("rho"), row.input("Q"));
            let (linear, square) = darcy_forchheimer(a, b, pa_s(mu), kg_per_m3(rho), m3_per_s(q));
            let clean = Filter { linear: a, square: b, dirt: 0.0 };
            Answer::many([linear.value, square.value, clean.drop(q, rho, mu).0])
        }
        "beta" => {
            // The same ratio from counts: 1000 before, 1000/β after.
            let beta = filtration_ratio(1000.0, 1000.0 / row.input("beta"));
            Answer::one(filtration_efficiency(beta))
        }
        "iso19438" => Answer::many([ISO_19438_FLOWS.0, ISO_19438_FLOWS.1]),
        "series2" => Answer::one(filtration_ratio_in_series(&[row.input("beta1"), row.input("beta2")])),
        other => panic!("{}: no law for `{other}`", row.id),
    });
    assert_eq!(held, 15, "rows held");
}
