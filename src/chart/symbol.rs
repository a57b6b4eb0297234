//! Hydraulic symbols, drawn after the generic forms of ISO 1219-1 (from memory; simplified).

use super::sheet::{Sheet, c};
use super::style::{INK, PAPER};

/// What a part in a leg is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Symbol {
    /// Pump with electric motor.
    Pump,
    /// Filter.
    Filter,
    /// Strainer before a pump.
    Strainer,
    /// Check valve, opens in flow direction.
    CheckValve,
    /// By-pass pressure regulator.
    Regulator,
    /// Relief valve.
    Relief,
    /// A restriction: orifice, fitting, seat.
    Restriction,
    /// Rigid line.
    Line,
    /// Flexible hose.
    Hose,
    /// Pressure gauge or sensor.
    Gauge,
    /// Damper or accumulator.
    Damper,
    /// Hand or electric shut-off valve.
    ShutOff,
}

impl Symbol {
    /// Its name in words.
    pub fn name(self) -> &'static str {
        match self {
            Symbol::Pump => "pump",
            Symbol::Filter => "filter",
            Symbol::Strainer => "strainer",
            Symbol::CheckValve => "check valve",
            Symbol::Regulator => "regulator",
            Symbol::Relief => "relief valve",
            Symbol::Restriction => "restriction",
            Symbol::Line => "line",
            Symbol::Hose => "hose",
            Symbol::Gauge => "gauge",
            Symbol::Damper => "damper",
            Symbol::ShutOff => "shut-off valve",
        }
    }
}

/// Half the width a symbol takes on its line.
pub(crate) const HALF: f64 = 21.0;

/// Draws a symbol on a horizontal run through `(x, y)`; `way` is 1 for flow to the right, -1 to the left.
pub(crate) fn draw(sheet: &mut Sheet, symbol: Symbol, (x, y): (f64, f64), way: f64) {
    let stroke = format!("stroke=\"{INK}\" stroke-width=\"1.8\" stroke-linejoin=\"round\"");
    let paper = format!("fill=\"{PAPER}\" {stroke}");
    let solid = format!("fill=\"{INK}\" {stroke}");
    let bare = format!("fill=\"none\" {stroke}");
    let thin = format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.3\"");
    let dashed = format!("{thin} stroke-dasharray=\"4 3\"");
    let p = |dx: f64, dy: f64| format!("{} {}", c(x + way * dx), c(y + dy));
    match symbol {
        Symbol::Pump => {
            sheet.circle((x, y), 19.0, &paper);
            sheet.path(&format!("M{}L{}L{}Z", p(19.0, 0.0), p(4.0, -9.0), p(4.0, 9.0)), &solid);
        }
        Symbol::Filter | Symbol::Strainer => {
            sheet.path(
                &format!("M{}L{}L{}L{}Z", p(-HALF, 0.0), p(0.0, -17.0), p(HALF, 0.0), p(0.0, 17.0)),
                &paper,
            );
            sheet.path(&format!("M{}L{}", p(0.0, -17.0), p(0.0, 17.0)), &dashed);
            if symbol == Symbol::Strainer {
                sheet.path(&format!("M{}L{}", p(-6.0, -12.0), p(-6.0, 12.0)), &dashed);
                sheet.path(&format!("M{}L{}", p(6.0, -12.0), p(6.0, 12.0)), &dashed);
            }
        }
        Symbol::CheckValve => {
            sheet.path(
                &format!("M{}L{}", p(-12.0, 0.0), p(14.0, 0.0)),
                &format!("stroke=\"{PAPER}\" stroke-width=\"4\""),
            );
            sheet.path(&format!("M{}L{}L{}", p(6.0, -14.0), p(-12.0, 0.0), p(6.0, 14.0)), &bare);
            sheet.circle((x + way * 1.5, y), 7.5, &paper);
            sheet.path(&format!("M{}L{}", p(9.0, 0.0), p(HALF, 0.0)), &bare);
        }
        Symbol::Regulator | Symbol::Relief => {
            sheet.path(
                &format!("M{}L{}L{}L{}Z", p(-16.0, -16.0), p(16.0, -16.0), p(16.0, 16.0), p(-16.0, 16.0)),
                &paper,
            );
            // Closed at rest: the arrow stands beside the line.
            sheet.path(&format!("M{}L{}", p(-16.0, 6.0), p(10.0, 6.0)), &bare);
            sheet.path(&format!("M{}L{}L{}Z", p(16.0, 6.0), p(7.0, 1.5), p(7.0, 10.5)), &solid);
            // Spring.
            sheet.path(
                &format!(
                    "M{}L{}L{}L{}L{}L{}",
                    p(0.0, -16.0),
                    p(5.0, -19.0),
                    p(-5.0, -23.0),
                    p(5.0, -27.0),
                    p(-5.0, -31.0),
                    p(0.0, -34.0)
                ),
                &thin,
            );
            // Pilot line from the inlet.
            sheet.path(
                &format!("M{}L{}L{}L{}", p(-HALF, 0.0), p(-HALF, 23.0), p(0.0, 23.0), p(0.0, 16.0)),
                &dashed,
            );
        }
        Symbol::Restriction => {
            sheet.path(&format!("M{}Q{} {}", p(-13.0, -14.0), p(0.0, -1.0), p(13.0, -14.0)), &bare);
            sheet.path(&format!("M{}Q{} {}", p(-13.0, 14.0), p(0.0, 1.0), p(13.0, 14.0)), &bare);
        }
        Symbol::Line => {}
        Symbol::Hose => {
            sheet.path(
                &format!("M{}L{}", p(-HALF, 0.0), p(HALF, 0.0)),
                &format!("stroke=\"{PAPER}\" stroke-width=\"4\""),
            );
            sheet.path(
                &format!("M{}Q{} {}T{}", p(-HALF, 0.0), p(-HALF / 2.0, 13.0), p(0.0, 0.0), p(HALF, 0.0)),
                &bare,
            );
        }
        Symbol::Gauge => {
            sheet.path(&format!("M{}L{}", p(0.0, 0.0), p(0.0, -10.0)), &bare);
            sheet.circle((x, y - 22.0), 12.0, &paper);
            sheet.path(&format!("M{}L{}", p(-5.0, -16.0), p(6.0, -29.0)), &bare);
            sheet.circle((x, y), 3.0, &solid);
        }
        Symbol::Damper => {
            sheet.path(&format!("M{}L{}", p(0.0, 0.0), p(0.0, -8.0)), &bare);
            sheet.path(
                &format!(
                    "M{0}V{2}Q{3} {4}V{1}Q{5} {0}Z",
                    p(-9.0, -14.0),
                    c(y - 14.0),
                    c(y - 28.0),
                    p(0.0, -38.0),
                    p(9.0, -28.0),
                    p(0.0, -4.0)
                ),
                &paper,
            );
            sheet.path(&format!("M{}L{}", p(-9.0, -21.0), p(9.0, -21.0)), &bare);
            sheet.circle((x, y), 3.0, &solid);
        }
        Symbol::ShutOff => {
            sheet.path(
                &format!("M{}L{}L{}L{}Z", p(-15.0, -10.0), p(15.0, 10.0), p(15.0, -10.0), p(-15.0, 10.0)),
                &paper,
            );
        }
    }
}
