//! Options against criteria: what passes, what fails, what nobody knows.

use super::figure::{Chart, Figure};
use super::sheet::{Pen, Rect, Sheet, c};
use super::stack::heading;
use super::style::*;
use super::table::{Cell, Table};

/// How an option does on a criterion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Meets it.
    Pass,
    /// Meets it with little to spare.
    Warn,
    /// Does not meet it.
    Fail,
    /// Cannot be told from what is known: measure.
    Unknown,
}

impl Verdict {
    fn word(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Warn => "warn",
            Verdict::Fail => "fail",
            Verdict::Unknown => "unknown",
        }
    }

    fn colours(self) -> (Colour, Colour) {
        match self {
            Verdict::Pass => (PASS_GROUND, PASS),
            Verdict::Warn => (WARN_GROUND, WARN),
            Verdict::Fail => (FAIL_GROUND, FAIL),
            Verdict::Unknown => ("#eef0f3", SOFT),
        }
    }
}

/// A matrix of options (rows) and criteria (columns).
///
/// Each cell carries a sign (tick, exclamation mark, cross, question mark), a word in the table, and the
/// value that led to the verdict; colour only repeats them. The verdict is given, not computed. Cells an
/// option does not give are `Unknown`.
#[derive(Clone, Debug)]
pub struct PassMatrix {
    title: String,
    subtitle: String,
    criteria: Vec<String>,
    options: Vec<(String, Vec<(Verdict, String)>)>,
}

