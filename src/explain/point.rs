//! The working of an operating point's headline figures, with the numbers the solve recorded.

use super::{Step, Term, Working};
use crate::error::{Error, Kind, Result, did_you_mean};
use crate::part::air::GAS_CONSTANT;
use crate::part::injector::Shuts;
use crate::steady::{InjectorState, Point};

/// A flow beside which a working need not be longer, m³/s: 0.04 mL/h.
const LITTLE: f64 = 1e-11;

/// What can be explained.
const EXPLAINABLE: [&str; 12] = [
    "lambda",
    "differential pressure",
    "static flow",
    "air flow",
    "asked flow",
    "pulse width",
    "duty",
    "engine flow",
    "return flow",
    "pump voltage",
    "inlet margin",
    "regulator floor",
];

/// The figures of an operating point that [`explain`] can work out.
#[must_use]
pub fn explainable() -> &'static [&'static str] {
    &EXPLAINABLE
}

pub(super) fn term(
    key: &'static str,
    tex: &'static str,
    text: &'static str,
    number: f64,
    unit: &'static str,
    meaning: &'static str,
) -> Term {
    Term { key, tex, text, number, unit, meaning }
}

/// Works out a figure of an operating point, line by line, with the numbers of the run.
///
/// # Errors
/// A figure that cannot be explained names those that can; an engine at rest has no demand.
pub fn explain(point: &Point, figure: &str) -> Result<Working> {
    let chain: &[fn(&Point) -> Result<Step>] = match figure {
        "differential pressure" => &[difference],
        "static flow" => &[difference, static_flow],
        "air flow" => &[air],
        "asked flow" => &[air, fuel_asked, fuel_volume],
        "pulse width" => &[air, fuel_asked, mass_each, believed_flow, pulse],
        "duty" => &[air, fuel_asked, mass_each, believed_flow, pulse, duty],
        "engine flow" => &[difference, static_flow, open_time, engine_flow],
        "lambda" => &[
            air,
            fuel_asked,
            mass_each,
            believed_flow,
            pulse,
            difference,
            static_flow,
            open_time,
            engine_flow,
            lambda,
        ],
        "return flow" => &[return_flow],
        "pump voltage" => &[super::supply::pump_voltage],
        "inlet margin" => &[super::supply::inlet_pressure, super::supply::inlet_margin],
        "regulator floor" => &[super::supply::regulator_floor],
        _ => {
            return Err(Error::new(Kind::Unknown, format!("\"{figure}\" has no worked explanation")).next(
                format!("{}explained here: {}", did_you_mean(figure, EXPLAINABLE), EXPLAINABLE.join(", ")),
            ));
        }
    };
    let steps = chain.iter().map(|step| step(point)).collect::<Result<Vec<_>>>()?;
    let at = crate::quantity::Amount::new(point.operating.speed, crate::quantity::Dim::AngularVelocity);
    let boost = crate::quantity::Amount::new(point.operating.boost, crate::quantity::Dim::Pressure).gauge();
    let article = if figure == "lambda" { "" } else { "the " };
    Ok(Working {
        title: format!("How {article}{figure} comes about: {} at {at}, manifold {boost}", point.build),
        steps,
    })
}

fn no_engine() -> Error {
    Error::new(Kind::Range, "the engine is at rest, so nothing is injected").next("ask at a speed above zero")
}

fn injectors(p: &Point) -> Result<&InjectorState> {
    p.injectors.first().ok_or_else(|| {
        Error::new(Kind::Layout, "this circuit has no injectors").next("add a leg that ends with injectors")
    })
}

fn difference(p: &Point) -> Result<Step> {
    let i = injectors(p)?;
    let rail = i.difference + p.manifold;
    Ok(Step {
        name: "Pressure difference across the injectors: both ends above vacuum",
        tex: "\\Delta p",
        text: "dp",
        formula_tex: "<rail> - <man>",
        formula: "<rail> - <man>",
        terms: vec![
            term("rail", "p_\\mathrm{rail}", "p_rail", rail / 1e5, "bar", "rail pressure, absolute"),
            term("man", "p_\\mathrm{man}", "p_man", p.manifold / 1e5, "bar", "manifold pressure, absolute"),
        ],
        number: i.difference / 1e5,
        unit: "bar",
        source: "definition",
        remark: Some(format!(
            "A gauge shows the rail at {:.2} bar and the manifold at {:+.2} bar: the ambient drops out of the difference.",
            (rail - p.ambient) / 1e5,
            (p.manifold - p.ambient) / 1e5
        )),
    })
}

