//! A finished figure and the ways it shows itself.

use super::sheet::escape;
use super::table::Table;
use std::fmt::Write;

/// A finished figure: picture, words and numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Title, as printed and as read out.
    pub title: String,
    /// What the picture shows, in words, for whoever cannot see it.
    pub description: String,
    /// The numbers drawn.
    pub table: Table,
    /// What the reader has to know: values left out, labels that found no room.
    pub notes: Vec<String>,
    pub(crate) picture: String,
}

impl Figure {
    /// The picture as SVG, with title and description.
    pub fn svg(&self) -> String {
        self.picture.clone()
    }

    /// The picture, its notes, and the numbers behind it, closed until asked for.
    pub fn html(&self) -> String {
        let mut out = String::from("<figure class=\"railrise-figure\" style=\"margin:0.5em 0\">");
        out.push_str(&self.picture);
        if !self.notes.is_empty() {
            out.push_str("<figcaption><ul>");
            for note in &self.notes {
                let _ = write!(out, "<li>{}</li>", escape(note));
            }
            out.push_str("</ul></figcaption>");
        }
        let _ = write!(
            out,
            "<details><summary>the numbers of this figure</summary>{}</details></figure>",
            self.table.html()
        );
        out
    }

    /// Title, description, notes and a short table, for a terminal.
    pub fn plain(&self) -> String {
        let mut out = format!("{}\n", self.title);
        let _ = writeln!(out, "{}", self.description);
        for note in &self.notes {
            let _ = writeln!(out, "Note: {note}");
        }
        out.push('\n');
        out.push_str(&self.table.plain(24));
        out
    }

    /// The numbers as an HTML table.
    pub fn table(&self) -> String {
        self.table.html()
    }

    /// The numbers as comma-separated values, all of them.
    pub fn csv(&self) -> String {
        self.table.csv()
    }
}

/// Anything that can be drawn as one figure.
pub trait Chart {
    /// Draws it.
    fn figure(&self) -> Figure;

    /// The picture as SVG.
    fn svg(&self) -> String {
        self.figure().svg()
    }

    /// Picture, notes and numbers as HTML.
    fn html(&self) -> String {
        self.figure().html()
    }

    /// Words and numbers for a terminal.
    fn plain(&self) -> String {
        self.figure().plain()
    }

    /// The numbers as an HTML table.
    fn table(&self) -> String {
        self.figure().table()
    }

    /// The numbers as comma-separated values.
    fn csv(&self) -> String {
        self.figure().csv()
    }
}

impl Chart for Figure {
    fn figure(&self) -> Figure {
        self.clone()
    }
}
