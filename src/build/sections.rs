//! The keys of what is not a part: the car, the air around it, the fuel, the engine, the control unit's
//! belief, the electrical supply.

use crate::quantity::Dim;
use crate::spec::{Column, Key};

const PRACTICE: &str = "common practice, no source";

/// The words on top of every result.
pub const CAR: &[Key] = &[
    Key::text("name", "College hill-climb car, 0.7 bar", "the name on top of every result"),
    Key::text("note", "Invented for teaching", "what a reader should know first"),
];

/// The air around the car.
pub const AMBIENT: &[Key] = &[
    Key::scalar("pressure", Dim::Pressure, 0.4e5, 1.2e5, "101.3 kPa abs", "ambient pressure, absolute")
        .absolute()
        .usual(0.6e5, 1.06e5)
        .default("101.325 kPa abs", "ISO 2533 sea level"),
    Key::scalar("temperature", Dim::Temperature, 223.0, 333.0, "20 degC", "air temperature")
        .default("20 degC", PRACTICE),
];

/// The fuel in the tank.
pub const FUEL: &[Key] = &[
    Key::scalar(
        "petrol_density",
        Dim::Density,
        650.0,
        850.0,
        "745 kg/m³",
        "density of the petrol part at 15 degC",
    )
    .usual(715.0, 780.0)
    .default("745 kg/m³", "middle of the band 720..775 of EN 228"),
    Key::scalar(
        "vapour_pressure",
        Dim::Pressure,
        0.2e5,
        1.2e5,
        "60 kPa abs",
        "dry vapour pressure equivalent of the petrol part at 37.8 degC",
    )
    .absolute()
    .default("60 kPa abs", "summer class A ceiling of EN 228"),
    Key::scalar("ethanol", Dim::Ratio, 0.0, 1.0, "5 %", "part of ethanol by volume at 15 degC")
        .default("0 %", "plain petrol"),
    Key::scalar(
        "temperature",
        Dim::Temperature,
        253.0,
        343.0,
        "30 degC",
        "temperature of the fuel in the tank and the lines",
    )
    .default("30 degC", PRACTICE),
];

