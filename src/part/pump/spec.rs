//! What a build says of a pump.

use super::fit::{Identified, RatingRow, identify};
use super::law::{Curve, Kind, Pump};
use crate::error::Result;
use crate::quantity::Dim;
use crate::spec::{Column, Key, Values};

/// The keys of a pump, with its wire.
pub const KEYS: &[Key] = &[
    Key::word(
        "principle",
        &["displacement", "regenerative"],
        "how the pump moves fuel: a volume a turn (roller, gerotor, screw), or an impeller",
    ),
    Key::rows(
        "rows",
        &[
            Column::new("pressure", Dim::Pressure, 0.0, 20e5),
            Column::new("voltage", Dim::Voltage, 3.0, 60.0),
            Column::new("flow", Dim::VolumeRate, 0.0, 5e-3),
            Column::new("current", Dim::Current, 0.1, 100.0).optional(),
        ],
        "[{ pressure = \"3 bar\", voltage = \"13.5 V\", flow = \"140 L/h\", current = \"8 A\" }]",
        "rating rows: flow against a pressure at a voltage at the pump, and current when known",
    ),
    Key::scalar(
        "flow_factor",
        Dim::Ratio,
        0.2,
        2.0,
        "100 %",
        "this pump against its rating (part-to-part spread)",
    )
    .default("100 %", "as rated"),
    Key::scalar("wear", Dim::Ratio, 0.0, 0.95, "0 %", "flow lost by wear at the first rating row")
        .default("0 %", "new"),
    Key::scalar(
        "rating_viscosity",
        Dim::DynamicViscosity,
        1e-4,
        1e-1,
        "0.55 mPa·s",
        "viscosity of the fluid of the rating",
    )
    .default("0.55 mPa·s", "petrol-like test fluid near 20 degC (common practice, no source)"),
    Key::scalar(
        "rated_speed",
        Dim::AngularVelocity,
        10.0,
        3000.0,
        "6500 rpm",
        "speed at the first row; it sets the motor constant only",
    )
    .default("6500 rpm", "common practice, no source"),
    Key::scalar("relief", Dim::Pressure, 1e5, 20e5, "7.5 bar", "rise at which the internal relief opens")
        .default("7.5 bar", "common practice, no source"),
    Key::scalar(
        "relief_slope",
        Dim::PressurePerFlow,
        1e7,
        1e12,
        "36 kPa per 100 L/h",
        "rise of pressure with relieved flow",
    )
    .default("36 kPa per 100 L/h", "common practice, no source"),
    Key::scalar(
        "required_margin",
        Dim::Pressure,
        0.0,
        1e5,
        "10 kPa",
        "inlet pressure above vapour pressure that the pump needs",
    )
    .default("10 kPa", "10..20 kPa, common practice, no source"),
    Key::scalar("rotor_inertia", Dim::Inertia, 1e-8, 1e-2, "40 g·cm²", "inertia of armature and element")
        .default("40 g·cm²", "common practice, no source"),
    Key::scalar("feed_length", Dim::Length, 0.0, 50.0, "4 m", "wire from the supply to the pump")
        .default("4 m", "common practice, no source"),
    Key::scalar("return_length", Dim::Length, 0.0, 50.0, "1.5 m", "wire from the pump to earth")
        .default("1.5 m", "common practice, no source"),
    Key::scalar(
        "wire_area",
        Dim::Area,
        1e-7,
        1e-4,
        "2.5 mm²",
        "copper section of both wires; a wire_gauge takes its place",
    )
    .default("2.5 mm²", "common practice, no source")
    .optional(),
    Key::word("wire_gauge", GAUGES, "American wire gauge of both wires, in the place of wire_area")
        .default("none", "ASTM B258"),
    Key::word(
        "wire_class",
        &["copper", "solid or stranded", "flexible"],
        "what the wire resists at 20 degC: copper of this section, or the most that its standard allows a conductor of class 1 and 2 (solid or stranded) or class 5 (flexible), for the standard's sizes in mm² only",
    )
    .default("copper", "IEC 60028 for copper; IEC 60228:2004, tables 1 to 3, for the classes"),
    Key::scalar("wire_temperature", Dim::Temperature, 233.0, 423.0, "50 degC", "temperature of the copper")
        .default("50 degC", "common practice, no source"),
    Key::scalar(
        "feed_contacts",
        Dim::Resistance,
        0.0,
        5.0,
        "20 mΩ",
        "relay, fuse, connectors on the feed side",
    )
    .default("20 mΩ", "common practice, no source"),
    Key::scalar(
        "return_contacts",
        Dim::Resistance,
        0.0,
        5.0,
        "8 mΩ",
        "connectors and earth point on the return side",
    )
    .default("8 mΩ", "common practice, no source"),
    Key::scalar("fuse", Dim::Current, 1.0, 100.0, "20 A", "fuse of this pump's circuit")
        .default("20 A", "common practice, no source"),
    Key::scalar(
        "on_above_boost",
        Dim::Pressure,
        -1e5,
        5e5,
        "0.5 bar",
        "boost above which a staged pump runs; left out: always",
    )
    .gauge()
    .optional(),
    Key::word(
        "speed_control",
        &["none", "rail"],
        "whether the pump's voltage is held back to keep the rail at the control's target",
    ),
];

/// Gauges that a build may name; the first is none.
const GAUGES: &[&str] = &[
    "none", "24 AWG", "22 AWG", "20 AWG", "18 AWG", "16 AWG", "14 AWG", "12 AWG", "10 AWG", "8 AWG", "6 AWG",
    "4 AWG", "2 AWG",
];

/// The law from a build's rating rows; costly, so a build does it once.
///
/// # Errors
/// See [`identify`].
pub fn identified(v: &Values) -> Result<Identified> {
    let kind = if v.word("principle") == "regenerative" { Kind::Regenerative } else { Kind::Displacement };
    let rows: Vec<RatingRow> = v.rows("rows").map_or_else(Vec::new, |r| {
        r.data
            .iter()
            .map(|d| RatingRow {
                pressure: d[0],
                volts: d[1],
                flow: d[2],
                current: d[3].is_finite().then_some(d[3]),
            })
            .collect()
    });
    identify(kind, &rows, v.si("rating_viscosity"), v.si("rated_speed"))
}

impl Pump {
    /// The law with this pump's own factor, wear, relief and margin.
    #[must_use]
    pub fn with_values(mut self, v: &Values, rated: RatingRow) -> Self {
        let factor = v.si("flow_factor");
        let wear = v.si("wear");
        match &mut self.curve {
            Curve::Displacement { g, k, c } => {
                *g *= factor;
                *k *= factor;
                *c *= factor;
                self.wear_slip = wear * rated.flow / rated.pressure.max(0.5e5);
            }
            Curve::Regenerative { b, u, .. } => {
                *b /= factor;
                *u /= factor;
                self.wear_head = 0.5 * wear;
            }
        }
        self.relief = v.si("relief");
        self.relief_slope = v.si("relief_slope");
        self.required_margin = v.si("required_margin");
        self
    }
}
