//! Worked explanations: formula, the same formula with the numbers of the run, result, source.
//!
//! A [`Working`] is a short list of [`Step`]s. Each step's formula is written once for the eye (TeX) and
//! once for the hand (plain text); the numbers stand in the units that the formula is valid in, so that a
//! reader can redo every line on a calculator.

mod point;
mod sheet;
mod supply;
mod table;

pub use point::{explain, explainable};
pub use sheet::{PULL_CAUTION, checks, json, margin_words, readings, reserve_words, verdict_word};
pub use table::Table;

use crate::quantity::round_plainly;
use serde::Serialize;
use std::fmt;

/// A number in a formula.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Term {
    /// Its place in the formula.
    pub key: &'static str,
    /// Its symbol in TeX.
    pub tex: &'static str,
    /// Its symbol in plain text.
    pub text: &'static str,
    /// The number in this unit.
    pub number: f64,
    /// The unit; empty for a pure number.
    pub unit: &'static str,
    /// What it is.
    pub meaning: &'static str,
}

/// One line of a working.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What is worked out.
    pub name: &'static str,
    /// Its symbol in TeX.
    pub tex: &'static str,
    /// Its symbol in plain text.
    pub text: &'static str,
    /// The formula in TeX, `<key>` for each term.
    pub formula_tex: &'static str,
    /// The formula in plain text, `<key>` for each term.
    pub formula: &'static str,
    /// The numbers.
    pub terms: Vec<Term>,
    /// The result in this unit.
    pub number: f64,
    /// The unit of the result.
    pub unit: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    /// A word on what the line shows.
    pub remark: Option<String>,
}

/// How a result comes about, line by line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Working {
    /// What is explained.
    pub title: String,
    /// The lines, each using those above it.
    pub steps: Vec<Step>,
}

/// Significant digits of the numbers in a working: enough that the next line follows from them.
const DIGITS: usize = 5;

fn number(x: f64) -> String {
    round_plainly(x, DIGITS)
}

fn tex_number(x: f64, unit: &str) -> String {
    let plain = number(x).replace('−', "-");
    let n = match plain.split_once('e') {
        Some((m, e)) => format!("{m}\\times 10^{{{e}}}"),
        None => plain,
    };
    let n = if n.starts_with('-') { format!("({n})") } else { n };
    if unit.is_empty() {
        n
    } else {
        format!(
            "{n}\\,\\mathrm{{{}}}",
            unit.replace('·', "\\,")
                .replace('³', "^3")
                .replace('²', "^2")
                .replace('°', "^\\circ ")
                .replace('%', "\\%")
        )
    }
}

fn fill(template: &str, terms: &[Term], with: impl Fn(&Term) -> String) -> String {
    let mut out = template.to_owned();
    for t in terms {
        out = out.replace(&format!("<{}>", t.key), &with(t));
    }
    out
}

impl Step {
    /// The formula in plain text with symbols.
    #[must_use]
    pub fn with_symbols(&self) -> String {
        fill(self.formula, &self.terms, |t| t.text.to_owned())
    }

    /// The formula in plain text with the numbers, ready for a calculator.
    #[must_use]
    pub fn with_numbers(&self) -> String {
        fill(self.formula, &self.terms, |t| number(t.number).replace('−', "-"))
    }

    /// The formula in TeX with symbols.
    #[must_use]
    pub fn tex_with_symbols(&self) -> String {
        fill(self.formula_tex, &self.terms, |t| t.tex.to_owned())
    }

    /// The formula in TeX with numbers and units.
    #[must_use]
    pub fn tex_with_numbers(&self) -> String {
        fill(self.formula_tex, &self.terms, |t| tex_number(t.number, t.unit))
    }

    /// The result with its unit.
    #[must_use]
    pub fn result(&self) -> String {
        let n = number(self.number);
        if self.unit.is_empty() { n } else { format!("{n} {}", self.unit) }
    }
}

impl Working {
    /// As Markdown with TeX maths: what a notebook and an exported page show.
    #[must_use]
    pub fn markdown(&self) -> String {
        let mut out = format!("**{}**\n\n", self.title);
        for (i, s) in self.steps.iter().enumerate() {
            out.push_str(&format!("{}. {}\n\n", i + 1, s.name));
            out.push_str(&format!(
                "$$\\begin{{aligned}} {} &= {} \\\\ &= {} \\\\ &= {} \\end{{aligned}}$$\n\n",
                s.tex,
                s.tex_with_symbols(),
                s.tex_with_numbers(),
                tex_number(s.number, s.unit)
            ));
            if let Some(r) = &s.remark {
                out.push_str(&format!("{r}\n\n"));
            }
            out.push_str(&format!("*{}. Source: {}.*\n\n", self.meanings(s), s.source));
        }
        out
    }

    fn meanings(&self, s: &Step) -> String {
        s.terms.iter().map(|t| format!("${}$ {}", t.tex, t.meaning)).collect::<Vec<_>>().join("; ")
    }

    /// The number that the last line arrives at, in its unit.
    #[must_use]
    pub fn number(&self) -> f64 {
        self.steps.last().map_or(f64::NAN, |s| s.number)
    }
}

impl fmt::Display for Working {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.title)?;
        for (i, s) in self.steps.iter().enumerate() {
            writeln!(f, "{:>2}. {}", i + 1, s.name)?;
            writeln!(f, "      {} = {}", s.text, s.with_symbols())?;
            writeln!(f, "      {:w$} = {}", "", s.with_numbers(), w = s.text.chars().count())?;
            writeln!(f, "      {:w$} = {}", "", s.result(), w = s.text.chars().count())?;
            if let Some(r) = &s.remark {
                writeln!(f, "      {r}")?;
            }
            let terms: Vec<_> = s
                .terms
                .iter()
                .map(|t| format!("{} = {} {} ({})", t.text, number(t.number), t.unit, t.meaning))
                .collect();
            writeln!(f, "      where {}", terms.join(", "))?;
            writeln!(f, "      source: {}", s.source)?;
        }
        Ok(())
    }
}
