//! The units that files, the command line and results speak, and how a value with a unit is read.

use super::{Dim, Flavour};

/// A unit: `SI value = number * factor + offset`.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// How it is printed.
    pub symbol: &'static str,
    /// Other spellings that are read.
    pub also: &'static [&'static str],
    /// The quantity it measures.
    pub dim: Dim,
    /// SI value of one of it.
    pub factor: f64,
    /// SI value of zero of it.
    pub offset: f64,
}

const PSI: f64 = 4.448_221_615_260_5 / 6.4516e-4; // lbf/in², both exact (NIST SP 811 B.8)
const LB: f64 = 0.453_592_37; // exact (NIST SP 811 B.8)

macro_rules! units {
    ($($dim:ident: $($sym:literal $([$($also:literal),*])? = $f:expr $(=> $off:expr)?),+;)+) => {
        /// Every unit; the first of a quantity is its SI unit.
        pub static UNITS: &[Unit] = &[$($(Unit {
            symbol: $sym, also: &[$($($also),*)?], dim: Dim::$dim, factor: $f, offset: 0.0 $(+ $off)?,
        }),+),+];
    };
}

units! {
    Ratio: "1" ["", "-"] = 1.0, "%" ["percent"] = 0.01;
    Length: "m" ["metre", "meter"] = 1.0, "mm" = 1e-3, "cm" = 1e-2, "µm" ["um", "micron", "micrometre"] = 1e-6, "in" ["inch", "\""] = 0.0254, "ft" = 0.3048, "dash" ["-dash"] = 0.0254 / 16.0;
    Mass: "kg" = 1.0, "g" = 1e-3, "mg" = 1e-6, "lb" = LB;
    Time: "s" ["sec"] = 1.0, "ms" = 1e-3, "µs" ["us"] = 1e-6, "min" = 60.0, "h" = 3600.0;
    Current: "A" ["amp", "amps"] = 1.0, "mA" = 1e-3;
    Temperature: "K" = 1.0, "degC" ["°C", "C"] = 1.0 => 273.15, "degF" ["°F", "F"] = 5.0 / 9.0 => 459.67 * 5.0 / 9.0;
    TemperatureDifference: "K" ["degC", "°C"] = 1.0, "degF" ["°F"] = 5.0 / 9.0;
    Area: "m²" ["m2", "m^2"] = 1.0, "cm²" ["cm2", "cm^2"] = 1e-4, "mm²" ["mm2", "mm^2"] = 1e-6;
    Volume: "m³" ["m3", "m^3"] = 1.0, "L" ["l", "litre", "liter"] = 1e-3, "cm³" ["cm3", "cc", "mL", "ml"] = 1e-6, "mm³" ["mm3"] = 1e-9;
    VolumeRate: "m³/s" ["m3/s", "m^3/s"] = 1.0, "L/h" ["l/h", "lph", "LPH", "L/hr"] = 1e-3 / 3600.0, "L/min" ["l/min", "lpm"] = 1e-3 / 60.0, "cc/min" ["cm³/min", "cm3/min", "mL/min", "ml/min"] = 1e-6 / 60.0, "cc/s" ["cm³/s", "cm3/s", "mL/s"] = 1e-6, "gal/h" ["gph", "US gal/h"] = 3.785_411_784e-3 / 3600.0;
    MassRate: "kg/s" = 1.0, "g/s" = 1e-3, "kg/h" = 1.0 / 3600.0, "lb/h" ["lb/hr"] = LB / 3600.0, "mg/s" = 1e-6;
    Density: "kg/m³" ["kg/m3", "kg/m^3"] = 1.0, "g/cm³" ["g/cm3", "g/cc", "kg/L"] = 1e3;
    Velocity: "m/s" = 1.0;
    Force: "N" = 1.0;
    Stiffness: "N/m" = 1.0, "N/mm" = 1e3, "kN/m" = 1e3;
    Pressure: "Pa" = 1.0, "kPa" = 1e3, "MPa" = 1e6, "GPa" = 1e9, "bar" = 1e5, "mbar" = 1e2, "psi" ["PSI", "lbf/in2"] = PSI, "inHg" ["in Hg"] = 3_386.388_640_341;
    DynamicViscosity: "Pa·s" ["Pa s", "Pa*s"] = 1.0, "mPa·s" ["mPa s", "mPa*s", "cP"] = 1e-3;
    Torque: "N·m" ["Nm", "N m", "N*m"] = 1.0, "mN·m" ["mNm", "mN m"] = 1e-3;
    Power: "W" = 1.0, "kW" = 1e3, "hp" = 745.699_871_582_270_2;
    SpecificEnergy: "J/kg" = 1.0, "kJ/kg" = 1e3, "MJ/kg" = 1e6;
    SpecificConsumption: "kg/J" = 1.0, "g/kWh" ["g/(kW h)", "g/(kW·h)"] = 1e-3 / 3.6e6;
    SpecificHeat: "J/(kg·K)" ["J/(kg K)", "J/kg/K"] = 1.0;
    AngularVelocity: "rad/s" = 1.0, "rpm" ["1/min", "r/min", "RPM"] = std::f64::consts::TAU / 60.0;
    Angle: "rad" = 1.0, "deg" ["°", "degrees"] = std::f64::consts::PI / 180.0, "turn" ["turns"] = std::f64::consts::TAU;
    Voltage: "V" ["volt", "volts"] = 1.0, "mV" = 1e-3;
    Resistance: "Ω" ["ohm", "Ohm", "ohms"] = 1.0, "mΩ" ["mohm", "mOhm", "milliohm"] = 1e-3;
    Inductance: "H" = 1.0, "mH" = 1e-3;
    MotorConstant: "V·s/rad" ["V s/rad", "V*s/rad", "N·m/A", "Nm/A"] = 1.0, "mV·s/rad" ["mV s/rad", "mNm/A"] = 1e-3;
    Inertia: "kg·m²" ["kg m2", "kg*m2"] = 1.0, "g·cm²" ["g cm2", "g*cm2"] = 1e-7;
    ViscousFriction: "N·m·s/rad" ["N m s/rad", "Nms/rad"] = 1.0;
    Damping: "N·s/m" ["N s/m", "Ns/m"] = 1.0;
    PressurePerFlow: "Pa·s/m³" ["Pa s/m3"] = 1.0, "kPa per 100 L/h" = 1e3 / (0.1 / 3600.0);
    ForchheimerLinear: "1/m³" ["1/m3"] = 1.0;
    ForchheimerSquare: "1/m⁴" ["1/m4"] = 1.0;
    Compliance: "m³/Pa" ["m3/Pa"] = 1.0, "cm³/bar" ["cm3/bar", "cc/bar", "mL/bar"] = 1e-11;
}

