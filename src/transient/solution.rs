//! What a run in time was: named channels, pulses, events, a ledger, and why it ended.

use super::network::EventKind;
use crate::error::{Error, Kind, Result, did_you_mean};
use crate::quantity::{Amount, Dim, Flavour, Time};
use crate::stepper::Statistics;
use indexmap::IndexMap;
use ndarray::Array1;
use std::fmt;

/// One quantity over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// What it is.
    pub dim: Dim,
    /// Which kind of pressure.
    pub flavour: Flavour,
    /// Its values, SI, at the times of the solution.
    pub values: Array1<f64>,
}

/// A pulse of one injector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PulseRecord {
    /// Index of the injector.
    pub injector: usize,
    /// When it was commanded, s.
    pub commanded: f64,
    /// Commanded width, s.
    pub width: f64,
    /// When it closed, s.
    pub closed: f64,
    /// Mass that the engine asked for when it was commanded, kg.
    pub asked: f64,
    /// Mass that the engine asked for when it had closed, kg: in a ramp they differ by scheduling alone.
    pub asked_at_close: f64,
    /// Mass that passed, kg.
    pub delivered: f64,
}

impl PulseRecord {
    /// Shortfall because the pulse was fixed at its start: asked at start over asked at close, less one.
    #[must_use]
    pub fn scheduling_error(&self) -> f64 {
        self.asked / self.asked_at_close - 1.0
    }

    /// Shortfall of the hydraulics and of wrong belief: delivered over asked at its start, less one.
    #[must_use]
    pub fn hydraulic_error(&self) -> f64 {
        self.delivered / self.asked - 1.0
    }
}

/// A sudden thing, in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Happening {
    /// Time, s.
    pub t: f64,
    /// What kind.
    pub kind: EventKind,
    /// To which part.
    pub part: String,
}

/// Why a run ended.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Stopped {
    /// At its end.
    Finished,
    /// The condition that was asked for was met.
    Until {
        /// When, s.
        t: f64,
    },
    /// A pot or tank is empty: beyond this the pump draws air.
    RanDry {
        /// When, s.
        t: f64,
        /// Which.
        place: String,
    },
    /// Someone asked to stop.
    Cancelled {
        /// When, s.
        t: f64,
    },
    /// A quantity ran away.
    BlewUp {
        /// Last good time, s.
        t: f64,
        /// Which quantity.
        channel: String,
    },
    /// The budget of steps was used up.
    TooManySteps {
        /// Time reached, s.
        t: f64,
    },
}

impl fmt::Display for Stopped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Finished => write!(f, "ran to its end"),
            Self::Until { t } => write!(f, "the condition was met at {t:.4} s"),
            Self::RanDry { t, place } => write!(f, "{place} ran dry at {t:.6} s"),
            Self::Cancelled { t } => write!(f, "cancelled at {t:.6} s"),
            Self::BlewUp { t, channel } => {
                write!(
                    f,
                    "{channel} ran away after {t:.9} s: check the values of that part, or use a finer tolerance"
                )
            }
            Self::TooManySteps { t } => write!(f, "the budget of steps ran out at {t:.6} s: raise max_steps"),
        }
    }
}

/// Where the fuel went, m³ at the fuel's density.
#[derive(Clone, Debug, PartialEq)]
pub struct Ledger {
    /// Received by each end (tank, pot): negative is drawn from it.
    pub ends: IndexMap<String, f64>,
    /// Passed by each injector.
    pub injectors: IndexMap<String, f64>,
    /// Taken up by the lines and chambers as their pressures changed, and under the diaphragms as they moved.
    pub stored: f64,
    /// What is left over: zero but for rounding.
    pub imbalance: f64,
    /// Air through the manifold, where it is followed.
    pub air: Option<Air>,
}

/// Where the air went, kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Came in past the throttle.
    pub entered: f64,
    /// Taken by the engine.
    pub taken: f64,
    /// Stayed in the manifold, from its pressure and temperature at both ends.
    pub stored: f64,
    /// What is left over: zero but for rounding.
    pub imbalance: f64,
}

/// A run in time. It does not change once made.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The build's name.
    pub build: String,
    /// Digest of its input.
    pub input: String,
    /// Name of the schedule.
    pub schedule: String,
    /// Times, s.
    pub t: Array1<f64>,
    /// Named channels.
    pub channels: IndexMap<String, Channel>,
    /// Every pulse.
    pub pulses: Vec<PulseRecord>,
    /// What happened.
    pub events: Vec<Happening>,
    /// Where the fuel went.
    pub ledger: Ledger,
    /// Why it ended.
    pub stopped: Stopped,
    /// What a reader should know.
    pub warnings: Vec<String>,
    /// What it cost.
    pub effort: Statistics,
}

