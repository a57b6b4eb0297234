//! Wiring and motor against the rows of `06_electric`.

use crate::support::rows::{Answer, Row, hold, rows};
use railrise::part::motor::*;
use railrise::part::wiring::*;
use railrise::quantity::*;

#[test]
fn electric_rows_hold() {
    let held = hold("06_electric", rows("06_electric"), &[], |row| match row.kind() {
        "awg" => {
            let gauge = row.input("awg") as i32;
            match row.part(3) {
                "d" => Answer::one(awg_diameter(gauge).value),
                "A" => Answer::one(awg_area(gauge).value),
                _ => Answer::one(copper_wire_resistance(m(1.0), awg_area(gauge), degc(20.0)).value),
            }
        }
        "rho20" => Answer::one(copper_resistivity_20().value),
        "alpha20" => Answer::one(COPPER_TEMPERATURE_COEFFICIENT),
        "Rratio" => Answer::one(copper_resistance_ratio(degc(row.input("t_C"))).value),
        "iec60228" => {
            let per_metre = |class| {
                iec_60228_resistance(row.input("area_mm2"), class, m(1.0))
                    .unwrap_or_else(|e| panic!("{}: {e}", row.id))
                    .value
            };
            Answer::many([per_metre(ConductorClass::SolidOrStranded), per_metre(ConductorClass::Flexible)])
        }
        "drop" if row.id.ends_with("60C") => {
            let cold = iec_60228_resistance(2.5, ConductorClass::Flexible, m(row.input("L")))
                .unwrap_or_else(|e| panic!("{}: {e}", row.id));
            let warm = cold * copper_resistance_ratio(degc(row.input("t")));
            Answer::one(voltage_drop(warm, amps(row.input("I"))).value)
        }
        "drop" => {
            let half = m(row.input("L") / 2.0);
            let wire = copper_wire_resistance(half, awg_area(12), degc(20.0));
            let both =
                Loop::new().with("feed wire", Side::Feed, wire).with("return wire", Side::Ground, wire);
            Answer::one((both.resistance() * amps(row.input("I"))).value)
        }
        "ex" => textbook_motor(row),
        "pm" => match row.part(2) {
            "invented" => {
                let p = bare_motor(row).at(volts(row.input("V")), nm(row.input("T")));
                Answer::many([p.current.value, p.speed.value, p.electrical.value, p.efficiency])
            }
            "maxP" => Answer::one(max_mechanical_power(volts(row.input("V")), ohms(row.input("Ra"))).value),
            _ => Answer::one(bare_motor(row).time_constant(kg_m2(row.input("J"))).value),
        },
        "fuse" => {
            let motor =
                Motor { resistance: ohms(row.input("Ra")), constant: vs_per_rad(0.018), friction: nm(0.0) };
            let torque = motor.constant * amps(row.input("I"));
            let speed = |v| motor.at(volts(row.input(v)), torque).speed;
            Answer::one((speed("V2") / speed("V1")).value)
        }
        other => panic!("{}: no law for `{other}`", row.id),
    });
    assert_eq!(held, 55, "rows held");
}

fn bare_motor(row: &Row) -> Motor {
    Motor { resistance: ohms(row.input("Ra")), constant: vs_per_rad(row.input("Ke")), friction: nm(0.0) }
}

fn textbook_motor(row: &Row) -> Answer {
    let (r, v0, i0) = (ohms(row.input("Ra")), volts(row.input("V0")), amps(row.input("I0")));
    let motor = Motor::from_no_load(r, v0, i0, rpm(row.input("n0")));
    let (v, n) = (volts(row.input("V")), rpm(row.input("n")));
    let loss = electromagnetic_power(v0, i0, r);
    let current = motor.current(v, n);
    Answer::one(match row.part(3) {
        "K" => motor.constant.value,
        "Prot" => loss.value,
        "Ea" => motor.back_emf(n).value,
        "Ia" => current.value,
        // The book keeps the rotational loss in watts as it was at no load.
        "Pshaft" => (electromagnetic_power(v, current, r) - loss).value,
        other => panic!("{}: no part `{other}`", row.id),
    })
}