/// The unit results of this quantity are shown in.
pub(super) fn shown(dim: Dim) -> &'static Unit {
    let symbol = match dim {
        Dim::Length => "mm",
        Dim::Temperature => "degC",
        Dim::Area => "mm²",
        Dim::Volume => "L",
        Dim::VolumeRate => "L/h",
        Dim::MassRate => "g/s",
        Dim::Pressure => "bar",
        Dim::DynamicViscosity => "mPa·s",
        Dim::Time => "ms",
        Dim::SpecificEnergy => "MJ/kg",
        Dim::SpecificConsumption => "g/kWh",
        Dim::AngularVelocity => "rpm",
        Dim::Angle => "deg",
        Dim::Resistance => "mΩ",
        Dim::PressurePerFlow => "kPa per 100 L/h",
        Dim::Stiffness => "N/mm",
        Dim::Power => "W",
        _ => return UNITS.iter().find(|u| u.dim == dim).expect("every quantity has a unit"),
    };
    find(symbol, dim).expect("the unit shown is in the table")
}

/// The unit of this name for this quantity.
#[must_use]
pub fn find(symbol: &str, dim: Dim) -> Option<&'static Unit> {
    UNITS.iter().find(|u| u.dim == dim && (u.symbol == symbol || u.also.contains(&symbol)))
}

