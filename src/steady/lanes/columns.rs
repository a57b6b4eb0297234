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

/// One value a lane, where vectors of any width begin.
#[repr(align(64))]
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row<const W: usize>(pub [f64; W]);

impl<const W: usize> Row<W> {
    #[inline(always)]
    pub fn of(x: f64) -> Self {
        Self([x; W])
    }
}

impl<const W: usize> std::ops::Deref for Row<W> {
    type Target = [f64; W];
    #[inline(always)]
    fn deref(&self) -> &[f64; W] {
        &self.0
    }
}

impl<const W: usize> std::ops::DerefMut for Row<W> {
    #[inline(always)]
    fn deref_mut(&mut self) -> &mut [f64; W] {
        &mut self.0
    }
}

impl<const W: usize> Lanes<W> for Row<W> {
    type One = Row<1>;
    fn blank() -> Self {
        Self::of(0.0)
    }
    fn pick(&self, lane: usize) -> Row<1> {
        Row([self[lane]])
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
        visc: Row<W>,
        re: Row<W>,
        rough: Row<W>,
    }
    /// Parts in series: `head + (lin + quad |Q|) Q`, lines, a check valve.
    Series {
        head: Row<W>,
        lin: Row<W>,
        quad: Row<W>,
        line: [Friction<W>; MAX_LINES],
        crack: Row<W>,
        valve: Row<W>,
        shut: Row<W>,
    }
    /// A pump's law in electrical terms; the names are those of [`crate::part::pump::Curve`].
    Pump {
        g: Row<W>,
        c: Row<W>,
        a: Row<W>,
        b: Row<W>,
        t: Row<W>,
        u: Row<W>,
        r: Row<W>,
        loop_r: Row<W>,
        idle: Row<W>,
        relief: Row<W>,
        relief_slope: Row<W>,
        required: Row<W>,
        over_required: Row<W>,
        /// Of a displacement element: flow that the idle current costs, loss of flow with rise.
        still: Row<W>,
        stiff: Row<W>,
        over_stiff: Row<W>,
    }
    /// From a tank through a pump.
    Leg {
        from: Row<W>,
        before: Series<W>,
        pump: Pump<W>,
        after: Series<W>,
        /// Boost above which it runs.
        on_above: Row<W>,
    }
    /// Diaphragm, poppet, spring.
    Poppet {
        area: Row<W>,
        net: Row<W>,
        over_net: Row<W>,
        seat_area: Row<W>,
        curtain: Row<W>,
        rate: Row<W>,
        preload: Row<W>,
        max_lift: Row<W>,
        /// `C_d √(2/ρ)`.
        flow: Row<W>,
        flow_force: Row<W>,
        /// What is left of the reference signal.
        kept: Row<W>,
        /// Pressure where the return ends.
        to: Row<W>,
    }
    /// Injectors and what the control unit believes of them.
    Injection {
        /// All injectors open: `n C_d A √(2/ρ)`.
        open: Row<W>,
        /// Leak, the same way.
        leak: Row<W>,
        short: Row<W>,
        over_short: Row<W>,
        count: Row<W>,
        spread: Row<W>,
        dead: Row<W>,
        dead_error: Row<W>,
        /// Read manifold pressure less the true one.
        read: Row<W>,
        coefficient: Row<W>,
        base: Row<W>,
        /// Open time over the mass of one injection, at base.
        width: Row<W>,
        /// Believed air over true air and believed ratio.
        mass: Row<W>,
    }
    /// The engine as a consumer.
    Engine {
        /// Efficiency times swept volume over the gas constant.
        breath: Row<W>,
        lambda: Row<W>,
        afr: Row<W>,
        /// Fuel volume for a mass of air at the target.
        fuel: Row<W>,
        outside: Row<W>,
        compressor: Row<W>,
        over_compressor: Row<W>,
        /// One over what the compressor breathes in.
        over_intake: Row<W>,
        intercooler: Row<W>,
        intake_loss: Row<W>,
        intercooler_loss: Row<W>,
        charge: Row<W>,
        rev_limit: Row<W>,
    }
    /// The state of the fuel; `known` is zero where its laws refuse.
    Fuel {
        known: Row<W>,
        rho: Row<W>,
        mu: Row<W>,
        vapour: Row<W>,
        afr: Row<W>,
        density15: Row<W>,
    }
    /// One car.
    Car {
        ambient: Row<W>,
        rho: Row<W>,
        vapour: Row<W>,
        volts: Row<W>,
        volts_offset: Row<W>,
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
