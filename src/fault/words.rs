//! What each fault does, in words.

use super::Fault;

/// A fault in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Words {
    /// Its name.
    pub name: &'static str,
    /// What is wrong.
    pub what: &'static str,
    /// What severity 1 is.
    pub full: &'static str,
    /// Which readings it changes, and how.
    pub changes: &'static str,
    /// Which readings it leaves alone.
    pub leaves: &'static str,
    /// What to do first, where it can hurt someone.
    pub caution: Option<&'static str>,
    /// Whether only a trace in time shows it.
    pub only_in_time: bool,
}

pub(super) const ALL: [Fault; 30] = {
    let mut all = [Fault::OverrunSeat; 30];
    let mut i = 0;
    while i < TABLE.len() {
        all[i] = TABLE[i].0;
        i += 1;
    }
    all
};

pub(super) fn of(fault: Fault) -> &'static Words {
    &TABLE.iter().find(|(f, _)| *f == fault).expect("every fault has its words").1
}

const fn words(
    name: &'static str,
    what: &'static str,
    full: &'static str,
    changes: &'static str,
    leaves: &'static str,
) -> Words {
    Words { name, what, full, changes, leaves, caution: None, only_in_time: false }
}

impl Words {
    const fn with_caution(mut self, caution: &'static str) -> Self {
        self.caution = Some(caution);
        self
    }

    const fn only_in_time(mut self) -> Self {
        self.only_in_time = true;
        self
    }
}

const LEAN: &str =
    "Lean in boost destroys an engine in seconds: no loaded pull until the shortfall is found.";

