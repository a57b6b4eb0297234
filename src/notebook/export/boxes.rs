//! Marked boxes: what a block quote that begins with one of a few bold words becomes.

use pulldown_cmark::BlockQuoteKind;

use super::escape::escape;

/// A kind of marked box.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BoxKind {
    /// Where someone or something can be hurt.
    Caution,
    /// Write a number down before it is computed.
    Predict,
    /// Compare, answer, verify.
    Check,
    /// What many believe and what is wrong with it.
    Belief,
    /// Something to do or change.
    Try,
    /// An answer, folded away until it is asked for.
    Answer,
    /// For the teacher.
    Teacher,
    /// Anything else that deserves a box.
    Note,
}

impl BoxKind {
    /// The kind that a bold beginning such as "Caution: hot fuel" asks for.
    pub fn of(label: &str) -> Option<Self> {
        if label.trim_start().to_lowercase().starts_with("what goes wrong in class") {
            return Some(Self::Teacher);
        }
        let word: String =
            label.chars().take_while(|c| c.is_alphabetic()).flat_map(char::to_lowercase).collect();
        Some(match word.as_str() {
            "caution" | "warning" | "danger" | "safety" => Self::Caution,
            "predict" | "prediction" => Self::Predict,
            "check" => Self::Check,
            "misconception" | "belief" => Self::Belief,
            "try" | "exercise" | "puzzle" => Self::Try,
            "answer" | "hint" | "solution" => Self::Answer,
            "teacher" => Self::Teacher,
            "note" | "remember" => Self::Note,
            _ => return None,
        })
    }

    /// The kind for a block quote that is marked in its first line, and its label.
    pub fn marked(kind: BlockQuoteKind) -> (Self, &'static str) {
        match kind {
            BlockQuoteKind::Caution => (Self::Caution, "Caution"),
            BlockQuoteKind::Warning => (Self::Caution, "Warning"),
            BlockQuoteKind::Important => (Self::Note, "Important"),
            BlockQuoteKind::Note => (Self::Note, "Note"),
            BlockQuoteKind::Tip => (Self::Try, "Tip"),
        }
    }

    fn class(self) -> &'static str {
        match self {
            Self::Caution => "slip-caution",
            Self::Predict => "slip-predict",
            Self::Check => "slip-check",
            Self::Belief => "slip-belief",
            Self::Try => "slip-try",
            Self::Answer => "slip-answer",
            Self::Teacher => "slip-teacher",
            Self::Note => "slip-note",
        }
    }

    /// A drawn sign, so that the kinds differ in grey print too. Decorative: the label says it in words.
    fn sign(self) -> &'static str {
        match self {
            Self::Caution => "<path d=\"M12 3 22 21H2Z\"/><path d=\"M12 9v6M12 17.2v1.4\"/>",
            Self::Predict => "<path d=\"M4 20 6 14 16 4l4 4L10 18Z\"/><path d=\"M13 7l4 4\"/>",
            Self::Check => "<path d=\"M3 12a9 9 0 1 0 18 0 9 9 0 1 0-18 0\"/><path d=\"m8 12 3 3 5-6\"/>",
            Self::Belief => "<path d=\"M3 5h18v11H11l-5 4v-4H3Z\"/><path d=\"m9 8 6 5m0-5-6 5\"/>",
            Self::Try => "<path d=\"M14 4a5 5 0 0 0 6 6L9 21l-6-6Z\"/>",
            Self::Answer => "<path d=\"M4 12h9m0 0-4-4m4 4-4 4\"/><path d=\"M15 4h5v16h-5\"/>",
            Self::Teacher => "<path d=\"M2 5h20v11H2Z\"/><path d=\"M7 21l3-5m7 5-3-5\"/>",
            Self::Note => "<path d=\"M5 3h14v18l-7-4-7 4Z\"/>",
        }
    }

    /// The beginning of the box.
    pub fn open(self, label: &str) -> String {
        let sign = format!(
            "<svg class=\"sign\" viewBox=\"0 0 24 24\" aria-hidden=\"true\" focusable=\"false\">{}</svg>",
            self.sign()
        );
        let label = escape(label.trim().trim_end_matches(['.', ':']));
        let class = self.class();
        match self {
            Self::Answer => {
                format!("<details class=\"slip {class}\"><summary>{sign}<strong>{label}</strong></summary>\n")
            }
            _ => format!(
                "<aside class=\"slip {class}\" role=\"note\" aria-label=\"{label}\">\
                 <p class=\"slip-label\">{sign}<strong>{label}</strong></p>\n"
            ),
        }
    }

    /// The end of the box.
    pub fn close(self) -> &'static str {
        match self {
            Self::Answer => "</details>\n",
            _ => "</aside>\n",
        }
    }
}