/// The quantities that have a unit of this name.
pub fn dims_of(symbol: &str) -> impl Iterator<Item = Dim> + '_ {
    UNITS.iter().filter(move |u| u.symbol == symbol || u.also.contains(&symbol)).map(|u| u.dim)
}

/// A symbol as it is printed: the keyboard's spelling of degrees is for reading in.
#[must_use]
pub fn printed(symbol: &str) -> &str {
    match symbol {
        "degC" => "°C",
        "degF" => "°F",
        symbol => symbol,
    }
}

/// Symbols accepted for a quantity, for messages.
#[must_use]
pub fn accepted(dim: Dim) -> String {
    let all: Vec<_> = UNITS.iter().filter(|u| u.dim == dim).map(|u| u.symbol).collect();
    all.join(", ")
}

/// What was read from `"1.4 bar"`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Read {
    /// The value in SI.
    pub si: f64,
    /// The unit that was written.
    pub unit: &'static Unit,
    /// The kind of pressure that was written, if any was.
    pub flavour: Option<Flavour>,
}

/// Why a value with a unit could not be read.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadError {
    /// The text does not start with a number.
    NoNumber,
    /// A number that is not finite.
    NotFinite,
    /// A bare number where a unit is needed.
    NoUnit,
    /// No unit of this name is known.
    UnknownUnit(String),
    /// A unit of another quantity.
    WrongQuantity {
        /// What was written.
        unit: String,
        /// What it measures.
        found: Dim,
    },
}

/// Reads `"1.4 bar"`, `"58psi"`, `"15 %"`, `"101.3 kPa abs"` as this quantity.
///
/// A pure number needs no unit. A pressure may be followed by `abs`, `gauge` or `g`.
///
/// # Errors
/// [`ReadError`] says what was found.
pub fn read(text: &str, dim: Dim) -> Result<Read, ReadError> {
    // The minus of print, as amounts are shown with, reads as well as the keyboard's.
    let text = text.trim().replace('\u{2212}', "-");
    let end = number_end(&text);
    let number: f64 = text[..end].replace('_', "").parse().map_err(|_| ReadError::NoNumber)?;
    if !number.is_finite() {
        return Err(ReadError::NotFinite);
    }
    let mut name = text[end..].trim();
    let mut flavour = None;
    if dim == Dim::Pressure {
        for (word, f) in [
            ("abs", Flavour::Absolute),
            ("absolute", Flavour::Absolute),
            ("gauge", Flavour::Gauge),
            ("g", Flavour::Gauge),
            ("diff", Flavour::Plain),
            ("difference", Flavour::Plain),
        ] {
            if let Some(rest) = name.strip_suffix(word)
                && rest.ends_with(' ')
            {
                flavour = Some(f);
                name = rest.trim_end();
                break;
            }
        }
    }
    if name.is_empty() && dim != Dim::Ratio {
        return Err(ReadError::NoUnit);
    }
    match find(name, dim) {
        Some(unit) => Ok(Read { si: number.mul_add(unit.factor, unit.offset), unit, flavour }),
        None => Err(match dims_of(name).next() {
            Some(found) => ReadError::WrongQuantity { unit: name.to_owned(), found },
            None => ReadError::UnknownUnit(name.to_owned()),
        }),
    }
}

/// Where the number at the start of the text ends.
fn number_end(text: &str) -> usize {
    let b = text.as_bytes();
    let mut i = 0;
    let digits = |mut i: usize| {
        while i < b.len() && (b[i].is_ascii_digit() || b[i] == b'_') {
            i += 1;
        }
        i
    };
    if i < b.len() && (b[i] == b'-' || b[i] == b'+') {
        i += 1;
    }
    i = digits(i);
    if i < b.len() && b[i] == b'.' {
        i = digits(i + 1);
    }
    if i < b.len() && (b[i] == b'e' || b[i] == b'E') {
        let mut j = i + 1;
        if j < b.len() && (b[j] == b'-' || b[j] == b'+') {
            j += 1;
        }
        let k = digits(j);
        if k > j {
            i = k;
        }
    }
    i
}