const TABLE: [(Fault, Words); 30] = [
    (
        Fault::OverrunSeat,
        words(
            "overrun seat",
            "the regulator's opening is too small for the pump's flow at idle",
            "the poppet lifts a fifth of its travel",
            "idle rail high; no drop with the hose on; less by-pass at idle",
            "differential pressure and lambda under load",
        ),
    ),
    (
        Fault::RestrictedReturn,
        words(
            "restricted return",
            "the return line is pinched, kinked or blocked",
            "an orifice that takes 2.5 bar at 130 L/h",
            "idle rail high, return pressure high, both fall as demand takes the flow",
            "differential pressure and lambda near full load",
        ),
    ),
    (
        Fault::BaseSetDuringOverrun,
        words(
            "base set during overrun",
            "the screw was turned while the regulator stood against its stop, where it does nothing",
            "true base 0.6 bar below what the gauge said at idle",
            "differential pressure low by the same offset at every load; lean with it",
            "idle reading with the hose off (it still reads base); no droop with flow",
        ),
    ),
    (
        Fault::RegulatorStuckShut,
        words(
            "regulator stuck shut",
            "the poppet sticks on its seat",
            "10 bar more than set before it lifts",
            "rail far above base everywhere, up to the pump's relief; current high; rich",
            "pump voltage but for the higher current",
        )
        .with_caution("The rail stands at the pump's dead-head: hoses and clamps must be rated for it. Key off, depressurise."),
    ),
    (
        Fault::RegulatorStuckOpen,
        words(
            "regulator stuck open",
            "dirt or a jammed stem keeps the poppet off its seat",
            "held at half its travel",
            "rail far below base at idle and load; return flow high; lean or no start",
            "pump voltage and the pump's own flow against pressure",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::RupturedDiaphragm,
        words(
            "ruptured diaphragm",
            "the diaphragm is torn: fuel runs through the reference hose into the manifold",
            "a hole of 0.4 mm",
            "fuel in the reference hose; rich, most of all at idle; supply runs short earlier",
            "base pressure and 1:1 rise while the pump keeps up",
        )
        .with_caution("Fuel in the reference hose: stop the engine, key off, battery isolated; the regulator is replaced before anything else."),
    ),
    (
        Fault::ReferenceOff,
        words(
            "reference hose off",
            "the reference port is open to air",
            "the whole signal is lost (any severity above zero is the whole fault)",
            "differential pressure falls 1 bar per bar of boost; idle rail does not drop",
            "rail pressure at zero boost",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::ReferenceSplit,
        words(
            "reference hose split",
            "part of the boost signal leaks away",
            "eight tenths of the signal lost",
            "differential pressure falls with boost, by the part of the signal that is lost",
            "rail pressure at zero boost",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::ReferenceOnWrongPort,
        words(
            "reference on the wrong port",
            "the hose is on the intake before the compressor",
            "neither boost nor vacuum reaches the regulator (any severity above zero is the whole fault)",
            "differential pressure falls 1 bar per bar of boost; idle rail does not drop",
            "rail pressure at zero boost",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::SlowReference,
        words(
            "slow reference",
            "a restriction or volume in the reference hose delays the signal",
            "0.5 s later",
            "differential pressure dips while boost rises, then recovers",
            "every steady reading",
        )
        .only_in_time(),
    ),
    (
        Fault::WornPump,
        words(
            "worn pump",
            "slip of the element has grown",
            "45 % of the flow at the first rating row is lost",
            "less return flow everywhere; hinge: above it rail pressure falls and lambda rises",
            "pump voltage; differential pressure below the hinge",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::WiringDrop,
        words(
            "wiring drop",
            "a worn relay, connector or thin wire on the pump's feed side",
            "0.3 ohm more",
            "pump voltage low; hinge: above it rail pressure falls and lambda rises",
            "differential pressure below the hinge; supply voltage at the battery",
        )
        .with_caution("The contact gets hot beside fuel: battery isolated before it is touched, never a larger fuse."),
    ),
    (
        Fault::StrainerBlocked,
        words(
            "strainer blocked",
            "the strainer is dirty, folded or lies on a baffle: fuel boils at the pump's inlet",
            "4 % of its open area left",
            "hinge at a flow that a lower base does not move; current low; inlet margin low; ragged in time",
            "pump voltage; differential pressure below the hinge",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::HotFuelVapour,
        words(
            "hot fuel vapour",
            "hot fuel boils at the pump's inlet",
            "27 K warmer",
            "inlet margin low; the hinge creeps to lower flow as the fuel warms",
            "differential pressure below the hinge; pump voltage",
        )
        .with_caution("Hot petrol vents vapour when the cap is opened: let it cool, ventilate, no spark."),
    ),
    (
        Fault::BlockedTankVent,
        words(
            "blocked tank vent",
            "no air follows the fuel drawn: the tank's pressure falls as its air expands",
            "30 kPa below ambient, as after 3 L drawn from under 7 L of air",
            "inlet margin falls over minutes; then as vapour; the decay itself is a trace in time",
            "every reading at the start of a run",
        )
        .with_caution("Open the cap slowly: the tank is pulled in, and vapour follows."),
    ),
    (
        Fault::PotNotKeptFull,
        words(
            "pot not kept full",
            "the lift pump brings less than is drawn from the surge pot",
            "a quarter of the lift pump's flow left",
            "all good for the pot's time to empty, then collapse",
            "every reading until the pot is empty",
        )
        .with_caution("A pot that runs dry under load leans the engine out within a turn: end the pull before the stated time."),
    ),
    (
        Fault::FilterBeforeRegulator,
        words(
            "filter before the regulator",
            "the fine filter between pump and regulator is loaded",
            "its linear loss grown by 40 times the clean one's",
            "pump works against more: current high; hinge early",
            "differential pressure below the hinge; idle",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::FilterAfterRegulator,
        words(
            "filter after the regulator",
            "a filter, or the injectors' inlet screens, between regulator and injectors is loaded",
            "0.6 bar at 130 L/h (injectors' screens), or 40 times the clean linear loss (filter of a dead-end feed)",
            "smooth droop: lambda rises with demand from the start",
            "idle; pressure at the regulator; pump current and voltage",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::ReliefOpening,
        words(
            "relief opening",
            "the pump's internal relief opens too early",
            "it opens at 3.2 bar",
            "flat top: rail pressure stands still while boost rises on; current flat",
            "everything below the opening pressure",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::CheckValveDraining,
        words(
            "check valve draining",
            "the check valve does not hold the line full after key-off",
            "its seat leaks 1 L/h at 3 bar",
            "long crank: the line has to be filled again; residual pressure falls",
            "every reading of a running pump",
        )
        .only_in_time(),
    ),
    (
        Fault::LeakingInjector,
        words(
            "leaking injector",
            "a shut injector passes fuel",
            "20 cc/min at the stated difference",
            "rich at idle, fading with load; residual pressure falls after key-off; hot starts flood",
            "lambda at full load, pressures",
        )
        .with_caution("Fuel collects in a cylinder: pull that plug and crank with ignition off before a start after standing; a full cylinder bends a rod."),
    ),
    (
        Fault::DutyLimit,
        words(
            "duty limit",
            "the injectors are too small for what is asked, and the calibration knows their size",
            "four tenths smaller",
            "duty high; past about 0.9 it goes static and lambda rises",
            "differential pressure; lambda below the limit",
        )
        .with_caution(LEAN),
    ),
    (
        Fault::WeakInjector,
        words(
            "weak injector",
            "one injector passes less (dirt), or the last cylinder of the rail is starved; a lumped rail cannot tell which",
            "it passes a quarter less",
            "the worst cylinder is lean; mean lambda rises by that over the number of cylinders",
            "pressures, duty",
        )
        .with_caution("One lambda sensor cannot see it: read the plugs or each cylinder's own sensor before a loaded pull."),
    ),
    (
        Fault::WrongDeadTime,
        words(
            "wrong dead time",
            "the calibration's dead time is too long",
            "0.5 ms too long",
            "rich at idle, fading with load",
            "lambda at full load, pressures",
        ),
    ),
    (
        Fault::EthanolInFuel,
        words(
            "ethanol in the fuel",
            "more ethanol than the calibration knows",
            "30 % by volume more",
            "lean by the same part at every load",
            "pressures, pulse and duty",
        ),
    ),
    (
        Fault::LightFuel,
        words(
            "light fuel",
            "lighter or hotter petrol than the calibration knows",
            "60 kg/m3 lighter",
            "lean by the same small part at every load (mass flow goes with the root of density)",
            "pulse and duty; pressures but for a trace",
        ),
    ),
    (
        Fault::LambdaSensorAged,
        words(
            "lambda sensor aged",
            "the sensor reads lean of the truth",
            "0.06 too high",
            "read lambda, by the same offset everywhere",
            "true lambda and every other reading",
        ),
    ),
    (
        Fault::ExhaustLeak,
        words(
            "exhaust leak",
            "air is drawn in ahead of the sensor",
            "1.5 g/s of air",
            "read lambda, most at idle, fading with load",
            "true lambda and every other reading",
        )
        .with_caution("Exhaust gas in the workshop or cabin: ventilate; mend the leak before any pull."),
    ),
    (
        Fault::RailGaugeOff,
        words(
            "rail gauge off",
            "the rail's gauge or sensor reads high",
            "0.4 bar too high",
            "read rail pressure and what is derived from it, by the same offset everywhere",
            "true pressures, lambda, duty",
        ),
    ),
    (
        Fault::ManifoldSensorOff,
        words(
            "manifold sensor off",
            "the control unit's manifold sensor reads high, and it fuels for what it reads",
            "0.15 bar too high",
            "read manifold pressure; rich, most at idle where the offset is the larger part",
            "rail and true differential pressure while the pump keeps up",
        ),
    ),
];
