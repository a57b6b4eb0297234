//! The laws of a build's parts, made ready from their values.

use super::Build;
use crate::error::{Error, Kind, Result};
use crate::fuel::{Blend, Component};
use crate::part::check_valve::CheckValve;
use crate::part::engine::VolumetricEfficiency;
use crate::part::filter::Filter;
use crate::part::injector::{CoilNeedle, DeadTime, Injector, LowPulse, ShortPulse};
use crate::part::line::Line;
use crate::part::pump::Pump;
use crate::part::regulator::Regulator;
use crate::part::wiring::{
    ConductorClass, awg_area, copper_resistance_ratio, copper_wire_resistance, iec_60228_resistance,
};
use crate::quantity::{AbsolutePressure, Amount, Dim, abs, kelvin, kg_per_m3, m, m2, pa, rad_per_s};
use crate::spec::{Rows, Values};
use std::f64::consts::PI;

/// Viscosity (Pa·s) and density (kg/m³) that the loss figures of filters and strainers refer to: petrol-like
/// at 20 degC (common practice, no source).
pub(crate) const LOSS_FLUID: (f64, f64) = (0.55e-3, 740.0);

/// The wire of a pump, both sides, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wire {
    /// Feed side: wire and contacts, Ω.
    pub feed: f64,
    /// Return side: wire and contacts, Ω.
    pub back: f64,
    /// Contacts of both sides, Ω.
    pub contacts: f64,
    /// Fuse, A.
    pub fuse: f64,
}

impl Wire {
    /// From the values of a pump: copper of each side by [`copper_wire_resistance`] over its area or
    /// [`awg_area`], or by its class ([`iec_60228_resistance`] at 20 °C, then as copper), contacts added.
    ///
    /// # Errors
    /// An area and a gauge together, a class for a gauge, or for a size that its standard does not hold.
    pub fn from_values(v: &Values) -> Result<Self> {
        let (gauge, area) = (v.word("wire_gauge"), v.parameter("wire_area"));
        let number = gauge.strip_suffix(" AWG").and_then(|n| n.parse().ok());
        let refused =
            |what: String, next: &str, key: &str| Err(Error::new(Kind::Value, what).next(next).at_key(key));
        let size = match (number, area) {
            (Some(_), Some(p)) => {
                let area = Amount::new(p.si, Dim::Area);
                return refused(
                    format!("a wire of {gauge} and an area of {area} are both given"),
                    "keep one: take out wire_area or wire_gauge",
                    "wire_gauge",
                );
            }
            (Some(n), None) => awg_area(n),
            (None, Some(p)) => m2(p.si),
            (None, None) => {
                return refused(
                    "the wire has neither area nor gauge".to_owned(),
                    "write wire_area = \"2.5 mm²\" or wire_gauge = \"14 AWG\"",
                    "wire_area",
                );
            }
        };
        let class = match v.word("wire_class") {
            "solid or stranded" => Some(ConductorClass::SolidOrStranded),
            "flexible" => Some(ConductorClass::Flexible),
            _ => None,
        };
        if let (Some(_), Some(_)) = (class, number) {
            return refused(
                format!("there is no class for {gauge}: the standard of the classes knows sizes in mm² only"),
                "give wire_area, such as \"2.5 mm²\", or take out wire_class",
                "wire_class",
            );
        }
        let warm = kelvin(v.si("wire_temperature"));
        let wire = |length: f64| -> Result<f64> {
            match class {
                None => Ok(copper_wire_resistance(m(length), size, warm).value),
                Some(class) => {
                    // A size is a name: 2.5, not 2.4999999.
                    let name = (size.value * 1e12).round() / 1e6;
                    let cold = iec_60228_resistance(name, class, m(length))
                        .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("wire_area"))?;
                    Ok((cold * copper_resistance_ratio(warm)).value)
                }
            }
        };
        Ok(Self {
            feed: wire(v.si("feed_length"))? + v.si("feed_contacts"),
            back: wire(v.si("return_length"))? + v.si("return_contacts"),
            contacts: v.si("feed_contacts") + v.si("return_contacts"),
            fuse: v.si("fuse"),
        })
    }

    /// The same for the pump of this name, which an error then names.
    pub(crate) fn of(name: &str, v: &Values) -> Result<Self> {
        Self::from_values(v).map_err(|e| {
            let key = e.place().key.as_ref().map_or_else(|| name.to_owned(), |k| format!("{name}.{k}"));
            e.at_key(key)
        })
    }

    /// Both sides, Ω.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.feed + self.back
    }
}

