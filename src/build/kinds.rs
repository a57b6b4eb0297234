//! The kinds of part that a build may name, with their keys.

use super::sections::{LOW_PULSE, LOW_PULSE_EXAMPLE};
use crate::part::{pump, regulator};
use crate::quantity::Dim;
use crate::spec::{Column, Key};

const PRACTICE: &str = "common practice, no source";

/// Strainer on the suction side.
pub const STRAINER: &[Key] = &[
    Key::scalar("loss", Dim::Pressure, 0.0, 1e5, "1.5 kPa", "loss at the stated flow, clean")
        .default("1.5 kPa", "1..3 kPa, common practice, no source"),
    Key::scalar("at_flow", Dim::VolumeRate, 1e-6, 3e-4, "150 L/h", "the flow that the loss belongs to")
        .default("150 L/h", PRACTICE),
    Key::scalar(
        "turbulent_part",
        Dim::Ratio,
        0.0,
        1.0,
        "0.3",
        "part of that loss that grows with the square of flow",
    )
    .default("0.3", PRACTICE),
    Key::scalar("dirt", Dim::Ratio, 0.0, 100.0, "0", "loading: the linear part grows by 1 + dirt")
        .default("0", "clean"),
    Key::scalar("blocked", Dim::Ratio, 0.0, 0.99, "0 %", "part of the area folded or covered")
        .default("0 %", "free"),
    Key::scalar(
        "head",
        Dim::Length,
        -2.0,
        2.0,
        "150 mm",
        "height of the fuel's surface above the pump's inlet",
    )
    .default("0 mm", PRACTICE),
];

/// Filter in the pressure line.
pub const FILTER: &[Key] = &[
    Key::scalar("loss", Dim::Pressure, 0.0, 3e5, "10 kPa", "loss at the stated flow, clean"),
    Key::scalar("at_flow", Dim::VolumeRate, 1e-6, 3e-4, "150 L/h", "the flow that the loss belongs to")
        .default("150 L/h", PRACTICE),
    Key::scalar(
        "turbulent_part",
        Dim::Ratio,
        0.0,
        1.0,
        "0.3",
        "part of that loss that grows with the square of flow",
    )
    .default("0.3", PRACTICE),
    Key::scalar("dirt", Dim::Ratio, 0.0, 100.0, "0", "loading: the linear part grows by 1 + dirt")
        .default("0", "clean"),
    Key::scalar("rating", Dim::Length, 1e-6, 1e-3, "10 µm", "micron rating").default("10 µm", PRACTICE),
];

/// Hose, pipe or drilling with its fittings.
pub const LINE: &[Key] = &[
    Key::scalar("length", Dim::Length, 0.0, 50.0, "4 m", "length"),
    Key::scalar(
        "bore",
        Dim::Length,
        1e-3,
        0.1,
        "8.7 mm",
        "true bore, measured (a dash size is nominal only)",
    )
    .usual(3e-3, 3e-2),
    Key::scalar("roughness", Dim::Length, 0.0, 1e-3, "1.5 µm", "roughness of the wall")
        .default("1.5 µm", "drawn tube, C. F. Colebrook via L. F. Moody, Trans. ASME 66 (1944)"),
    Key::scalar(
        "fittings",
        Dim::Ratio,
        0.0,
        1000.0,
        "4.2",
        "sum of the loss coefficients K of bends, adapters, entry and exit",
    )
    .default("0", "straight"),
    Key::scalar("rise", Dim::Length, -5.0, 5.0, "0 mm", "height of its end above its start")
        .default("0 mm", PRACTICE),
    Key::word(
        "model",
        &["lumps", "waves"],
        "how it is carried in time: in lumps, or with waves that run along it (a wall that loses nothing)",
    ),
    Key::scalar(
        "wall_bulk",
        Dim::Pressure,
        1e6,
        1e12,
        "150 MPa",
        "effective bulk modulus of the hose wall, for time-step models",
    )
    .default("150 MPa", "hose 50..300 MPa, common practice, no source"),
    Key::scalar(
        "wall_loss",
        Dim::Ratio,
        0.0,
        2.0,
        "0.2",
        "loss tangent of the hose wall at 30 Hz, for time-step models (rubber 0.1..0.3, from memory); left out: as the run's options say",
    )
    .optional(),
];

