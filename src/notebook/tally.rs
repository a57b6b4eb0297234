//! What a notebook's check cells and predictions came to: the marking of one copy.

use super::document::Notebook;
use super::output;

/// One prediction beside what came out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// What was asked.
    pub question: String,
    /// What the reader wrote.
    pub said: String,
    /// What the run gave.
    pub is: String,
}

/// What the cells of one copy came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// Check cells that say that the answer is right.
    pub right: usize,
    /// Check cells in all.
    pub asked: usize,
    /// Predictions, in order.
    pub said: Vec<Said>,
}

impl Tally {
    /// Reads the outputs of a notebook that ran.
    ///
    /// A check says its question, then "✓ " or "→ " and a sentence; a prediction its question, then what was said
    /// and what it is.
    #[must_use]
    pub fn of(notebook: &Notebook) -> Self {
        let mut tally = Self::default();
        for out in notebook.cells().flat_map(|c| c.outputs()) {
            let text = output::text(&out["data"]["text/plain"]).unwrap_or_default();
            let mut lines = text.lines();
            let question = lines.next().unwrap_or_default().to_owned();
            let Some(second) = lines.next() else { continue };
            if second.starts_with("✓ ") || second.starts_with("→ ") {
                tally.asked += 1;
                tally.right += usize::from(second.starts_with('✓'));
            } else if let (Some(said), Some(is)) = (
                second.strip_prefix("  you said: "),
                lines.next().and_then(|l| l.strip_prefix("  it is:    ")),
            ) {
                tally.said.push(Said { question, said: said.to_owned(), is: is.to_owned() });
            }
        }
        tally
    }
}