impl Solution {
    /// A channel by name.
    ///
    /// # Errors
    /// Names the nearest channels.
    pub fn channel(&self, name: &str) -> Result<&Channel> {
        self.channels.get(name).ok_or_else(|| {
            let names: Vec<&str> = self.channels.keys().map(String::as_str).collect();
            Error::new(
                Kind::Unknown,
                format!("there is no channel \"{name}\" in the run \"{}\"", self.schedule),
            )
            .next(format!(
                "{}the channels are: {}",
                did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        })
    }

    /// Value of a channel at a time: straight lines between the records.
    ///
    /// # Errors
    /// As [`Solution::channel`]; a time outside the run.
    pub fn at(&self, name: &str, time: Time) -> Result<Amount> {
        let c = self.channel(name)?;
        let t = time.value;
        let n = self.t.len();
        if n == 0 || !(self.t[0]..=self.t[n - 1]).contains(&t) {
            let end = if n == 0 { 0.0 } else { self.t[n - 1] };
            return Err(Error::new(Kind::Range, format!("the run is known up to {end} s, {t} s was asked"))
                .next("ask within the run, or make it longer"));
        }
        let k = self.t.iter().position(|x| *x >= t).unwrap_or(n - 1).max(1);
        let (a, b) = (self.t[k - 1], self.t[k]);
        let v = c.values[k - 1] + (c.values[k] - c.values[k - 1]) * (t - a) / (b - a);
        Ok(Amount { si: v, dim: c.dim, flavour: c.flavour })
    }

    /// Mean of a channel between two times (trapezoids over the records within).
    ///
    /// # Errors
    /// As [`Solution::channel`]; fewer than two records within.
    pub fn mean(&self, name: &str, from: Time, to: Time) -> Result<Amount> {
        let c = self.channel(name)?;
        let (from, to) = (from.value - 1e-12, to.value + 1e-12);
        let inside: Vec<usize> = (0..self.t.len()).filter(|k| (from..=to).contains(&self.t[*k])).collect();
        let (Some(first), Some(last)) = (inside.first(), inside.last()) else {
            return Err(
                Error::new(Kind::Range, "no record lies between these times").next("ask within the run")
            );
        };
        if first == last {
            return Err(Error::new(Kind::Range, "only one record lies between these times")
                .next("ask a longer stretch"));
        }
        let area: f64 = inside
            .windows(2)
            .map(|w| 0.5 * (c.values[w[0]] + c.values[w[1]]) * (self.t[w[1]] - self.t[w[0]]))
            .sum();
        Ok(Amount { si: area / (self.t[*last] - self.t[*first]), dim: c.dim, flavour: c.flavour })
    }

    /// Lowest and highest value of a channel.
    ///
    /// # Errors
    /// As [`Solution::channel`].
    pub fn range(&self, name: &str) -> Result<(Amount, Amount)> {
        let c = self.channel(name)?;
        let (low, high) =
            c.values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        let amount = |si| Amount { si, dim: c.dim, flavour: c.flavour };
        Ok((amount(low), amount(high)))
    }

    /// The same run with one record in `every`, low-passed first so that nothing faster folds down.
    ///
    /// # Formula
    /// Windowed sinc (Hamming) of half width `4 every` records, cut-off at 0.8 of the new Nyquist frequency; weights sum
    /// to one; at the ends the window is cut and renormalised.
    ///
    /// # Source
    /// Textbook signal processing.
    #[must_use]
    pub fn decimated(&self, every: usize) -> Self {
        let every = every.max(1);
        if every == 1 {
            return self.clone();
        }
        let half = 4 * every as isize;
        let cut = 0.8 / every as f64;
        let weight = |k: isize| {
            let x = k as f64;
            let window = 0.54 + 0.46 * (std::f64::consts::PI * x / (half as f64 + 1.0)).cos();
            let sinc = if k == 0 {
                cut
            } else {
                (std::f64::consts::PI * cut * x).sin() / (std::f64::consts::PI * x)
            };
            window * sinc
        };
        let n = self.t.len() as isize;
        let keep: Vec<isize> = (0..n).step_by(every).collect();
        let thin = |values: &Array1<f64>| {
            keep.iter()
                .map(|&at| {
                    let (mut sum, mut total) = (0.0, 0.0);
                    for k in (at - half).max(0)..=(at + half).min(n - 1) {
                        let w = weight(k - at);
                        sum += w * values[k as usize];
                        total += w;
                    }
                    sum / total
                })
                .collect::<Array1<f64>>()
        };
        let channels = self
            .channels
            .iter()
            .map(|(name, c)| (name.clone(), Channel { values: thin(&c.values), ..c.clone() }))
            .collect();
        let t = keep.iter().map(|k| self.t[*k as usize]).collect();
        Self { t, channels, ..self.clone() }
    }
}