/// Check valve.
pub const CHECK_VALVE: &[Key] = &[
    Key::scalar("cracking", Dim::Pressure, 0.0, 2e5, "4 kPa", "difference at which it opens")
        .default("4 kPa", PRACTICE),
    Key::scalar("bore", Dim::Length, 1e-3, 5e-2, "7 mm", "diameter of the open valve")
        .default("7 mm", PRACTICE),
    Key::scalar("cd", Dim::Ratio, 0.1, 1.0, "0.65", "discharge coefficient when open")
        .default("0.65", PRACTICE),
    Key::scalar(
        "leak",
        Dim::PressurePerFlow,
        1e10,
        1e16,
        "1e16 Pa·s/m³",
        "resistance when shut (a leaking seat drains the line)",
    )
    .default("1e16 Pa·s/m³", "tight"),
];

/// A plain restriction.
pub const ORIFICE: &[Key] = &[
    Key::scalar("bore", Dim::Length, 1e-4, 5e-2, "1.2 mm", "diameter"),
    Key::scalar("cd", Dim::Ratio, 0.1, 1.0, "0.62", "discharge coefficient")
        .default("0.62", "sharp edge, ISO 5167-2 at high Reynolds number and small ratio is 0.60"),
];

/// Relief valve: opens at a difference and passes flow with a slope.
pub const RELIEF: &[Key] = &[
    Key::scalar("opens_at", Dim::Pressure, 0.1e5, 20e5, "8 bar", "difference at which it opens"),
    Key::scalar("slope", Dim::PressurePerFlow, 1e7, 1e12, "20 kPa per 100 L/h", "rise of pressure with flow")
        .default("20 kPa per 100 L/h", PRACTICE),
];

/// A set of injectors on one rail.
pub const INJECTORS: &[Key] = &[
    Key::scalar("static_flow", Dim::VolumeRate, 1e-7, 1e-4, "750 cc/min", "static flow of one injector")
        .usual(1.5e-6, 4e-5),
    Key::scalar(
        "difference",
        Dim::Pressure,
        0.5e5,
        20e5,
        "3 bar",
        "pressure difference that the static flow belongs to",
    )
    .default("3 bar", "SAE J1832 gives 300 kPa as an example"),
    Key::scalar("test_density", Dim::Density, 600.0, 900.0, "683 kg/m³", "density of the test fluid")
        .default("683 kg/m³", "n-heptane near 21 degC, the fluid of SAE J1832"),
    Key::scalar(
        "dead_time",
        Dim::Time,
        0.0,
        5e-3,
        "1.0 ms",
        "dead time at 13.8 V and the stated difference; with dead_time_rows it is added to them",
    )
    .default("1.0 ms", "1.0 +- 0.2 ms, common practice, no source"),
    Key::rows(
        "dead_time_rows",
        &[
            Column::new("voltage", Dim::Voltage, 4.0, 60.0),
            Column::new("difference", Dim::Pressure, 0.1e5, 15e5),
            Column::new("time", Dim::Time, -2e-3, 1e-2),
        ],
        "[{ voltage = \"12 V\", difference = \"3 bar\", time = \"1.2 ms\" }, ...]",
        "dead time on a full grid of voltages and differences",
    ),
    Key::scalar(
        "short_pulse",
        Dim::Time,
        0.0,
        5e-3,
        "0.6 ms",
        "open time below which flow is no longer proportional; a measured low_pulse_rows takes its place",
    )
    .default("0.4 ms", PRACTICE),
    Key::rows(
        "low_pulse_rows",
        LOW_PULSE,
        LOW_PULSE_EXAMPLE,
        "what short pulses truly deliver beside the straight line, from a bench: open time added to the pulse less its dead time; ends with 0, and a shorter pulse than the first is refused",
    ),
    Key::scalar("flow_factor", Dim::Ratio, 0.2, 2.0, "100 %", "this set against its data sheet")
        .default("100 %", "as stated"),
    Key::scalar(
        "cylinder_spread",
        Dim::Ratio,
        0.0,
        0.5,
        "1.5 %",
        "how far the weakest injector lies below the set's mean",
    )
    .default("0 %", "matched set"),
    Key::scalar(
        "each_flow",
        Dim::Ratio,
        1.0,
        1.0,
        "100 %",
        "flow of one injector over what the set says: 100 % by itself; state its spread, and a tolerance study draws it for each injector anew",
    )
    .default("100 %", "by definition"),
    Key::scalar("count", Dim::Ratio, 1.0, 32.0, "4", "how many; left out: one a cylinder").optional(),
    Key::scalar(
        "static_leak",
        Dim::VolumeRate,
        0.0,
        1e-5,
        "0 cc/min",
        "flow that passes shut injectors, all together",
    )
    .default("0 cc/min", "tight"),
    Key::scalar(
        "closing_delay",
        Dim::Time,
        0.0,
        5e-3,
        "0.3 ms",
        "how long one stays open after its pulse, for time-step models (the dead time is opening less closing delay); left out: as the run's options say",
    )
    .optional(),
    Key::word(
        "opening",
        &["table", "coil and needle"],
        "what opens them in time: after the dead time of the table, or a coil that lifts a needle, whose dead time falls out of supply and pressure; a steady point and the control unit read the table either way",
    ),
    Key::scalar(
        "coil_resistance",
        Dim::Resistance,
        0.1,
        100.0,
        "14.5 Ω",
        "resistance of a coil and its wire, for coil and needle; left out: 14.5 Ω (common practice, no source)",
    )
    .optional(),
    Key::scalar(
        "coil_inductance",
        Dim::Inductance,
        1e-4,
        0.2,
        "14 mH",
        "inductance of a coil, for coil and needle; left out: 14 mH (assumed)",
    )
    .optional(),
    Key::scalar(
        "clamp_voltage",
        Dim::Voltage,
        0.5,
        200.0,
        "40 V",
        "voltage at which the driver clamps a coil it has switched off; left out: 40 V (assumed)",
    )
    .optional(),
    Key::scalar(
        "pull",
        Dim::Force,
        0.01,
        1000.0,
        "9 N",
        "pull of a coil on its needle at one ampere, growing with the square of current; left out: 9 N (assumed)",
    )
    .optional(),
    Key::scalar(
        "needle_preload",
        Dim::Force,
        0.01,
        100.0,
        "1.4 N",
        "spring force on a needle; left out: 1.4 N (assumed)",
    )
    .optional(),
    Key::scalar("needle_mass", Dim::Mass, 1e-5, 0.1, "2 g", "moving mass of a needle; left out: 2 g (assumed)")
        .optional(),
    Key::scalar(
        "needle_lift",
        Dim::Length,
        1e-5,
        2e-3,
        "0.08 mm",
        "lift of a needle at its stop; left out: 0.08 mm (assumed)",
    )
    .optional(),
    Key::scalar(
        "seat_bore",
        Dim::Length,
        1e-4,
        1e-2,
        "1.6 mm",
        "diameter of the seat that pressure holds shut; left out: 1.6 mm (assumed)",
    )
    .optional(),
    Key::scalar(
        "rail_volume",
        Dim::Volume,
        1e-7,
        1e-2,
        "60 cm³",
        "volume of the rail that feeds them, for time-step models; left out: as the run's options say",
    )
    .optional(),
    Key::scalar(
        "rail_length",
        Dim::Length,
        0.01,
        3.0,
        "300 mm",
        "length of that rail from the first injector, where fuel enters, to the last, for time-step models: each injector then has its own lump; left out: one volume",
    )
    .optional(),
    Key::scalar(
        "damper",
        Dim::Volume,
        0.0,
        1e-3,
        "0.2 cm³",
        "volume that a pulsation damper on that rail takes up for each bar, for time-step models; left out: as the run's options say",
    )
    .optional(),
];