fn static_flow(p: &Point) -> Result<Step> {
    let i = injectors(p)?;
    let back = i.difference < 0.0;
    Ok(Step {
        name: "Flow of one injector held open: it follows the root of the difference",
        tex: "q_s",
        text: "q_s",
        formula_tex: if back {
            "-<q> \\cdot \\sqrt{\\dfrac{-(<dp>)}{<dpr>}} \\cdot \\sqrt{\\dfrac{<rhor>}{<rho>}}"
        } else {
            "<q> \\cdot \\sqrt{\\dfrac{<dp>}{<dpr>}} \\cdot \\sqrt{\\dfrac{<rhor>}{<rho>}}"
        },
        formula: if back {
            "-<q> * sqrt(-(<dp>) / <dpr>) * sqrt(<rhor> / <rho>)"
        } else {
            "<q> * sqrt(<dp> / <dpr>) * sqrt(<rhor> / <rho>)"
        },
        terms: vec![
            term(
                "q",
                "q_\\mathrm{ref}",
                "q_ref",
                i.reference_flow * 6e7,
                "cc/min",
                "static flow at the reference",
            ),
            term(
                "dpr",
                "\\Delta p_\\mathrm{ref}",
                "dp_ref",
                i.reference_difference / 1e5,
                "bar",
                "difference of the reference",
            ),
            term("dp", "\\Delta p", "dp", i.difference / 1e5, "bar", "difference now"),
            term(
                "rhor",
                "\\rho_\\mathrm{ref}",
                "rho_ref",
                i.reference_density,
                "kg/m³",
                "density of the test fluid",
            ),
            term("rho", "\\rho", "rho", p.density, "kg/m³", "density of the fuel now"),
        ],
        number: i.static_flow * 6e7,
        unit: "cc/min",
        source: "orifice law (Bernoulli) with constant coefficient",
        remark: back.then(|| {
            "The manifold stands above the rail: through an open injector it would run backward.".to_owned()
        }),
    })
}

fn air(p: &Point) -> Result<Step> {
    let d = p.demand.ok_or_else(no_engine)?;
    Ok(Step {
        name: "Air that the engine takes (speed-density)",
        tex: "\\dot m_a",
        text: "m_a",
        formula_tex: "<ve> \\cdot <vd> \\cdot \\dfrac{<n>}{120} \\cdot \\dfrac{<p>}{<r> \\cdot <t>}",
        formula: "<ve> * <vd> * <n> / 120 * <p> / (<r> * <t>) * 1000",
        terms: vec![
            term(
                "ve",
                "\\eta_v",
                "VE",
                d.volumetric_efficiency,
                "",
                "volumetric efficiency over the manifold's state",
            ),
            term("vd", "V_d", "V_d", d.displacement, "m³", "displacement"),
            term(
                "n",
                "n",
                "n",
                d.speed * 30.0 / std::f64::consts::PI,
                "rpm",
                "engine speed; a four-stroke fills once in two turns",
            ),
            term("p", "p_\\mathrm{man}", "p_man", d.manifold, "Pa", "manifold pressure, absolute"),
            term("r", "R", "R", GAS_CONSTANT, "J/(kg·K)", "gas constant of dry air"),
            term("t", "T", "T", d.charge_temperature, "K", "charge temperature"),
        ],
        number: d.air * 1e3,
        unit: "g/s",
        source: "J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. 2.27 (from memory)",
        remark: None,
    })
}

fn fuel_asked(p: &Point) -> Result<Step> {
    let d = p.demand.ok_or_else(no_engine)?;
    Ok(Step {
        name: "Fuel that belongs to this air",
        tex: "\\dot m_f",
        text: "m_f",
        formula_tex: "\\dfrac{<air>}{<lam> \\cdot <afr>}",
        formula: "<air> / (<lam> * <afr>)",
        terms: vec![
            term("air", "\\dot m_a", "m_a", d.air * 1e3 * p.operating.demand_factor(), "g/s", "air"),
            term("lam", "\\lambda", "lambda", d.lambda, "", "target lambda"),
            term(
                "afr",
                "L_\\mathrm{st}",
                "AFR_st",
                d.stoichiometric,
                "",
                "stoichiometric air-fuel ratio of this fuel",
            ),
        ],
        number: d.fuel * 1e3,
        unit: "g/s",
        source: "definition of lambda",
        remark: None,
    })
}

