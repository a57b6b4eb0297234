//! The numbers behind a figure.

use super::data::Series;
use super::scale::figures;
use super::sheet::escape;
use std::fmt::Write;

/// One cell of a table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// A number; not a number is written as an empty cell.
    Number(f64),
    /// Words.
    Text(String),
    /// Nothing.
    Empty,
}

impl From<f64> for Cell {
    fn from(value: f64) -> Cell {
        Cell::Number(value)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        Cell::Text(text.to_string())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Text(text)
    }
}

impl Cell {
    fn short(&self) -> String {
        match self {
            Cell::Number(value) if value.is_nan() => String::new(),
            Cell::Number(value) => figures(*value, 5),
            Cell::Text(text) => text.clone(),
            Cell::Empty => String::new(),
        }
    }

    fn exact(&self) -> String {
        match self {
            Cell::Number(value) if value.is_nan() => String::new(),
            Cell::Number(value) => format!("{value}"),
            Cell::Text(text) => text.clone(),
            Cell::Empty => String::new(),
        }
    }
}

/// A table: headings with units, and rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Column headings, units in square brackets.
    pub headings: Vec<String>,
    /// Rows, each as long as the headings.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// An empty table with these headings.
    pub fn new<S: Into<String>>(headings: impl IntoIterator<Item = S>) -> Table {
        Table { headings: headings.into_iter().map(Into::into).collect(), rows: Vec::new() }
    }

    /// Adds a row; cells that are missing stay empty, cells that are over are dropped.
    pub fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        let mut row: Vec<Cell> = cells.into_iter().collect();
        row.resize(self.headings.len(), Cell::Empty);
        self.rows.push(row);
    }

    /// Series side by side over their common abscissae.
    pub(crate) fn of_series<'a>(
        x_title: &str,
        series: impl IntoIterator<Item = (String, &'a Series)>,
    ) -> Table {
        let series: Vec<(String, &Series)> = series.into_iter().collect();
        let mut table = Table::new(
            std::iter::once(x_title.to_string()).chain(series.iter().map(|(name, _)| name.clone())),
        );
        let same = series.windows(2).all(|pair| pair[0].1.x == pair[1].1.x);
        if same {
            let rows = series.first().map_or(0, |(_, first)| first.x.len());
            for row in 0..rows {
                let x = series[0].1.x[row];
                table.row(
                    std::iter::once(Cell::Number(x))
                        .chain(series.iter().map(|(_, s)| Cell::Number(s.y[row]))),
                );
            }
            return table;
        }
        // Abscissae differ: one row for each, blanks where a series has no point.
        let mut cells: Vec<(f64, usize, f64)> = Vec::new();
        for (column, (_, s)) in series.iter().enumerate() {
            cells.extend(s.x.iter().zip(&s.y).map(|(&x, &y)| (x, column, y)));
        }
        cells.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut open: Option<(f64, Vec<Cell>)> = None;
        for (x, column, y) in cells {
            let fits = open
                .as_ref()
                .is_some_and(|(at, row)| at.total_cmp(&x).is_eq() && row[column + 1] == Cell::Empty);
            if !fits {
                if let Some((_, row)) = open.take() {
                    table.row(row);
                }
                let mut row = vec![Cell::Empty; series.len() + 1];
                row[0] = Cell::Number(x);
                open = Some((x, row));
            }
            if let Some((_, row)) = &mut open {
                row[column + 1] = Cell::Number(y);
            }
        }
        if let Some((_, row)) = open {
            table.row(row);
        }
        table
    }

    /// The rows that a short view shows: evenly thinned to at most `most`, first and last kept.
    fn thinned(&self, most: usize) -> Vec<usize> {
        let rows = self.rows.len();
        if rows <= most || most < 2 {
            return (0..rows).collect();
        }
        (0..most).map(|i| i * (rows - 1) / (most - 1)).collect()
    }

    /// As HTML, numbers to five figures, thinned to at most 120 rows (a line says so).
    pub fn html(&self) -> String {
        let shown = self.thinned(120);
        let mut out = String::from("<table><thead><tr>");
        for heading in &self.headings {
            let _ = write!(out, "<th scope=\"col\">{}</th>", escape(heading));
        }
        out.push_str("</tr></thead><tbody>");
        for &row in &shown {
            out.push_str("<tr>");
            for cell in &self.rows[row] {
                let _ = write!(out, "<td>{}</td>", escape(&cell.short()));
            }
            out.push_str("</tr>");
        }
        out.push_str("</tbody></table>");
        if shown.len() < self.rows.len() {
            let _ = write!(
                out,
                "<p>{} of {} rows, evenly spaced: what swings from row to row of the whole is not seen in them. \
                 <code>csv()</code> gives all.</p>",
                shown.len(),
                self.rows.len()
            );
        }
        out
    }

    /// As comma-separated values (RFC 4180), every row and every digit.
    pub fn csv(&self) -> String {
        let quoted = |text: String| {
            if text.contains([',', '"', '\n', '\r']) {
                format!("\"{}\"", text.replace('"', "\"\""))
            } else {
                text
            }
        };
        let mut out = String::new();
        let line = |cells: Vec<String>, out: &mut String| {
            out.push_str(&cells.join(","));
            out.push_str("\r\n");
        };
        line(self.headings.iter().cloned().map(quoted).collect(), &mut out);
        for row in &self.rows {
            line(row.iter().map(|c| quoted(c.exact())).collect(), &mut out);
        }
        out
    }

    /// As aligned text, thinned to at most `most` rows (a line says so).
    pub fn plain(&self, most: usize) -> String {
        let shown = self.thinned(most);
        let body: Vec<Vec<String>> =
            shown.iter().map(|&row| self.rows[row].iter().map(Cell::short).collect()).collect();
        let numeric = |column: usize| self.rows.iter().all(|row| !matches!(row[column], Cell::Text(_)));
        let widths: Vec<usize> = self
            .headings
            .iter()
            .enumerate()
            .map(|(column, heading)| {
                body.iter()
                    .map(|row| row[column].chars().count())
                    .chain([heading.chars().count()])
                    .max()
                    .unwrap_or(0)
            })
            .collect();
        let mut out = String::new();
        let mut line = |cells: &[String]| {
            let text: Vec<String> = cells
                .iter()
                .enumerate()
                .map(|(column, cell)| {
                    let width = widths[column];
                    if numeric(column) { format!("{cell:>width$}") } else { format!("{cell:<width$}") }
                })
                .collect();
            out.push_str(text.join("  ").trim_end());
            out.push('\n');
        };
        line(&self.headings);
        line(&widths.iter().map(|w| "-".repeat(*w)).collect::<Vec<_>>());
        for row in &body {
            line(row);
        }
        if shown.len() < self.rows.len() {
            let _ = writeln!(out, "({} of {} rows)", shown.len(), self.rows.len());
        }
        out
    }
}