/// A vented pot between lift pump and main pump; it is a junction of its own.
pub const SURGE_POT: &[Key] = &[
    Key::scalar("volume", Dim::Volume, 1e-4, 2e-2, "1.5 L", "usable volume"),
    Key::scalar("vent_pressure", Dim::Pressure, -0.5e5, 1e5, "0 kPa", "pressure over its surface")
        .gauge()
        .default("0 kPa", "vented to the tank"),
];

/// The tank; it is a junction of its own.
pub const TANK: &[Key] = &[
    Key::scalar(
        "vent_pressure",
        Dim::Pressure,
        -0.5e5,
        0.5e5,
        "0 kPa",
        "pressure over the fuel's surface; a blocked vent pulls it below the ambient",
    )
    .gauge()
    .default("0 kPa", "vented"),
    Key::scalar("volume", Dim::Volume, 1e-3, 0.5, "40 L", "fuel in the tank").default("40 L", PRACTICE),
];

/// Every kind of part with its keys.
pub const KINDS: &[(&str, &[Key])] = &[
    ("strainer", STRAINER),
    ("pump", pump::KEYS),
    ("check valve", CHECK_VALVE),
    ("line", LINE),
    ("filter", FILTER),
    ("orifice", ORIFICE),
    ("regulator", regulator::KEYS),
    ("relief valve", RELIEF),
    ("injectors", INJECTORS),
    ("surge pot", SURGE_POT),
    ("tank", TANK),
];

/// The keys of a kind.
#[must_use]
pub fn keys_of(kind: &str) -> Option<&'static [Key]> {
    KINDS.iter().find(|(k, _)| *k == kind).map(|(_, keys)| *keys)
}