fn fuel_volume(p: &Point) -> Result<Step> {
    let d = p.demand.ok_or_else(no_engine)?;
    Ok(Step {
        name: "The same as a volume",
        tex: "Q_e",
        text: "Q_e",
        formula_tex: "3600 \\cdot \\dfrac{<m>}{<rho>}",
        formula: "3600 * <m> / <rho>",
        terms: vec![
            term("m", "\\dot m_f", "m_f", d.fuel * 1e3, "g/s", "fuel"),
            term("rho", "\\rho", "rho", d.density, "kg/m³", "density of the fuel at its temperature"),
        ],
        number: d.fuel_volume * 3.6e6,
        unit: "L/h",
        source: "definition of density",
        remark: None,
    })
}

fn mass_each(p: &Point) -> Result<Step> {
    let (d, b, i) = (p.demand.ok_or_else(no_engine)?, p.belief.ok_or_else(no_engine)?, injectors(p)?);
    Ok(Step {
        name: "Fuel for one injection, as the control unit believes it",
        tex: "m_\\mathrm{inj}",
        text: "m_inj",
        formula_tex: "\\dfrac{<m> \\cdot <k>}{<count>} \\cdot \\dfrac{120}{<n>} \\cdot 1000",
        formula: "<m> * <k> / <count> * 120 / <n> * 1000",
        terms: vec![
            term("m", "\\dot m_f", "m_f", d.fuel * 1e3, "g/s", "fuel that belongs to the air"),
            term(
                "k",
                "k",
                "k",
                b.mass * i.count / (d.fuel * d.cycle),
                "",
                "the control's belief over the truth (air mass, air-fuel ratio)",
            ),
            term("count", "z", "z", i.count, "", "number of injectors"),
            term("n", "n", "n", d.speed * 30.0 / std::f64::consts::PI, "rpm", "engine speed"),
        ],
        number: b.mass * 1e6,
        unit: "mg",
        source: "one injection each two turns (four-stroke)",
        remark: None,
    })
}

fn believed_flow(p: &Point) -> Result<Step> {
    let (b, i) = (p.belief.ok_or_else(no_engine)?, injectors(p)?);
    if !b.flow.is_finite() {
        return Err(Error::new(
            Kind::Range,
            "the control unit measures the difference, so its pulse has no believed flow",
        )
        .next("explain \"engine flow\" instead"));
    }
    Ok(Step {
        name: "Mass flow of an open injector, as the control unit believes it",
        tex: "\\dot m_b",
        text: "m_b",
        formula_tex: "<q> \\cdot \\dfrac{<rhob>}{6\\times 10^{4}} \\cdot \\sqrt{\\dfrac{<dpb>}{<dpr>}} \\cdot \\sqrt{\\dfrac{<rhor>}{<rhob>}}",
        formula: "<q> * <rhob> / 60000 * sqrt(<dpb> / <dpr>) * sqrt(<rhor> / <rhob>)",
        terms: vec![
            term(
                "q",
                "q_\\mathrm{b}",
                "q_b",
                b.static_flow * 6e7,
                "cc/min",
                "static flow in the calibration",
            ),
            term(
                "dpr",
                "\\Delta p_\\mathrm{ref}",
                "dp_ref",
                b.reference_difference / 1e5,
                "bar",
                "difference that this flow belongs to",
            ),
            term(
                "dpb",
                "\\Delta p_\\mathrm{b}",
                "dp_b",
                b.difference / 1e5,
                "bar",
                "difference that the control unit takes for true",
            ),
            term(
                "rhor",
                "\\rho_\\mathrm{ref}",
                "rho_ref",
                i.reference_density,
                "kg/m³",
                "density of the test fluid",
            ),
            term(
                "rhob",
                "\\rho_\\mathrm{b}",
                "rho_b",
                b.density,
                "kg/m³",
                "density the calibration was made with",
            ),
        ],
        number: b.flow * 1e3,
        unit: "g/s",
        source: "orifice law, with the calibration's numbers",
        remark: None,
    })
}