/// The engine and its air.
pub const ENGINE: &[Key] = &[
    Key::scalar("displacement", Dim::Volume, 5e-5, 2e-2, "2.4 L", "swept volume of all cylinders"),
    Key::scalar("cylinders", Dim::Ratio, 1.0, 16.0, "4", "number of cylinders"),
    Key::scalar(
        "volumetric_efficiency",
        Dim::Ratio,
        0.2,
        1.6,
        "0.90",
        "volumetric efficiency over the manifold's state; with ve_rows it multiplies them",
    )
    .default("1", "the rows as they are"),
    Key::rows(
        "ve_rows",
        &[Column::new("rpm", Dim::AngularVelocity, 10.0, 2000.0), Column::new("ve", Dim::Ratio, 0.05, 2.0)],
        "[{ rpm = \"2000 rpm\", ve = \"0.82\" }, ...]",
        "volumetric efficiency over speed",
    ),
    Key::rows(
        "ve_map_rows",
        &[
            Column::new("manifold", Dim::Pressure, 5e3, 6e5).absolute(),
            Column::new("rpm", Dim::AngularVelocity, 10.0, 2000.0),
            Column::new("ve", Dim::Ratio, 0.05, 1.5),
        ],
        "[{ manifold = \"100 kPa abs\", rpm = \"2000 rpm\", ve = \"0.84\" }, { manifold = \"100 kPa abs\", rpm = \"6000 rpm\", ve = \"0.92\" }, { manifold = \"200 kPa abs\", rpm = \"2000 rpm\", ve = \"0.88\" }, { manifold = \"200 kPa abs\", rpm = \"6000 rpm\", ve = \"0.97\" }]",
        "volumetric efficiency on a full grid of manifold pressures and speeds; straight between its points, refused outside; with ve_rows it multiplies them",
    ),
    Key::scalar("lambda", Dim::Ratio, 0.5, 1.5, "0.80", "target lambda").default("0.80", PRACTICE),
    Key::scalar(
        "compressor_efficiency",
        Dim::Ratio,
        0.3,
        0.9,
        "0.70",
        "isentropic efficiency of the compressor",
    )
    .default("0.70", PRACTICE),
    Key::scalar(
        "intercooler_effectiveness",
        Dim::Ratio,
        0.0,
        1.0,
        "0.75",
        "effectiveness of the intercooler",
    )
    .default("0.75", PRACTICE),
    Key::scalar("intake_loss", Dim::Pressure, 0.0, 0.3e5, "2 kPa", "loss before the compressor")
        .default("2 kPa", PRACTICE),
    Key::scalar(
        "intercooler_loss",
        Dim::Pressure,
        0.0,
        0.5e5,
        "6 kPa",
        "loss between compressor and manifold",
    )
    .default("6 kPa", PRACTICE),
    Key::scalar(
        "charge_temperature",
        Dim::Temperature,
        223.0,
        423.0,
        "45 degC",
        "temperature of the charge; left out: from compressor and intercooler",
    )
    .optional(),
    Key::rows(
        "boost_rows",
        &[
            Column::new("rpm", Dim::AngularVelocity, 10.0, 2000.0),
            Column::new("boost", Dim::Pressure, -1e5, 5e5).gauge(),
        ],
        "[{ rpm = \"2000 rpm\", boost = \"0.2 bar\" }, ...]",
        "boost that a full-load pull reaches over speed",
    ),
    Key::scalar(
        "intake_volume",
        Dim::Volume,
        1e-4,
        0.1,
        "6 L",
        "volume that fills between throttle and valves, with the charge pipe where that fills with it; in time the boost of a schedule is then what is asked for; left out: the manifold follows the schedule",
    )
    .optional(),
    Key::scalar(
        "spool_time",
        Dim::Time,
        1e-2,
        20.0,
        "0.5 s",
        "time constant with which boost builds, in time; asks for intake_volume; left out: at once",
    )
    .optional(),
    Key::scalar(
        "throttle_area",
        Dim::Area,
        1e-5,
        2e-2,
        "2000 mm²",
        "effective area of the throttle wide open, discharge coefficient times area; a schedule in time may then say how far it is open, as a share of this; asks for intake_volume; left out: the manifold goes where boost asks",
    )
    .optional(),
    Key::scalar("rev_limit", Dim::AngularVelocity, 100.0, 2000.0, "7000 rpm", "speed limit")
        .default("7000 rpm", PRACTICE),
    Key::scalar("idle_speed", Dim::AngularVelocity, 20.0, 250.0, "900 rpm", "idle speed")
        .default("900 rpm", PRACTICE),
    Key::scalar("idle_manifold", Dim::Pressure, -0.95e5, 0.0, "-0.65 bar", "manifold pressure at idle")
        .gauge()
        .default("-0.65 bar", PRACTICE),
    Key::scalar(
        "power",
        Dim::Power,
        1e3,
        2e6,
        "220 kW",
        "crank power at the highest boost row, when a dyno has read it",
    )
    .optional(),
    Key::scalar(
        "bsfc",
        Dim::SpecificConsumption,
        4e-8,
        2e-7,
        "320 g/kWh",
        "brake specific fuel consumption for the cross-check by power",
    )
    .default("320 g/kWh", "boosted rich full load, common practice, no source"),
];

/// Columns of a low-pulse table, and its example.
pub(super) const LOW_PULSE: &[Column] =
    &[Column::new("effective", Dim::Time, 1e-6, 2e-2), Column::new("added", Dim::Time, -1e-2, 1e-2)];
pub(super) const LOW_PULSE_EXAMPLE: &str = "[{ effective = \"0.3 ms\", added = \"-0.10 ms\" }, { effective = \"0.6 ms\", added = \"0.04 ms\" }, { effective = \"1.0 ms\", added = \"0 ms\" }]";

