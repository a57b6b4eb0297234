//! A table that reads well in a terminal, in Markdown and on a page.

use serde::Serialize;
use std::fmt;

/// Rows under headings, with a title and notes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Table {
    /// What it shows.
    pub title: String,
    /// The headings.
    pub columns: Vec<String>,
    /// The cells; a row of one cell is a heading inside the table.
    pub rows: Vec<Vec<String>>,
    /// What a reader should know beside it.
    pub notes: Vec<String>,
}

/// A cell up to this many characters stays on one line.
const SHORT: usize = 24;

impl Table {
    /// An empty table.
    #[must_use]
    pub fn new(title: impl Into<String>, columns: &[&str]) -> Self {
        Self {
            title: title.into(),
            columns: columns.iter().map(|c| (*c).to_owned()).collect(),
            rows: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// Adds a row.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Adds a heading inside the table.
    pub fn heading(&mut self, text: &str) {
        self.rows.push(vec![text.to_owned()]);
    }

    /// Adds a note.
    pub fn note(&mut self, text: impl Into<String>) {
        self.notes.push(text.into());
    }

    /// Whether a column holds words, which are read from the left; numbers are compared from the right.
    fn in_words(&self, column: usize) -> bool {
        let number = |c: &str| {
            c.chars().count() <= SHORT
                && c.starts_with(|c: char| c.is_ascii_digit() || "+-−±<>≤≥".contains(c))
        };
        let cells = || self.rows.iter().filter(|r| r.len() > 1).filter_map(|r| r.get(column));
        let filled = cells().filter(|c| !c.is_empty()).count();
        column == 0 || 2 * cells().filter(|c| number(c)).count() < filled
    }

    /// As HTML; the text is escaped.
    #[must_use]
    pub fn html(&self) -> String {
        let esc = |s: &str| s.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let n = self.columns.len();
        let mut out = String::from("<table class=\"rr-table\">");
        if !self.title.is_empty() {
            out.push_str(&format!("<caption>{}</caption>", esc(&self.title)));
        }
        out.push_str("<thead><tr>");
        let sides: Vec<&str> = (0..n).map(|i| if self.in_words(i) { "left" } else { "right" }).collect();
        for (c, side) in self.columns.iter().zip(&sides) {
            out.push_str(&format!("<th scope=\"col\" style=\"text-align:{side}\">{}</th>", esc(c)));
        }
        out.push_str("</tr></thead><tbody>");
        for r in &self.rows {
            if r.len() == 1 && n > 1 {
                out.push_str(&format!(
                    "<tr><th scope=\"rowgroup\" colspan=\"{n}\" style=\"text-align:left\">{}</th></tr>",
                    esc(&r[0])
                ));
                continue;
            }
            out.push_str("<tr>");
            for (i, c) in r.iter().enumerate() {
                let tag = if i == 0 { "th scope=\"row\"" } else { "td" };
                let side = sides.get(i).copied().unwrap_or("right");
                // A number is not parted from its unit.
                let hold = if c.chars().count() <= SHORT { ";white-space:nowrap" } else { "" };
                out.push_str(&format!(
                    "<{tag} style=\"text-align:{side};font-weight:normal{hold}\">{}</{}>",
                    esc(c),
                    &tag[..2]
                ));
            }
            out.push_str("</tr>");
        }
        out.push_str("</tbody></table>");
        for note in &self.notes {
            out.push_str(&format!("<p>{}</p>", esc(note)));
        }
        out
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let n = self.columns.len();
        let mut width: Vec<usize> = self.columns.iter().map(|c| c.chars().count()).collect();
        for r in self.rows.iter().filter(|r| r.len() == n) {
            for (w, c) in width.iter_mut().zip(r) {
                *w = (*w).max(c.chars().count());
            }
        }
        let words: Vec<bool> = (0..n).map(|i| self.in_words(i)).collect();
        let line = |cells: &[String]| {
            let mut out = String::new();
            for (i, (c, w)) in cells.iter().zip(&width).enumerate() {
                let pad = " ".repeat(w - c.chars().count());
                if words[i] {
                    out.push_str(&format!("{c}{pad}  "));
                } else {
                    out.push_str(&format!("{pad}{c}  "));
                }
            }
            out.trim_end().to_owned()
        };
        if !self.title.is_empty() {
            writeln!(f, "{}", self.title)?;
        }
        writeln!(f, "{}", line(&self.columns))?;
        writeln!(f, "{}", "-".repeat(width.iter().sum::<usize>() + 2 * (n - 1)))?;
        for r in &self.rows {
            if r.len() == 1 && n > 1 {
                writeln!(f, "{}", r[0])?;
            } else {
                writeln!(f, "{}", line(r))?;
            }
        }
        for note in &self.notes {
            writeln!(f, "{note}")?;
        }
        Ok(())
    }
}