fn pulse(p: &Point) -> Result<Step> {
    let (b, i) = (p.belief.ok_or_else(no_engine)?, injectors(p)?);
    let full = b.pulse > i.cycle;
    let shifted = b.low_pulse != 0.0 && !b.low_pulse.is_nan();
    let mut terms = vec![
        term("m", "m_\\mathrm{inj}", "m_inj", b.mass * 1e6, "mg", "fuel for one injection"),
        term("q", "\\dot m_b", "m_b", b.flow * 1e3, "g/s", "believed mass flow (1 g/s is 1 mg/ms)"),
        term("td", "t_d", "t_d", b.dead_time * 1e3, "ms", "dead time in the calibration"),
        term("cycle", "t_c", "t_c", i.cycle * 1e3, "ms", "time of two turns"),
    ];
    if shifted {
        terms.insert(
            2,
            term("low", "t_l", "t_l", b.low_pulse * 1e3, "ms", "from the calibration's low-pulse table"),
        );
    }
    Ok(Step {
        name: "Pulse that the control unit commands",
        tex: "t_p",
        text: "t_p",
        formula_tex: if shifted {
            "\\min\\left(\\dfrac{<m>}{<q>} + <low> + <td>,\\ <cycle>\\right)"
        } else {
            "\\min\\left(\\dfrac{<m>}{<q>} + <td>,\\ <cycle>\\right)"
        },
        formula: if shifted {
            "min(<m> / <q> + <low> + <td>, <cycle>)"
        } else {
            "min(<m> / <q> + <td>, <cycle>)"
        },
        terms,
        number: i.pulse * 1e3,
        unit: "ms",
        source: "how control units schedule port injection (common practice, no source)",
        remark: full
            .then(|| "The pulse fills the whole cycle: the injector never closes (static).".to_owned()),
    })
}

fn duty(p: &Point) -> Result<Step> {
    let i = injectors(p)?;
    Ok(Step {
        name: "Duty cycle",
        tex: "D",
        text: "D",
        formula_tex: "100 \\cdot \\dfrac{<tp>}{<tc>}",
        formula: "100 * <tp> / <tc>",
        terms: vec![pulse_term(i), cycle_term(i)],
        number: i.duty * 100.0,
        unit: "%",
        source: "definition",
        remark: None,
    })
}

fn pulse_term(i: &InjectorState) -> Term {
    term("tp", "t_p", "t_p", i.pulse * 1e3, "ms", "pulse")
}

fn cycle_term(i: &InjectorState) -> Term {
    term("tc", "t_c", "t_c", i.cycle * 1e3, "ms", "time of two turns")
}

