//! Figures in a notebook and in a terminal.

use super::*;
use crate::rich::{Bundle, Rich};
use std::fmt;

macro_rules! shown {
    ($($figure:ty),+ $(,)?) => {
        $(
            // The picture is part of the HTML: giving it twice would double every notebook.
            impl Rich for $figure {
                fn rich(&self) -> Bundle {
                    let figure = self.figure();
                    Bundle::text(figure.plain()).html(figure.html())
                }
            }

            impl fmt::Display for $figure {
                fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    f.write_str(&self.plain())
                }
            }
        )+
    };
}

shown!(
    Bands,
    Crossing,
    Figure,
    GaugeFace,
    Histogram,
    InjectionWindow,
    Ladder,
    Map,
    Overlay,
    PassMatrix,
    PumpCurves,
    Schematic,
    Sweep,
    Tornado,
    Trace,
);

impl Rich for Explorable {
    fn rich(&self) -> Bundle {
        Bundle::text(self.plain()).html(self.html())
    }
}
