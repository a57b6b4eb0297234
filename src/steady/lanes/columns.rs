//! A car's parameters, one column of lanes each.

/// Lines of one series at most.
pub(super) const MAX_LINES: usize = 3;
/// Pump legs at most.
pub(super) const MAX_LEGS: usize = 3;
/// Differences of a dead-time table at most.
pub(super) const MAX_KNOTS: usize = 6;

/// What can be filled lane by lane.
pub(super) trait Lanes<const W: usize> {
    type One;
    fn blank() -> Self;
    /// One lane alone.
    fn pick(&self, lane: usize) -> Self::One;
}

impl<const W: usize> Lanes<W> for [f64; W] {
    type One = [f64; 1];
    fn blank() -> Self {
        [0.0; W]
    }
    fn pick(&self, lane: usize) -> [f64; 1] {
        [self[lane]]
    }
}

impl<const W: usize, const N: usize, T: Lanes<W>> Lanes<W> for [T; N] {
    type One = [T::One; N];
    fn blank() -> Self {
        std::array::from_fn(|_| T::blank())
    }
    fn pick(&self, lane: usize) -> [T::One; N] {
        std::array::from_fn(|i| self[i].pick(lane))
    }
}

macro_rules! columns {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fd:meta])* $field:ident: $t:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub(super) struct $name<const W: usize> { $($(#[$fd])* pub $field: $t),* }
        impl<const W: usize> Lanes<W> for $name<W> {
            type One = $name<1>;
            fn blank() -> Self {
                Self { $($field: Lanes::<W>::blank()),* }
            }
            fn pick(&self, lane: usize) -> $name<1> {
                $name { $($field: Lanes::<W>::pick(&self.$field, lane)),* }
            }
        }
    )*};
}

columns! {
    /// A length of line: `loss = visc φ(Re) Q`, `Re = re |Q|`.
    Friction {
        visc: [f64; W],
        re: [f64; W],
        rough: [f64; W],
    }
    /// Parts in series: `head + (lin + quad |Q|) Q`, lines, a check valve.
    Series {
        head: [f64; W],
        lin: [f64; W],
        quad: [f64; W],
        line: [Friction<W>; MAX_LINES],
        crack: [f64; W],
        valve: [f64; W],
        shut: [f64; W],
    }
    /// A pump's law in electrical terms; the names are those of [`crate::part::pump::Curve`].
    Pump {
        g: [f64; W],
        c: [f64; W],
        a: [f64; W],
        b: [f64; W],
        t: [f64; W],
        u: [f64; W],
        r: [f64; W],
        loop_r: [f64; W],
        idle: [f64; W],
        relief: [f64; W],
        relief_slope: [f64; W],
        required: [f64; W],
        over_required: [f64; W],
        /// Of a displacement element: flow that the idle current costs, loss of flow with rise.
        still: [f64; W],
        stiff: [f64; W],
        over_stiff: [f64; W],
    }
    /// From a tank through a pump.
    Leg {
        from: [f64; W],
        before: Series<W>,
        pump: Pump<W>,
        after: Series<W>,
        /// Boost above which it runs.
        on_above: [f64; W],
    }
    /// Diaphragm, poppet, spring.
    Poppet {
        area: [f64; W],
        net: [f64; W],
        over_net: [f64; W],
        seat_area: [f64; W],
        curtain: [f64; W],
        rate: [f64; W],
        preload: [f64; W],
        max_lift: [f64; W],
        /// `C_d √(2/ρ)`.
        flow: [f64; W],
        flow_force: [f64; W],
        /// What is left of the reference signal.
        kept: [f64; W],
        /// Pressure where the return ends.
        to: [f64; W],
    }
    /// Injectors and what the control unit believes of them.
    Injection {
        /// All injectors open: `n C_d A √(2/ρ)`.
        open: [f64; W],
        /// Leak, the same way.
        leak: [f64; W],
        short: [f64; W],
        over_short: [f64; W],
        count: [f64; W],
        spread: [f64; W],
        dead: [f64; W],
        dead_error: [f64; W],
        /// Read manifold pressure less the true one.
        read: [f64; W],
        coefficient: [f64; W],
        base: [f64; W],
        /// Open time over the mass of one injection, at base.
        width: [f64; W],
        /// Believed air over true air and believed ratio.
        mass: [f64; W],
    }
    /// The engine as a consumer.
    Engine {
        /// Efficiency times swept volume over the gas constant.
        breath: [f64; W],
        lambda: [f64; W],
        afr: [f64; W],
        /// Fuel volume for a mass of air at the target.
        fuel: [f64; W],
        outside: [f64; W],
        compressor: [f64; W],
        over_compressor: [f64; W],
        /// One over what the compressor breathes in.
        over_intake: [f64; W],
        intercooler: [f64; W],
        intake_loss: [f64; W],
        intercooler_loss: [f64; W],
        charge: [f64; W],
        rev_limit: [f64; W],
    }
    /// The state of the fuel; `known` is zero where its laws refuse.
    Fuel {
        known: [f64; W],
        rho: [f64; W],
        mu: [f64; W],
        vapour: [f64; W],
        afr: [f64; W],
        density15: [f64; W],
    }
    /// One car.
    Car {
        ambient: [f64; W],
        rho: [f64; W],
        vapour: [f64; W],
        volts: [f64; W],
        volts_offset: [f64; W],
        legs: [Leg<W>; MAX_LEGS],
        feed: Series<W>,
        /// Between rail and regulator.
        to_regulator: Series<W>,
        poppet: Poppet<W>,
        /// Between regulator and tank.
        back: Series<W>,
        injection: Injection<W>,
        engine: Engine<W>,
    }
}