fn open_time(p: &Point) -> Result<Step> {
    let i = injectors(p)?;
    let dead =
        term("td", "t_d", "t_d", i.dead_time * 1e3, "ms", "true dead time at this voltage and difference");
    let step = |name, formula_tex, formula, terms, source| Step {
        name,
        tex: "t_o",
        text: "t_o",
        formula_tex,
        formula,
        terms,
        number: i.open_time * 1e3,
        unit: "ms",
        source,
        remark: None,
    };
    match i.shuts() {
        Shuts::Never => Ok(step(
            "Time that the injector really passes fuel in a cycle: it never closes",
            "<tc>",
            "<tc>",
            vec![cycle_term(i)],
            "the pulse fills the cycle",
        )),
        Shuts::Late if i.dead_time < 0.0 && i.last_open >= i.cycle => Ok(step(
            "Time that the injector really passes fuel in a cycle: it never closes",
            "<tc>",
            "<tc>",
            vec![cycle_term(i)],
            "it stays open longer than its pulse (a dead time below zero), to the next one",
        )),
        Shuts::Late => {
            // From the last pulse that shuts to one that fills the cycle: how much longer it stays open for a longer pulse.
            let gain = (i.cycle - i.last_open) / i.dead_time.abs();
            let size = term(
                "td",
                "\\lvert t_d\\rvert",
                "|t_d|",
                i.dead_time.abs() * 1e3,
                "ms",
                "size of the true dead time at this voltage and difference",
            );
            let mut step = step(
                "Time that the injector really passes fuel in a cycle: it shuts late, just before the next pulse",
                "<tl> + (<tc> - <tl>)\\left(1 - \\dfrac{<tc> - <tp>}{<td>}\\right)",
                "<tl> + (<tc> - <tl>) * (1 - (<tc> - <tp>) / <td>)",
                vec![
                    term(
                        "tl",
                        "t_l",
                        "t_l",
                        i.last_open * 1e3,
                        "ms",
                        "open time of the longest pulse that shuts in time",
                    ),
                    cycle_term(i),
                    pulse_term(i),
                    if i.dead_time < 0.0 { size } else { dead },
                ],
                "a straight line from the last pulse that shuts to one that never does (common practice, no source)",
            );
            let left = (i.cycle - i.pulse) * 1e3; // ms
            step.remark = Some(if left < 0.1 {
                format!(
                    "The time left to shut is shorter than the dead time: a pulse that is {left:.3} ms longer keeps it open {:.3} ms longer, the whole cycle.",
                    left * gain
                )
            } else {
                format!(
                    "The time left to shut is shorter than the dead time: a pulse that is 0.1 ms longer keeps it open {:.2} ms longer.",
                    0.1 * gain
                )
            });
            Ok(step)
        }
        Shuts::InTime if i.pulse <= i.dead_time => Ok(step(
            "Time that the injector really passes fuel in a cycle: it never opens, its pulse ends within the dead time",
            "\\max\\left(<tp> - <td>,\\ 0\\right)",
            "max(<tp> - <td>, 0)",
            vec![pulse_term(i), dead],
            "SAE J1832 (time offset)",
        )),
        Shuts::InTime => Ok(match i.low_pulse {
            Some(added) => step(
                "Time that the injector really passes fuel in a cycle, with what the bench adds to short pulses",
                "<tp> - <td> + <ta>",
                "<tp> - <td> + <ta>",
                vec![
                    pulse_term(i),
                    dead,
                    term("ta", "t_a", "t_a", added * 1e3, "ms", "added by the low-pulse table"),
                ],
                "the bench's low-pulse table (working range as in SAE J1832)",
            ),
            None if (i.pulse - i.dead_time - i.open_time).abs() > 1e-9 => step(
                "Time that the injector really passes fuel in a cycle: shorter than it opens fully",
                "<ts>\\left(\\dfrac{<tp>-<td>}{<ts>}\\right)^2\\left(2-\\dfrac{<tp>-<td>}{<ts>}\\right)",
                "<ts> * ((<tp> - <td>) / <ts>)^2 * (2 - (<tp> - <td>) / <ts>)",
                vec![
                    pulse_term(i),
                    dead,
                    term("ts", "t_s", "t_s", i.short_pulse * 1e3, "ms", "end of the low-pulse region"),
                ],
                "a curve of our own through the low-pulse region; a bench measures the real one (SAE J1832)",
            ),
            None => step(
                "Time that the injector really passes fuel in a cycle",
                "<tp> - <td>",
                "<tp> - <td>",
                vec![pulse_term(i), dead],
                "SAE J1832 (time offset)",
            ),
        }),
    }
}

fn engine_flow(p: &Point) -> Result<Step> {
    let i = injectors(p)?;
    if !i.cycle.is_finite() {
        return Err(no_engine());
    }
    let mut terms = vec![
        term("count", "z", "z", i.count, "", "number of injectors"),
        term("q", "q_s", "q_s", i.static_flow * 6e7, "cc/min", "flow of one held open"),
        term("to", "t_o", "t_o", i.open_time * 1e3, "ms", "open time in a cycle"),
        cycle_term(i),
    ];
    let leaks = i.leak > LITTLE;
    if leaks {
        terms.push(term(
            "leak",
            "Q_l",
            "Q_l",
            i.leak * 3.6e6,
            "L/h",
            "what the seats leak, all together, at this difference",
        ));
    }
    Ok(Step {
        name: if leaks {
            "Fuel that the injectors really pass, open and through leaking seats"
        } else {
            "Fuel that the injectors really pass"
        },
        tex: "Q_\\mathrm{inj}",
        text: "Q_inj",
        formula_tex: if leaks {
            "<count> \\cdot <q> \\cdot \\dfrac{<to>}{<tc>} \\cdot \\dfrac{60}{1000} + <leak>"
        } else {
            "<count> \\cdot <q> \\cdot \\dfrac{<to>}{<tc>} \\cdot \\dfrac{60}{1000}"
        },
        formula: if leaks {
            "<count> * <q> * <to> / <tc> * 60 / 1000 + <leak>"
        } else {
            "<count> * <q> * <to> / <tc> * 60 / 1000"
        },
        terms,
        number: i.flow * 3.6e6,
        unit: "L/h",
        source: "mass balance",
        remark: None,
    })
}