/// A filter or strainer from its loss at a flow; a strainer may have part of its area blocked.
#[must_use]
pub fn filter_law(v: &Values) -> Filter {
    let (loss, q, share) = (v.si("loss"), v.si("at_flow"), v.si("turbulent_part"));
    let (mu, rho) = LOSS_FLUID;
    let filter = Filter {
        linear: (1.0 - share) * loss / (mu * q),
        square: share * loss / (rho * q * q),
        dirt: v.si("dirt"),
    };
    filter.with_blocked_area(v.opt("blocked").unwrap_or(0.0))
}

/// A hose, pipe or drilling.
#[must_use]
pub fn line_law(v: &Values) -> Line {
    Line {
        length: v.si("length"),
        bore: v.si("bore"),
        roughness: v.si("roughness"),
        k_sum: v.si("fittings"),
        rise: v.si("rise"),
    }
}

/// A check valve; its leak when shut is [`Values::si`] of `"leak"`.
#[must_use]
pub fn check_valve_law(v: &Values) -> CheckValve {
    CheckValve { cracking: v.si("cracking"), cd_a: effective_area(v) }
}

/// Discharge coefficient times area of anything with `bore` and `cd`, m².
#[must_use]
pub fn effective_area(v: &Values) -> f64 {
    let d = v.si("bore");
    v.si("cd") * PI * d * d / 4.0
}

/// A regulator; `rho` is the fuel's density while base was set, kg/m³.
///
/// # Errors
/// A seat that takes more than half of the diaphragm: the fuel would not open it.
pub fn regulator_law(v: &Values, rho: f64) -> Result<Regulator> {
    let r = Regulator::from_values(v, rho);
    if r.seat_area() > 0.5 * r.area {
        return Err(Error::new(
            Kind::Value,
            format!(
                "a seat of {} under a diaphragm of {} leaves the fuel no area to act on",
                Amount::new(v.si("seat"), Dim::Length),
                Amount::new(v.si("diaphragm"), Dim::Length)
            ),
        )
        .next("give the effective diameter of the diaphragm, well above that of the seat"));
    }
    Ok(r)
}

/// Injectors of a set, as they truly are.
///
/// # Errors
/// Dead times that do not fill their grid of voltages and differences.
pub fn injector_law(v: &Values) -> Result<Injector> {
    Ok(Injector {
        static_flow: v.si("static_flow") * v.si("flow_factor"),
        reference_difference: v.si("difference"),
        reference_density: v.si("test_density"),
        dead_time: dead_time(v).map_err(|e| e.at_key("dead_time_rows"))?,
    })
}

/// Coil and needle of a set of injectors, where the build says that they open so.
#[must_use]
pub fn coil_law(v: &Values) -> Option<CoilNeedle> {
    let d = CoilNeedle::default();
    let or = |key: &str, otherwise: f64| v.opt(key).unwrap_or(otherwise);
    (v.word("opening") == "coil and needle").then(|| CoilNeedle {
        resistance: or("coil_resistance", d.resistance),
        inductance: or("coil_inductance", d.inductance),
        clamp: or("clamp_voltage", d.clamp),
        pull: or("pull", d.pull),
        preload: or("needle_preload", d.preload),
        mass: or("needle_mass", d.mass),
        lift: or("needle_lift", d.lift),
        seat_area: v.opt("seat_bore").map_or(d.seat_area, |bore| PI / 4.0 * bore * bore),
    })
}

/// What an injector's short pulses deliver: a bench's table where there is one.
///
/// # Errors
/// A table that cannot be, see [`LowPulse::new`].
pub fn short_pulse_law(v: &Values) -> Result<ShortPulse> {
    Ok(low_pulse_law(v)?.map_or_else(|| ShortPulse::Curve(v.si("short_pulse")), ShortPulse::Measured))
}

/// The table under `low_pulse_rows`, if there is one.
///
/// # Errors
/// A table that cannot be, see [`LowPulse::new`].
pub fn low_pulse_law(v: &Values) -> Result<Option<LowPulse>> {
    v.rows("low_pulse_rows")
        .map(|rows| {
            LowPulse::new(rows.data.iter().map(|r| (r[0], r[1])).collect())
                .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("low_pulse_rows"))
        })
        .transpose()
}

