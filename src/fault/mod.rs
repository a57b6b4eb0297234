//! Faults: what goes wrong on a car, each as a named change to a build with a severity.
//!
//! A fault changes the build and nothing else; what the gauges then say comes out of the physics. Severity 0
//! is the sound car, 1 is as bad as stated in [`Fault::full`].
//!
//! ```
//! use railrise::build::Build;
//! use railrise::fault::Fault;
//! let car = Build::read("datasets/hill-climb-car/raised-1.4-bar.toml")?;
//! let worn = Fault::WornPump.apply(&car, 0.5)?;
//! assert!(worn.si("main pump.wear")? > car.si("main pump.wear")?);
//! # Ok::<(), railrise::Error>(())
//! ```

mod apply;
mod words;

pub use words::Words;

use crate::build::Build;
use crate::error::{Error, Kind, Result, did_you_mean};
use std::fmt;

/// A fault of a fuel system, its control or its instruments.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize)]
#[serde(into = "&'static str")]
pub enum Fault {
    /// The regulator's opening is too small for the pump.
    OverrunSeat,
    /// The return line is pinched or blocked.
    RestrictedReturn,
    /// Base was "set" while the regulator was overrun.
    BaseSetDuringOverrun,
    /// The poppet sticks shut.
    RegulatorStuckShut,
    /// The poppet cannot close.
    RegulatorStuckOpen,
    /// The diaphragm is torn.
    RupturedDiaphragm,
    /// The reference hose is off.
    ReferenceOff,
    /// The reference hose is split.
    ReferenceSplit,
    /// The reference hose is on the wrong port.
    ReferenceOnWrongPort,
    /// The reference signal comes late. A steady point shows nothing of it: once the signal has arrived it is whole.
    SlowReference,
    /// The pump is worn.
    WornPump,
    /// The pump's feed has too much resistance.
    WiringDrop,
    /// The strainer is blocked or folded.
    StrainerBlocked,
    /// The fuel is hot enough to boil at the pump's inlet.
    HotFuelVapour,
    /// The tank takes no air in.
    BlockedTankVent,
    /// The lift pump does not keep the surge pot full.
    PotNotKeptFull,
    /// The fine filter before the regulator is loaded.
    FilterBeforeRegulator,
    /// What lies between the regulator and the injectors is loaded.
    FilterAfterRegulator,
    /// The pump's relief opens too early.
    ReliefOpening,
    /// The check valve does not hold. A steady point of a running pump shows nothing of it, for flow holds the valve open;
    /// at rest nothing is steady until the line is empty.
    CheckValveDraining,
    /// An injector leaks.
    LeakingInjector,
    /// The injectors are too small for what is asked.
    DutyLimit,
    /// One injector passes less than the others.
    WeakInjector,
    /// The calibration's dead time is wrong.
    WrongDeadTime,
    /// More ethanol in the tank than the calibration knows.
    EthanolInFuel,
    /// Lighter fuel in the tank than the calibration knows.
    LightFuel,
    /// The lambda sensor has aged.
    LambdaSensorAged,
    /// The exhaust draws air in ahead of the lambda sensor.
    ExhaustLeak,
    /// The rail's gauge reads off.
    RailGaugeOff,
    /// The manifold pressure sensor reads off.
    ManifoldSensorOff,
}

impl Fault {
    /// Every fault.
    #[must_use]
    pub fn all() -> &'static [Self] {
        &words::ALL
    }

    /// Its name, in the trade's words.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.words().name
    }

    /// What it does, what it shows and what it leaves alone.
    #[must_use]
    pub fn words(self) -> &'static Words {
        words::of(self)
    }

    /// What severity 1 is.
    #[must_use]
    pub fn full(self) -> &'static str {
        self.words().full
    }

    /// Where it can hurt someone: what to do first.
    #[must_use]
    pub fn caution(self) -> Option<&'static str> {
        self.words().caution
    }

    /// Whether a steady reading cannot show it: only a trace in time does.
    #[must_use]
    pub fn only_in_time(self) -> bool {
        self.words().only_in_time
    }

    /// The fault of this name.
    ///
    /// # Errors
    /// Names the nearest faults.
    pub fn named(name: &str) -> Result<Self> {
        Self::all().iter().copied().find(|f| f.name() == name).ok_or_else(|| {
            let names = || Self::all().iter().map(|f| f.name());
            Error::new(Kind::Unknown, format!("there is no fault \"{name}\"")).next(format!(
                "{}the faults are: {}",
                did_you_mean(name, names()),
                names().collect::<Vec<_>>().join(", ")
            ))
        })
    }

    /// The build with this fault. Severity 0 gives the build unchanged; values that are already worse stay.
    ///
    /// # Errors
    /// A severity outside 0 to 1, or a build without the part that could fail.
    pub fn apply(self, build: &Build, severity: f64) -> Result<Build> {
        if !(0.0..=1.0).contains(&severity) {
            return Err(Error::new(Kind::Value, format!("a severity of {severity}"))
                .next("give a severity from 0 (sound) to 1 (as bad as it is simulated)")
                .at_key(self.name()));
        }
        if severity == 0.0 {
            return Ok(build.clone());
        }
        let name = format!("{}, {}", build.name(), self.name());
        apply::apply(self, build, severity).map(|b| b.named(&name)).map_err(|e| match e.place().key {
            Some(_) => e,
            None => e.at_key(self.name()),
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl From<Fault> for &'static str {
    fn from(f: Fault) -> Self {
        f.name()
    }
}