fn lambda(p: &Point) -> Result<Step> {
    let d = p.demand.ok_or_else(no_engine)?;
    let l = p.lambda().ok_or_else(no_engine)?;
    let off = 100.0 * (l / d.lambda - 1.0);
    let mut terms = vec![
        term("air", "\\dot m_a", "m_a", d.air * 1e3, "g/s", "air"),
        term(
            "q",
            "Q_\\mathrm{inj}",
            "Q_inj",
            p.engine_flow().value * 3.6e6,
            "L/h",
            "fuel that the injectors pass",
        ),
        term("rho", "\\rho", "rho", p.density, "kg/m³", "density of the fuel"),
        term("afr", "L_\\mathrm{st}", "AFR_st", d.stoichiometric, "", "stoichiometric air-fuel ratio"),
    ];
    let torn = p.past_injectors;
    let tears = torn.abs() > LITTLE;
    if tears {
        let fuel = term(
            "torn",
            "Q_t",
            "Q_t",
            torn * 3.6e6,
            "L/h",
            "fuel that reaches the engine past the injectors: a torn diaphragm",
        );
        terms.insert(2, fuel);
    }
    Ok(Step {
        name: "Lambda that results",
        tex: "\\lambda",
        text: "lambda",
        formula_tex: if tears {
            "\\dfrac{3600 \\cdot <air>}{(<q> + <torn>) \\cdot <rho> \\cdot <afr>}"
        } else {
            "\\dfrac{3600 \\cdot <air>}{<q> \\cdot <rho> \\cdot <afr>}"
        },
        formula: if tears {
            "3600 * <air> / ((<q> + <torn>) * <rho> * <afr>)"
        } else {
            "3600 * <air> / (<q> * <rho> * <afr>)"
        },
        terms,
        number: l,
        unit: "",
        source: "definition of lambda",
        remark: Some(match off {
            _ if l <= 0.0 => {
                "No fuel reaches the engine: what little moves runs back into the rail.".to_owned()
            }
            o if o > 3.0 => format!(
                "That is {o:.1} % above the target of {:.2}: lean, past the 3 % at which to warn (common practice).",
                d.lambda
            ),
            o if o < -3.0 => format!("That is {:.1} % below the target of {:.2}: rich.", -o, d.lambda),
            o => format!("That is within 3 % of the target of {:.2} ({o:+.1} %).", d.lambda),
        }),
    })
}

fn return_flow(p: &Point) -> Result<Step> {
    let mut terms = vec![
        term("pump", "Q_p", "Q_p", p.pump_flow().value * 3.6e6, "L/h", "all pumps"),
        term("engine", "Q_\\mathrm{inj}", "Q_inj", p.engine_flow().value * 3.6e6, "L/h", "injectors"),
    ];
    let torn = p.torn;
    let tears = torn.abs() > LITTLE;
    if tears {
        terms.push(term(
            "torn",
            "Q_t",
            "Q_t",
            torn * 3.6e6,
            "L/h",
            "through a torn diaphragm into the reference hose",
        ));
    }
    Ok(Step {
        name: "What the pump brings and the engine does not take goes back",
        tex: "Q_\\mathrm{ret}",
        text: "Q_ret",
        formula_tex: if tears { "<pump> - <engine> - <torn>" } else { "<pump> - <engine>" },
        formula: if tears { "<pump> - <engine> - <torn>" } else { "<pump> - <engine>" },
        terms,
        number: p.return_flow().value * 3.6e6,
        unit: "L/h",
        source: "mass balance at the rail",
        remark: None,
    })
}
