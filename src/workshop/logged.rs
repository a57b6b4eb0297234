//! What a logger makes of a run in time.

use super::measure::Time;
use super::run::{axis, title};
use super::{Transient, stop};
use crate::chart::{Series, Trace};
use crate::quantity::{Amount, Shown};

impl Transient {
    /// Times at which a logger reads, and what it reads, SI.
    fn readings(&self, name: &str, every: Time) -> (Vec<f64>, Vec<Amount>) {
        let every = every.amount().si;
        let last = self.solution().t.iter().copied().fold(0.0, f64::max);
        if !(every > 0.0 && every <= last) {
            stop(format!(
                "a logger that reads every {} s sees nothing of a run of {last:.3} s\n  give a time between",
                every
            ))
        }
        let times: Vec<f64> = (0..=(last / every) as u32).map(|k| every * f64::from(k)).collect();
        let values = times.iter().map(|t| self.at(name, super::measure::s(*t))).collect();
        (times, values)
    }

    /// Lowest value that a logger writes down which reads once in each interval.
    #[must_use]
    pub fn lowest_logged(&self, name: &str, every: Time) -> Amount {
        let (_, v) = self.readings(name, every);
        v.iter().copied().fold(v[0], |low, x| if x.si < low.si { x } else { low })
    }
}

/// A channel as it is, and as a logger writes it down which reads once in each interval.
#[must_use]
pub fn beside_the_log(run: &Transient, channel: &str, every: Time) -> Trace {
    let (times, values) = run.readings(channel, every);
    let kind = values[0];
    let logged = Series::new(
        format!("logged every {}", every.amount()),
        times,
        values.into_iter().map(super::run::shown).collect::<Vec<f64>>(),
    );
    let truth = Series { label: "as it is".to_owned(), ..run.series(channel) };
    Trace::over_time(&format!("{}: what a log keeps", title(channel)))
        .subtitle(run.name())
        .channel(axis(channel, kind), [truth])
        .taller(2.0)
        .readings(logged)
}
