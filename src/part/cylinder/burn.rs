//! How the charge burns with crank angle.

use crate::part::cubic_table::CubicTable;

/// Burned fraction by the Wiebe function.
///
/// # Formula
/// `x_b = 1 - exp(-a ((θ - θ_0)/Δθ)^(m+1))`
///
/// # Symbols
/// `θ_0` start of burning and `Δθ` duration, rad; `a` completeness (5: 99.3 % at the end, 6.908: 99.9 %); `m` shape.
///
/// # Valid range
/// `Δθ > 0`, `a > 0`, `m > -1`; nothing burned before `θ_0`; after `θ_0 + Δθ` the tail is cut, so `exp(-a)` of the
/// charge stays unburned.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), section 9.2: `a` = 5, `m` = 2 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wiebe {
    /// Start of burning after firing top dead centre, rad.
    pub start: f64,
    /// Duration, rad.
    pub duration: f64,
    /// Completeness.
    pub a: f64,
    /// Shape.
    pub m: f64,
}

impl Wiebe {
    /// Burned fraction at a crank angle, rad.
    #[must_use]
    pub fn burned(&self, theta: f64) -> f64 {
        let x = ((theta - self.start) / self.duration).clamp(0.0, 1.0);
        -(-self.a * x.powf(self.m + 1.0)).exp_m1()
    }

    /// Rate of burning, 1/rad, at a crank angle, rad.
    #[must_use]
    pub fn rate(&self, theta: f64) -> f64 {
        let x = (theta - self.start) / self.duration;
        if !(0.0..=1.0).contains(&x) {
            return 0.0;
        }
        let power = x.powf(self.m);
        self.a * (self.m + 1.0) / self.duration * power * (-self.a * power * x).exp()
    }

    /// [`Wiebe::rate`] over the part of the duration that has passed, as a table within 1e-7 of its greatest value; none
    /// where the law has no powers that a cubic follows (an `m` that is not 1, 2, 3 ...).
    #[must_use]
    pub fn table(&self) -> Option<CubicTable> {
        let (a, n, over) = (self.a, self.m + 1.0, 1.0 / self.duration);
        let law = |x: f64| {
            let (power, left) = (x.powf(self.m), (-a * x.powf(n)).exp());
            let slope = self.m * x.powf(self.m - 1.0) - a * n * power * power;
            (a * n * over * power * left, a * n * over * slope * left)
        };
        (self.m >= 1.0 && self.m.fract() == 0.0).then(|| CubicTable::new(0.0, 1.0, 256, law))
    }

    /// Crank angle, rad, at which a fraction below `1 - exp(-a)` is burned.
    #[must_use]
    pub fn angle_at(&self, fraction: f64) -> f64 {
        let x = (-(-fraction).ln_1p() / self.a).powf(1.0 / (self.m + 1.0));
        self.start + self.duration * x
    }
}

#[cfg(test)]
mod tests {
    use super::Wiebe;

    #[test]
    fn the_table_of_burning_meets_the_law() {
        let w = |m: f64| Wiebe { start: 0.2, duration: 0.9, a: 5.0, m };
        for m in [1.0, 2.0, 3.0] {
            let (w, table) = (w(m), w(m).table().expect("whole powers"));
            for k in 0..=1000 {
                let x = 1e-3 * f64::from(k);
                // The end itself may round to past it.
                let (a, b) = (
                    table.at(x),
                    w.rate((w.start + x * w.duration).min(w.start + w.duration * (1.0 - 1e-15))),
                );
                assert!((a - b).abs() < 1e-7 * 2.5 / w.duration, "{m} {x}: {a} {b}");
            }
        }
        assert!(w(1.5).table().is_none());
    }
}
