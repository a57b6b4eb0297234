//! Quantities on a page: in the trade's unit, with the echo in the other unit.

use super::{Bundle, Rich};
use crate::quantity::system::{Dimension, Quantity, Units};
use crate::quantity::{AbsolutePressure, GaugePressure, InUnit, Shown};

impl Rich for InUnit {
    fn rich(&self) -> Bundle {
        Bundle::text(self.to_string())
    }
}

impl Rich for GaugePressure {
    fn rich(&self) -> Bundle {
        Bundle::text(self.amount().echo())
    }
}

impl Rich for AbsolutePressure {
    fn rich(&self) -> Bundle {
        Bundle::text(self.amount().echo())
    }
}

impl<D, U> Rich for Quantity<D, U, f64>
where
    D: Dimension + ?Sized,
    U: Units<f64> + ?Sized,
    Quantity<D, U, f64>: Shown + Copy,
{
    fn rich(&self) -> Bundle {
        Bundle::text((*self).amount().echo())
    }
}

#[cfg(test)]
mod tests {
    use crate::quantity::{bar, gauge, l_per_h};
    use crate::rich::Rich;

    #[test]
    fn quantities_show_themselves_in_the_trades_units() {
        let text = |value: &dyn Rich| value.rich().get("text/plain").map(str::to_owned).unwrap_or_default();
        // 1.4 bar = 20.3 psi: 100 kPa a bar and 6.894757 kPa a psi (definitions).
        assert_eq!(text(&bar(1.4)), "1.400 bar (20.31 psi)");
        assert!(text(&l_per_h(127.0)).starts_with("127.0 L/h (2.117 L/min"));
        assert!(text(&gauge(bar(3.0))).contains("gauge"));
    }
}
