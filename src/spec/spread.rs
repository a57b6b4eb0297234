//! A stated spread follows the value it belongs to.

use super::distribution::Distribution;

/// The same law around a nominal value that moved from `old` to `new`: shifted, and for a lognormal law scaled.
#[must_use]
pub fn moved(law: &Distribution, old: f64, new: f64) -> Distribution {
    use Distribution as D;
    let d = new - old;
    let mut law = law.clone();
    match &mut law {
        D::Fixed { value } => *value += d,
        D::Normal { mean, .. } => *mean += d,
        D::TruncatedNormal { mean, low, high, .. } => {
            *mean += d;
            *low += d;
            *high += d;
        }
        D::Uniform { low, high } | D::Arcsine { low, high } | D::CurvilinearTrapezoid { low, high, .. } => {
            *low += d;
            *high += d;
        }
        D::Triangular { low, mode, high } => {
            *low += d;
            *mode += d;
            *high += d;
        }
        D::Lognormal { median, .. } => {
            if old > 0.0 && new > 0.0 {
                *median *= new / old;
            }
        }
        D::Discrete { values, .. } | D::Empirical { values } => values.iter_mut().for_each(|v| *v += d),
        D::StudentT { location, .. } => *location += d,
    }
    law
}