fn dead_time(v: &Values) -> Result<DeadTime> {
    let extra = v.parameter("dead_time").expect("a key with a default");
    let Some(rows) = v.rows("dead_time_rows") else { return Ok(DeadTime::constant(extra.si)) };
    let (volts, differences, grid) = on_grid(rows, "dead times", ["voltage", "difference", "time"])?;
    // The default stands for a missing table, so beside a table it adds nothing.
    let said = !extra.source.as_deref().is_some_and(|s| s.starts_with("default"));
    Ok(DeadTime::table(volts, differences, &grid)
        .map_err(|e| Error::new(Kind::Value, e.to_string()))?
        .shifted(if said { extra.si } else { 0.0 }))
}

/// The engine's map of volumetric efficiency, if its section has one.
///
/// # Errors
/// Rows that do not fill their grid of manifold pressures and speeds.
pub fn ve_map_law(v: &Values) -> Result<Option<VolumetricEfficiency>> {
    let Some(rows) = v.rows("ve_map_rows") else { return Ok(None) };
    let made = || {
        let (manifold, speeds, grid) = on_grid(rows, "efficiencies", ["manifold", "rpm", "ve"])?;
        let manifold: Vec<_> = manifold.iter().map(|p| AbsolutePressure::from_pascals(*p)).collect();
        let speeds: Vec<_> = speeds.iter().map(|w| rad_per_s(*w)).collect();
        VolumetricEfficiency::new(&speeds, &manifold, &grid)
            .map_err(|e| Error::new(Kind::Value, e.to_string()))
    };
    made().map(Some).map_err(|e: Error| e.at_key("engine.ve_map_rows"))
}

/// First axis, second axis, and a row of values for each of the first.
type Grid = (Vec<f64>, Vec<f64>, Vec<Vec<f64>>);

/// A table's rows laid out on the grid of its first two columns: both axes rising, one row of values for each of the first.
fn on_grid(rows: &Rows, what: &str, columns: [&str; 3]) -> Result<Grid> {
    let (mut first, mut second) = (rows.column(columns[0]), rows.column(columns[1]));
    for axis in [&mut first, &mut second] {
        axis.sort_by(f64::total_cmp);
        axis.dedup();
    }
    let mut grid = vec![vec![f64::NAN; second.len()]; first.len()];
    for r in &rows.data {
        let at = |axis: &[f64], x: f64| axis.iter().position(|y| *y == x).expect("from the same rows");
        grid[at(&first, r[0])][at(&second, r[1])] = r[2];
    }
    if grid.iter().flatten().any(|t| t.is_nan()) || rows.data.len() != first.len() * second.len() {
        return Err(Error::new(
            Kind::Value,
            format!(
                "{} {what} do not fill the grid of {} by {} values of {} and {} once",
                rows.data.len(),
                first.len(),
                second.len(),
                columns[0],
                columns[1]
            ),
        )
        .next(format!("give one row for every pair of {} and {}", columns[0], columns[1])));
    }
    Ok((first, second, grid))
}

impl Build {
    /// The fuel in the tank.
    ///
    /// # Errors
    /// A blend that the fuel laws refuse.
    pub fn fuel(&self) -> Result<Blend> {
        let f = self.section("fuel");
        let petrol = Component::Petrol {
            density15: kg_per_m3(f.si("petrol_density")),
            dvpe: abs(pa(f.si("vapour_pressure"))),
        };
        let ethanol = f.si("ethanol");
        Blend::from_volume(&[(petrol, 1.0 - ethanol), (Component::Ethanol, ethanol)])
            .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("fuel"))
    }

    /// A pump with its own factor, wear, relief and margin.
    ///
    /// # Errors
    /// When there is no such pump, or it has no rating rows.
    pub fn pump(&self, name: &str) -> Result<Pump> {
        let (law, part) = self.pump_law(name).zip(self.part(name)).ok_or_else(|| {
            Error::new(Kind::Value, "this pump has no rating rows").at_key(format!("{name}.rows"))
        })?;
        Ok(law.pump.with_values(&part.values, law.rows()[0]))
    }

    /// The calibration's base pressure: the stated one, else the first regulator's, else the target of a
    /// speed-controlled pump.
    #[must_use]
    pub fn believed_base(&self) -> Option<f64> {
        let c = self.section("control");
        c.opt("base")
            .or_else(|| self.parts_of("regulator").next().map(|(_, r)| r.values.si("base")))
            .or_else(|| c.opt("rail_target"))
    }
}
