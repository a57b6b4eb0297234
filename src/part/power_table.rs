//! A power as a table, for any size of its argument.

use super::cubic_table::CubicTable;

/// `x^n` from the binary form of `x`: the power of two from a list, that of the fraction from a table.
///
/// # Formula
/// `x^n = 2^(n e) s^n`, `x = 2^e s`, `1 <= s < 2`
///
/// # Symbols
/// `x` above zero; `n` exponent.
///
/// # Valid range
/// `x` from 2^-32 to 2^32, within 1e-10 of itself for `|n| <= 1`; outside it is computed.
///
/// # Source
/// Laws of powers.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerTable {
    exponent: f64,
    whole: [f64; SPAN],
    fraction: CubicTable,
}

/// Powers of two in the list.
const SPAN: usize = 64;
/// Bits of the fraction in a binary number, IEEE 754.
const FRACTION: u32 = 52;
/// What is added to the power of two there.
const BIAS: u64 = 1023;

impl PowerTable {
    /// For an exponent.
    #[must_use]
    pub fn new(exponent: f64) -> Self {
        let whole = std::array::from_fn(|k| (exponent * (k as f64 - (SPAN / 2) as f64)).exp2());
        let law = |s: f64| (s.powf(exponent), exponent * s.powf(exponent - 1.0));
        Self { exponent, whole, fraction: CubicTable::new(1.0, 2.0, 128, law) }
    }

    /// The power of a number.
    #[must_use]
    #[inline]
    pub fn of(&self, x: f64) -> f64 {
        let bits = x.to_bits();
        // A negative number has the highest bit set and falls out of the list, as all that is too large or small.
        let place = (bits >> FRACTION).wrapping_sub(BIAS - (SPAN / 2) as u64);
        match self.whole.get(place as usize) {
            Some(whole) => {
                let s = f64::from_bits(bits & ((1 << FRACTION) - 1) | BIAS << FRACTION);
                whole * self.fraction.at(s)
            }
            None => x.powf(self.exponent),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::PowerTable;

    #[test]
    fn it_meets_the_power() {
        for n in [0.8, 0.25, -0.55, 1.0] {
            let table = PowerTable::new(n);
            for k in -300..300 {
                let x = (0.0731 * f64::from(k)).exp();
                let (a, b) = (table.of(x), x.powf(n));
                assert!((a / b - 1.0).abs() < 1e-10, "{x}^{n}: {a} {b}");
            }
            for x in [0.0, 1e-30, 1e30, f64::INFINITY] {
                assert_eq!(table.of(x), x.powf(n));
            }
            assert!(table.of(f64::NAN).is_nan());
        }
        assert!(PowerTable::new(0.8).of(-1.0).is_nan());
    }
}