/// What the control unit believes. Where it differs from the parts, lambda is off.
pub const CONTROL: &[Key] = &[
    Key::scalar(
        "injector_flow",
        Dim::VolumeRate,
        1e-7,
        1e-4,
        "750 cc/min",
        "static flow the calibration believes; left out: the injectors' nominal",
    )
    .optional(),
    Key::scalar(
        "injector_difference",
        Dim::Pressure,
        0.5e5,
        15e5,
        "3 bar",
        "pressure difference that this flow belongs to; left out: the injectors'",
    )
    .optional(),
    Key::scalar(
        "dead_time_error",
        Dim::Time,
        -2e-3,
        2e-3,
        "0 ms",
        "dead time in the calibration less the true one",
    )
    .default("0 ms", "calibrated"),
    Key::rows(
        "low_pulse_rows",
        LOW_PULSE,
        LOW_PULSE_EXAMPLE,
        "low-pulse table in the calibration: it asks for as much less pulse as it believes to be added; left out: it believes the straight line",
    ),
    Key::scalar("air_error", Dim::Ratio, -0.5, 0.5, "0 %", "error of the believed air mass")
        .default("0 %", "calibrated"),
    Key::scalar(
        "fuel_density",
        Dim::Density,
        650.0,
        850.0,
        "745 kg/m³",
        "density the calibration was made with; left out: the fuel's at 15 degC",
    )
    .optional(),
    Key::scalar(
        "stoichiometric_ratio",
        Dim::Ratio,
        5.0,
        20.0,
        "14.6",
        "air-fuel ratio the calibration was made with; left out: the fuel's",
    )
    .optional(),
    Key::word(
        "compensation",
        &["none", "base less manifold", "rail sensor"],
        "what the calibration does about the pressure difference: takes the base as constant (right for 1:1), takes base less manifold gauge (right for a fixed rail), or measures it",
    ),
    Key::scalar(
        "base",
        Dim::Pressure,
        0.5e5,
        15e5,
        "3 bar",
        "base pressure that the calibration believes; left out: the regulator's",
    )
    .optional(),
    Key::scalar(
        "rail_target",
        Dim::Pressure,
        0.5e5,
        15e5,
        "4 bar",
        "rail pressure that a speed-controlled pump holds",
    )
    .gauge()
    .optional(),
];

/// The electrical supply.
pub const SUPPLY: &[Key] = &[
    Key::scalar("voltage", Dim::Voltage, 6.0, 18.0, "13.8 V", "charging voltage at the supply point")
        .default("13.8 V", PRACTICE),
    Key::rows(
        "rows",
        &[
            Column::new("rpm", Dim::AngularVelocity, 0.0, 2000.0),
            Column::new("voltage", Dim::Voltage, 6.0, 18.0),
        ],
        "[{ rpm = \"900 rpm\", voltage = \"13.2 V\" }, ...]",
        "supply voltage over speed; added to it: voltage_offset",
    ),
    Key::scalar("voltage_offset", Dim::Voltage, -4.0, 2.0, "0 V", "this car against the rows")
        .default("0 V", "as stated"),
];

/// What the gauges and sensors say too much or too little. The truth is not touched by these, except that
/// the control unit believes its manifold sensor.
pub const READING: &[Key] = &[
    Key::scalar(
        "lambda_offset",
        Dim::Ratio,
        -0.3,
        0.3,
        "0.02",
        "read lambda less true lambda (aged sensor; air drawn in through an exhaust leak reads lean)",
    )
    .default("0", "+-0.015..0.02 at lambda 0.8, common practice, no source"),
    Key::scalar("rail_offset", Dim::Pressure, -3e5, 3e5, "0.04 bar", "read rail pressure less the true one")
        .default("0 bar", "gauge class of EN 837-1: 1.6 % of 6 bar is 0.1 bar"),
    Key::scalar(
        "manifold_offset",
        Dim::Pressure,
        -1e5,
        1e5,
        "0.02 bar",
        "read manifold pressure less the true one; the control unit takes the read one for true",
    )
    .default("0 bar", PRACTICE),
    Key::scalar(
        "exhaust_leak",
        Dim::MassRate,
        0.0,
        0.1,
        "0 g/s",
        "air drawn into the exhaust ahead of the lambda sensor",
    )
    .default("0 g/s", "tight"),
    Key::scalar(
        "fuel_temperature_offset",
        Dim::TemperatureDifference,
        -30.0,
        30.0,
        "2 K",
        "read fuel temperature less the true one",
    )
    .default("0 K", PRACTICE),
];

/// The sections of a build file with their keys.
pub const SECTIONS: &[(&str, &[Key])] = &[
    ("car", CAR),
    ("ambient", AMBIENT),
    ("fuel", FUEL),
    ("engine", ENGINE),
    ("control", CONTROL),
    ("supply", SUPPLY),
    ("reading", READING),
];