impl PassMatrix {
    /// An empty matrix with its criteria; name units in them: `duty [%]`.
    pub fn new<S: Into<String>>(title: &str, criteria: impl IntoIterator<Item = S>) -> PassMatrix {
        PassMatrix {
            title: title.to_string(),
            subtitle: String::new(),
            criteria: criteria.into_iter().map(Into::into).collect(),
            options: Vec::new(),
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> PassMatrix {
        self.subtitle = text.to_string();
        self
    }

    /// Adds an option with a verdict and a value for each criterion, in their order.
    pub fn option<'a>(
        mut self,
        name: &str,
        cells: impl IntoIterator<Item = (Verdict, &'a str)>,
    ) -> PassMatrix {
        let mut cells: Vec<(Verdict, String)> =
            cells.into_iter().map(|(v, text)| (v, text.to_string())).collect();
        cells.resize(self.criteria.len(), (Verdict::Unknown, String::new()));
        self.options.push((name.to_string(), cells));
        self
    }
}

impl Chart for PassMatrix {
    fn figure(&self) -> Figure {
        let mut parts =
            vec![format!("{} options against {} criteria.", self.options.len(), self.criteria.len())];
        for (name, cells) in &self.options {
            let list = |wanted: Verdict| {
                let hit: Vec<&str> = cells
                    .iter()
                    .zip(&self.criteria)
                    .filter(|((verdict, _), _)| *verdict == wanted)
                    .map(|(_, criterion)| criterion.as_str())
                    .collect();
                (!hit.is_empty()).then(|| format!("{}: {}", wanted.word(), hit.join(", ")))
            };
            let found: Vec<String> =
                [Verdict::Fail, Verdict::Warn, Verdict::Unknown].into_iter().filter_map(list).collect();
            parts.push(if found.is_empty() {
                format!("{name} passes all.")
            } else {
                format!("{name} \u{2013} {}.", found.join("; "))
            });
        }
        let description = parts.join(" ");
        let mut table =
            Table::new(std::iter::once("option".to_string()).chain(self.criteria.iter().cloned()));
        for (name, cells) in &self.options {
            table.row(std::iter::once(Cell::from(name.as_str())).chain(
                cells.iter().map(|(verdict, text)| {
                    Cell::from(format!("{} {text}", verdict.word()).trim().to_string())
                }),
            ));
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(&description),
            description,
            table,
            notes: Vec::new(),
        }
    }
}

impl PassMatrix {
    fn picture(&self, description: &str) -> String {
        let line = LABEL * LEADING;
        let names: Vec<Vec<String>> =
            self.options.iter().map(|(n, _)| wrap(n, LABEL, false, 190.0, 3)).collect();
        let left = names.iter().flatten().map(|l| text_width(l, LABEL, false)).fold(60.0, f64::max) + 26.0;
        let count = self.criteria.len().max(1) as f64;
        let longest = self
            .criteria
            .iter()
            .flat_map(|text| text.split(' '))
            .map(|word| text_width(word, TICK, true))
            .fold(0.0, f64::max);
        let each = ((WIDTH - left - 12.0) / count).max(longest + 10.0).clamp(88.0, 150.0);
        let mut sheet = Sheet::new((left + each * count + 12.0).max(500.0));
        let top = heading(&mut sheet, &self.title, &self.subtitle) + 6.0;
        let heads: Vec<Vec<String>> =
            self.criteria.iter().map(|t| wrap(t, TICK, true, each - 8.0, 4)).collect();
        let deep = heads.iter().map(Vec::len).max().unwrap_or(0) as f64 * TICK * LEADING;
        for (number, lines) in heads.iter().enumerate() {
            let x = left + each * (number as f64 + 0.5);
            for (row, text) in lines.iter().enumerate() {
                let y = top + deep - (lines.len() - row) as f64 * TICK * LEADING + TICK;
                sheet.text(x, y, Pen::new(TICK).bold().middle(), text);
            }
        }
        let mut y = top + deep + 8.0;
        for ((_, cells), name) in self.options.iter().zip(&names) {
            let values: Vec<Vec<String>> =
                cells.iter().map(|(_, t)| wrap(t, TICK, false, each - 12.0, 2)).collect();
            let most = values.iter().map(Vec::len).max().unwrap_or(0) as f64;
            let height = (30.0 + most * TICK * LEADING).max(name.len() as f64 * line + 12.0);
            let first = y + height / 2.0 - name.len() as f64 * line / 2.0 + LABEL * 0.94;
            for (row, text) in name.iter().enumerate() {
                sheet.text(12.0, first + row as f64 * line, Pen::new(LABEL), text);
            }
            for (number, (verdict, _)) in cells.iter().enumerate() {
                let x = left + each * number as f64;
                let (ground, ink) = verdict.colours();
                let area = Rect::new(x + 2.0, y + 2.0, x + each - 2.0, y + height - 2.0);
                let edge = if *verdict == Verdict::Fail { 2.0 } else { 0.8 };
                sheet.rect(
                    area,
                    &format!("fill=\"{ground}\" stroke=\"{ink}\" stroke-width=\"{edge}\" rx=\"4\""),
                );
                sign(&mut sheet, *verdict, (x + each / 2.0, y + 16.0));
                for (row, text) in values[number].iter().enumerate() {
                    let at = y + 28.0 + TICK + row as f64 * TICK * LEADING - 2.0;
                    sheet.text(x + each / 2.0, at, Pen::new(TICK).middle(), text);
                }
            }
            y += height;
        }
        y += 8.0;
        // The key wraps: it has to fit a narrow matrix too.
        let mut x = 24.0;
        y += 12.0;
        for verdict in [Verdict::Pass, Verdict::Warn, Verdict::Fail, Verdict::Unknown] {
            let meaning = match verdict {
                Verdict::Pass => "passes",
                Verdict::Warn => "little to spare",
                Verdict::Fail => "fails",
                Verdict::Unknown => "cannot be told yet",
            };
            sign(&mut sheet, verdict, (x, y));
            sheet.text(x + 14.0, y + 0.36 * NOTE, Pen::new(NOTE).colour(SOFT), meaning);
            x += text_width(meaning, NOTE, false) + 40.0;
        }
        sheet.finish(y + 18.0, &self.title, description)
    }
}

/// The sign of a verdict, drawn: no font has to have it.
fn sign(sheet: &mut Sheet, verdict: Verdict, (x, y): (f64, f64)) {
    let ink = verdict.colours().1;
    let stroke = format!(
        "fill=\"none\" stroke=\"{ink}\" stroke-width=\"2.6\" stroke-linecap=\"round\" stroke-linejoin=\"round\""
    );
    let p = |dx: f64, dy: f64| format!("{} {}", c(x + dx), c(y + dy));
    match verdict {
        Verdict::Pass => sheet.path(&format!("M{}L{}L{}", p(-6.5, 0.5), p(-2.0, 5.5), p(7.0, -5.5)), &stroke),
        Verdict::Fail => sheet
            .path(&format!("M{}L{}M{}L{}", p(-5.5, -5.5), p(5.5, 5.5), p(-5.5, 5.5), p(5.5, -5.5)), &stroke),
        Verdict::Warn => {
            sheet.path(
                &format!("M{}L{}L{}Z", p(0.0, -7.5), p(8.0, 6.5), p(-8.0, 6.5)),
                &stroke.replace("2.6", "1.6"),
            );
            sheet.path(
                &format!("M{}L{}M{}L{}", p(0.0, -3.0), p(0.0, 1.4), p(0.0, 4.2), p(0.0, 4.3)),
                &stroke.replace("2.6", "2"),
            );
        }
        Verdict::Unknown => {
            sheet.path(
                &format!(
                    "M{}C{} {} {}S{} {}M{}L{}",
                    p(-4.0, -3.5),
                    p(-3.6, -8.4),
                    p(4.6, -8.4),
                    p(4.2, -3.2),
                    p(0.0, -1.2),
                    p(0.0, 2.2),
                    p(0.0, 6.4),
                    p(0.0, 6.5)
                ),
                &stroke.replace("2.6", "2.2"),
            );
        }
    }
}
