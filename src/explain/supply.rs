//! The working of what happens before the rail: wire, inlet, regulator against its stop.

use super::point::term;
use super::{Step, Term};
use crate::error::{Error, Kind, Result};
use crate::part::regulator::Mode;
use crate::steady::{Point, PumpState};

fn running_pump(p: &Point) -> Result<&PumpState> {
    p.pumps.iter().find(|x| x.on).ok_or_else(|| {
        Error::new(Kind::Layout, "no pump runs here").next("ask at a point where a pump is switched on")
    })
}

/// Voltage that is left at the pump after both wires.
pub(super) fn pump_voltage(p: &Point) -> Result<Step> {
    let x = running_pump(p)?;
    let i = x.running.current;
    let lost = x.feed_drop + x.return_drop;
    let held = x.drive_duty < 1.0;
    let mut terms = vec![
        term("u", "U_s", "U_s", p.supply, "V", "supply"),
        term("i", "I", "I", i, "A", "current of the pump"),
        term("rf", "R_f", "R_f", 1e3 * x.feed_drop / i, "mΩ", "feed side: wire, relay, fuse, connectors"),
        term("rb", "R_r", "R_r", 1e3 * x.return_drop / i, "mΩ", "return side: wire, earth point"),
    ];
    if held {
        let duty = term(
            "d",
            "D",
            "D",
            x.drive_duty,
            "",
            "part of the time that the speed control joins it to the supply",
        );
        terms.insert(1, duty);
    }
    Ok(Step {
        name: if held {
            "Mean voltage at the pump: the supply's share in the speed control, less what both wires take"
        } else {
            "Voltage at the pump: the supply less what both wires take"
        },
        tex: "U_p",
        text: "U_p",
        formula_tex: if held {
            "<u> \\cdot <d> - <i>\\,\\dfrac{<rf> + <rb>}{1000}"
        } else {
            "<u> - <i>\\,\\dfrac{<rf> + <rb>}{1000}"
        },
        formula: if held {
            "<u> * <d> - <i> * (<rf> + <rb>) / 1000"
        } else {
            "<u> - <i> * (<rf> + <rb>) / 1000"
        },
        terms,
        number: x.running.volts,
        unit: "V",
        source: "Ohm's law",
        remark: Some(format!(
            "{lost:.2} V is lost, {} the 0.5 V that is accepted in total (common practice, no source).",
            if lost > 0.5 { "more than" } else { "not more than" }
        )),
    })
}

/// Pressure at the pump's inlet.
pub(super) fn inlet_pressure(p: &Point) -> Result<Step> {
    let x = running_pump(p)?;
    let leg = p.legs.iter().find(|l| l.parts.iter().any(|q| q.name == x.name));
    let (leg, at) = leg
        .and_then(|l| l.parts.iter().position(|q| q.name == x.name).map(|i| (l, i)))
        .ok_or_else(|| Error::new(Kind::Layout, "the pump stands in no leg"))?;
    let first = leg.parts[0].inlet;
    let terms: Vec<Term> = vec![
        term(
            "tank",
            "p_\\mathrm{tank}",
            "p_tank",
            first / 1e3,
            "kPa",
            "over the fuel it draws from, absolute",
        ),
        term(
            "lost",
            "\\Delta p_s",
            "dp_s",
            (first - leg.parts[at].inlet) / 1e3,
            "kPa",
            "lost up to the inlet, less the height of fuel above it",
        ),
    ];
    Ok(Step {
        name: "Pressure at the pump's inlet",
        tex: "p_\\mathrm{in}",
        text: "p_in",
        formula_tex: "<tank> - <lost>",
        formula: "<tank> - (<lost>)",
        terms,
        number: leg.parts[at].inlet / 1e3,
        unit: "kPa",
        source: "hydrostatics",
        remark: None,
    })
}

/// Pressure above boiling.
pub(super) fn inlet_margin(p: &Point) -> Result<Step> {
    let x = running_pump(p)?;
    Ok(Step {
        name: "What is left before the fuel boils at the inlet",
        tex: "m",
        text: "m",
        formula_tex: "<pin> - <pv>",
        formula: "<pin> - <pv>",
        terms: vec![
            term(
                "pin",
                "p_\\mathrm{in}",
                "p_in",
                (x.inlet_margin + p.vapour_pressure) / 1e3,
                "kPa",
                "pressure at the inlet, absolute",
            ),
            term(
                "pv",
                "p_v",
                "p_v",
                p.vapour_pressure / 1e3,
                "kPa",
                "vapour pressure of this fuel at its temperature",
            ),
        ],
        number: x.inlet_margin / 1e3,
        unit: "kPa",
        source: "definition",
        remark: Some(if x.running.derating < 1.0 {
            format!(
                "The pump needs {:.0} kPa: it moves only {:.0} % of its flow, with vapour.",
                x.required_margin / 1e3,
                100.0 * x.running.derating
            )
        } else {
            format!("The pump needs {:.0} kPa.", x.required_margin / 1e3)
        }),
    })
}

/// Pressure below which the rail cannot go while this much flows back.
pub(super) fn regulator_floor(p: &Point) -> Result<Step> {
    let r = p.regulators.first().ok_or_else(|| {
        Error::new(Kind::Layout, "this circuit has no regulator").next("ask a car with a by-pass regulator")
    })?;
    // To the pascal: with nothing going back only the solver's last digit would be left.
    let back = (r.back - p.ambient).round() / 1e5;
    Ok(Step {
        name: "Floor: regulator against its stop, all of this flow through it",
        tex: "p_f",
        text: "p_f",
        formula_tex: "<back> + \\frac{<rho>}{2\\times 10^{5}}\\left(\\frac{<q>}{3.6\\cdot <cda>}\\right)^2",
        formula: "<back> + <rho> / 200000 * (<q> / (3.6 * <cda>))^2",
        terms: vec![
            term("back", "p_\\mathrm{ret}", "p_ret", back, "bar", "behind the seat: loss of the return hose"),
            term("rho", "\\rho", "rho", p.density, "kg/m³", "density of the fuel"),
            term("q", "Q_\\mathrm{ret}", "Q_ret", r.flow * 3.6e6, "L/h", "flow that goes back"),
            term(
                "cda",
                "C_d A",
                "CdA",
                r.full_area * 1e6,
                "mm²",
                "opening at the stop times its coefficient",
            ),
        ],
        number: back + 0.5 * p.density * (r.flow / r.full_area).powi(2) / 1e5,
        unit: "bar",
        source: "orifice law (Bernoulli)",
        remark: Some(match r.mode {
            Mode::FullLift => {
                "The regulator lies against its stop: the rail stands on the floor, whatever the screw says."
                    .to_owned()
            }
            Mode::Control => "The regulator is in control: the rail stands above the floor.".to_owned(),
            Mode::HeldOpen => {
                "Something holds the regulator open: it passes fuel at any pressure.".to_owned()
            }
            Mode::Closed => "The regulator is shut: nothing goes back.".to_owned(),
        }),
    })
}
