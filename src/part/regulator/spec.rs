//! What a build says of a regulator.

use super::law::Regulator;
use crate::quantity::Dim;
use crate::spec::{Key, Values};
use std::f64::consts::PI;

/// The keys of a regulator.
pub const KEYS: &[Key] = &[
    Key::scalar(
        "base",
        Dim::Pressure,
        0.3e5,
        12e5,
        "3.0 bar",
        "base pressure: rail gauge pressure with the reference hose off, at the setting flow",
    )
    .usual(2.0e5, 6.0e5),
    Key::scalar(
        "setting_flow",
        Dim::VolumeRate,
        1e-7,
        2e-4,
        "100 L/h",
        "by-passed flow while base was set (idle)",
    )
    .default("100 L/h", "common practice, no source"),
    Key::scalar("diaphragm", Dim::Length, 5e-3, 0.1, "30 mm", "effective diameter of the diaphragm")
        .default("30 mm", "common practice, no source"),
    Key::scalar("seat", Dim::Length, 1e-3, 2e-2, "6 mm", "diameter of the seat")
        .default("6 mm", "common practice, no source"),
    Key::scalar("spring_rate", Dim::Stiffness, 1e2, 1e6, "35 N/mm", "spring rate")
        .default("35 N/mm", "gives 2..8 kPa per 100 L/h (common practice, no source)"),
    Key::scalar("max_lift", Dim::Length, 1e-5, 5e-3, "0.40 mm", "lift at the stop")
        .default("0.40 mm", "common practice, no source"),
    Key::scalar("cd", Dim::Ratio, 0.2, 1.0, "0.70", "discharge coefficient of the seat")
        .default("0.70", "sharp seat, common practice, no source"),
    Key::scalar(
        "flow_force",
        Dim::Ratio,
        0.0,
        2.0,
        "0.43",
        "closing flow force per opening area and difference",
    )
    .default(
        "0.43",
        "H. E. Merritt, Hydraulic Control Systems, sec. 5-2 (2 C_d C_v cos 69 deg), from memory",
    ),
    Key::scalar("friction", Dim::Force, 0.0, 50.0, "0.7 N", "dry friction of the stem")
        .default("0.7 N", "gives a band of 1 kPa (common practice, no source)"),
    Key::scalar(
        "screw",
        Dim::Angle,
        -100.0,
        100.0,
        "0 turn",
        "screw turned in since base was set; in raises",
    )
    .default("0 turn", "as set"),
    Key::scalar("screw_pitch", Dim::Length, 1e-4, 5e-3, "1.0 mm", "pitch of the adjusting screw")
        .default("1.0 mm", "common practice, no source"),
    Key::scalar("moving_mass", Dim::Mass, 1e-4, 0.2, "12 g", "moving mass of diaphragm plate and poppet")
        .default("12 g", "assumed, no source: plate, poppet and a third of the spring"),
    Key::scalar("damping", Dim::Damping, 0.0, 1e4, "20 N·s/m", "viscous damping of the poppet")
        .default("20 N·s/m", "assumed, no source: a damping ratio of 0.17 on 12 g beside a usual rail"),
    Key::scalar(
        "return_chamber",
        Dim::Volume,
        1e-7,
        1e-3,
        "5 cm³",
        "volume behind the poppet, for time-step models; left out: as the run's options say",
    )
    .optional(),
    Key::word(
        "reference",
        &["manifold", "air", "intake", "charge pipe"],
        "what the reference port feels: the manifold (1:1), open air (hose off, fixed), the intake before the compressor (wrong port: neither boost nor vacuum), the charge pipe before the throttle (wrong port: boost but no vacuum)",
    ),
    Key::scalar(
        "reference_leak",
        Dim::Ratio,
        0.0,
        1.0,
        "0 %",
        "part of the reference signal lost by a split hose",
    )
    .default("0 %", "sound hose"),
    Key::scalar(
        "seized",
        Dim::Pressure,
        0.0,
        20e5,
        "0 kPa",
        "extra difference that a sticking poppet needs before it lifts",
    )
    .default("0 kPa", "free"),
    Key::scalar(
        "held_open",
        Dim::Length,
        0.0,
        5e-3,
        "0 mm",
        "lift below which the poppet cannot close (dirt on the seat, jammed stem)",
    )
    .default("0 mm", "closes fully"),
    Key::scalar(
        "rupture",
        Dim::Length,
        0.0,
        5e-3,
        "0 mm",
        "bore of a hole in the diaphragm: fuel runs into the reference hose",
    )
    .default("0 mm", "sound"),
    Key::scalar("reference_lag", Dim::Time, 0.0, 5.0, "15 ms", "time constant of the reference hose")
        .default("15 ms", "common practice, no source"),
];

impl Regulator {
    /// From the values of a build; `rho` is the fuel's density while base was set. A build's law also looks at the
    /// seat: [`crate::build::regulator_law`].
    pub(crate) fn from_values(v: &Values, rho: f64) -> Self {
        let d = v.si("diaphragm");
        let mut r = Self {
            area: PI * d * d / 4.0,
            seat: v.si("seat"),
            rate: v.si("spring_rate"),
            preload: 0.0,
            max_lift: v.si("max_lift"),
            min_lift: v.si("held_open"),
            cd: v.si("cd"),
            flow_force: v.si("flow_force"),
            friction: v.si("friction"),
        };
        let turns = v.si("screw") / std::f64::consts::TAU;
        r.preload = r.preload_for(v.si("base"), v.si("setting_flow"), rho)
            + turns * v.si("screw_pitch") * r.rate
            + v.si("seized") * (r.area - r.seat_area());
        r
    }
}
