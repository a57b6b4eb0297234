//! A root between two ends of unlike sign.
//!
//! # Formula
//! Regula falsi whose standing end counts half as much each time (Illinois); every third time the middle, so that a
//! kink or an end without a number cannot hold it up.
//!
//! Source: M. Dowell, P. Jarratt, "A modified regula falsi method for computing the root of an equation", BIT 11 (1971)
//! 168-174 (from memory).

/// Two ends, and what was found there.
pub(super) struct Chord {
    pub low: f64,
    pub high: f64,
    at_low: f64,
    at_high: f64,
    rounds: usize,
}

impl Chord {
    pub fn between((low, at_low): (f64, f64), (high, at_high): (f64, f64)) -> Self {
        Self { low, high, at_low, at_high, rounds: 0 }
    }

    /// Where to look next.
    pub fn next(&mut self) -> f64 {
        self.rounds += 1;
        let x = (self.low * self.at_high - self.high * self.at_low) / (self.at_high - self.at_low);
        if self.rounds.is_multiple_of(3) || !(x > self.low && x < self.high) {
            return 0.5 * (self.low + self.high);
        }
        x
    }

    /// Narrows by what was found there.
    pub fn saw(&mut self, x: f64, f: f64) {
        if (f > 0.0) == (self.at_low > 0.0) {
            (self.low, self.at_low) = (x, f);
            self.at_high *= 0.5;
        } else {
            (self.high, self.at_high) = (x, f);
            self.at_low *= 0.5;
        }
    }
}
