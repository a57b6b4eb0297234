//! Predict first, then look; and check cells that say why an answer is off.

use super::stop;
use crate::quantity::{Amount, Dim, Shown, round_plainly, round_to_digits, unit};
use crate::rich::{Bundle, Rich};

/// What a learner wrote: a number with a unit, not yet held against anything.
#[derive(Clone, Debug, PartialEq)]
enum Said {
    Nothing,
    Number { number: f64, unit: String },
    Other(String),
}

fn listen(text: &str) -> Said {
    let t = text.trim();
    if t.is_empty() || t == "?" || t == "..." || t == "…" {
        return Said::Nothing;
    }
    // A decimal comma is how half of Europe writes it.
    let t = t.replace(',', ".");
    let end = t
        .char_indices()
        .find(|(i, c)| !(c.is_ascii_digit() || *c == '.' || (*i == 0 && (*c == '-' || *c == '+'))))
        .map_or(t.len(), |(i, _)| i);
    match t[..end].parse::<f64>() {
        Ok(number) => Said::Number { number, unit: t[end..].trim().to_owned() },
        Err(_) => Said::Other(text.trim().to_owned()),
    }
}

/// Whether a question holds one of these words, whole; a sign such as `%` may stand anywhere.
fn says(question: &str, words: &[&str]) -> bool {
    let question = question.to_lowercase();
    let mut spoken = question.split(|c: char| !c.is_alphanumeric());
    words.iter().any(|w| !w.chars().all(char::is_alphanumeric) && question.contains(w))
        || spoken.any(|s| words.contains(&s))
}

/// Whether a question is about a number without a unit that nobody says in percent.
fn asks_for_a_factor(question: &str) -> bool {
    says(question, &["lambda", "factor", "ratio", "times", "over"])
}

/// Whether a question is about a part of a whole, which people say in percent.
fn asks_for_a_share(question: &str) -> bool {
    says(question, &["%", "percent", "duty", "share", "chance", "headroom"]) && !asks_for_a_factor(question)
}

/// How an answer may be written: in the unit that the question names, else in the one that fits the size of the answer.
fn example(question: &str, wanted: Amount) -> String {
    let dim = wanted.dim;
    if dim == Dim::Ratio {
        return if asks_for_a_factor(question) {
            "such as \"1.25\"".to_owned()
        } else if asks_for_a_share(question) {
            "such as \"25 %\"".to_owned()
        } else if wanted.si > 1.0 {
            "such as \"12\"".to_owned()
        } else {
            "such as \"0.25\" or \"25 %\"".to_owned()
        };
    }
    let named = question
        .split(|c: char| c.is_whitespace() || ",;:()?".contains(c))
        .filter(|word| !word.is_empty())
        .find_map(|word| unit::find(word, dim));
    let fits = match dim {
        Dim::Time if wanted.si.abs() >= 1.0 => unit::find("s", dim),
        Dim::Pressure if wanted.si.abs() < 0.2e5 => unit::find("kPa", dim),
        _ => None,
    };
    let unit = named.or(fits).unwrap_or(dim.shown_in());
    let number = if dim == Dim::AngularVelocity { "2500" } else { "2.5" };
    format!("such as \"{number} {}\"", unit.symbol)
}

/// A value in the unit that the answer was written in.
fn as_written(value: Amount, said: &Said, question: &str) -> String {
    let symbol = match said {
        Said::Number { unit, .. } => unit.as_str(),
        _ if asks_for_a_share(question) => "%",
        _ => return value.to_string(),
    };
    if symbol == "%" && value.dim == Dim::Ratio {
        let percent = 100.0 * value.si;
        let digits = if percent.abs() < 1.0 { 2 } else { 3 };
        return format!("{} %", round_to_digits(percent, digits));
    }
    match value.in_unit(symbol) {
        Some(there) => there.to_string(),
        None => value.to_string(),
    }
}

/// The answer in SI as the quantity that is asked for, or a kind word on why it cannot be read so.
fn understand(said: &Said, question: &str, wanted: Amount) -> Result<f64, String> {
    let dim = wanted.dim;
    let needs = if dim == Dim::Ratio { "a number" } else { "a number with its unit" };
    match said {
        Said::Nothing => Err(format!(
            "Nothing is written yet. Write {needs} between the quotes, {}.",
            example(question, wanted)
        )),
        Said::Other(text) => Err(format!(
            "\"{text}\" does not start with a number. Write {needs}, {}.",
            example(question, wanted)
        )),
        Said::Number { number, unit: u } => {
            if let Some(found) = unit::find(u, dim) {
                return Ok(number * found.factor + found.offset);
            }
            if u.is_empty() {
                return Err(format!(
                    "{number} of what? A {} needs its unit: {}.",
                    dim.name(),
                    unit::accepted(dim)
                ));
            }
            match unit::dims_of(u).next() {
                Some(other) => Err(format!(
                    "\"{u}\" measures {}, and the question asks for {}. Units that fit: {}.",
                    other.name(),
                    dim.with_article(),
                    unit::accepted(dim)
                )),
                None => Err(format!(
                    "The unit \"{u}\" is not known here. Units that fit: {}.",
                    unit::accepted(dim)
                )),
            }
        }
    }
}

/// A number written down before the experiment.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    question: String,
    said: Said,
    text: String,
    close: Option<String>,
}

/// Keeps a prediction: `predict("difference pressure at 1.4 bar boost", "1.6 bar")`.
#[must_use]
pub fn predict(question: &str, answer: &str) -> Prediction {
    let (question, text) = (question.to_owned(), answer.trim().to_owned());
    Prediction { question, said: listen(answer), text, close: None }
}

/// A guess this much off the value, as a part of it, is spot on; and this much is close, unless the lesson says.
const SPOT_ON: f64 = 0.02;
const CLOSE: f64 = 0.10;

impl Prediction {
    /// How far off still counts as close: `"0.1 V"`, or `"3 %"` of the value. Without, a tenth of the value does, which
    /// would praise the very belief that a lesson is about where the difference it teaches is small.
    #[must_use]
    pub fn close_within(mut self, off: &str) -> Self {
        self.close = Some(off.trim().to_owned());
        self
    }

    /// The same as a part of the value.
    fn close(&self, found: Amount) -> f64 {
        let Some(text) = &self.close else { return CLOSE };
        let read = match text.strip_suffix('%') {
            Some(percent) => percent.trim().parse::<f64>().ok().map(|p| p / 100.0),
            // A difference of temperatures is no temperature: its zero is zero.
            None => unit::read(text, found.dim).ok().map(|r| (r.si - r.unit.offset) / found.si.abs()),
        };
        match read {
            Some(close) if close > 0.0 => close,
            _ => stop(format!(
                "\"{text}\" does not say how far off {} may be\n  write {} above zero, or a percentage",
                found,
                found.dim.with_article()
            )),
        }
    }

    /// Holds the prediction beside what came out: you said, it is, because.
    #[must_use]
    pub fn compare(&self, found: impl Shown, because: &str) -> Compared {
        let found = found.amount();
        let words = match understand(&self.said, &self.question, found) {
            Err(kind) => kind,
            Ok(si) => {
                let (said, off, close) = (&self.text, relative(si, found.si), self.close(found));
                match off {
                    o if o.abs() < SPOT_ON.min(0.25 * close) => "Spot on.".to_owned(),
                    o if o.abs() < close => format!("Close: {said} is {}.", too(o)),
                    o if o.abs() < 0.33 => format!("{said} is {}: worth finding out why.", too(o)),
                    o => format!("{said} is {} the value: worth finding out why.", ratio_words(o)),
                }
            }
        };
        Compared {
            question: self.question.clone(),
            said: if self.text.is_empty() { "nothing yet".to_owned() } else { self.text.clone() },
            found: as_written(found, &self.said, &self.question),
            words,
            because: because.to_owned(),
        }
    }
}

impl Rich for Prediction {
    fn rich(&self) -> Bundle {
        let words = match &self.said {
            Said::Nothing => "Nothing written yet: put your number, with its unit if it has one, between the quotes and run the cell again. A rough guess teaches more than none.".to_owned(),
            Said::Other(t) => format!(
                "\"{t}\" does not start with a number. Write a number and a unit, such as \"2.5 bar\"."
            ),
            Said::Number { .. } => {
                format!("You say {}. Kept: it will be shown beside the result.", self.text)
            }
        };
        Bundle::text(format!("{}\n{words}", self.question))
            .markdown(format!("**{}**\n\n{words}", self.question))
    }
}

/// A prediction beside what came out.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    question: String,
    said: String,
    found: String,
    words: String,
    because: String,
}

impl Compared {
    /// The comment on the prediction.
    #[must_use]
    pub fn words(&self) -> &str {
        &self.words
    }
}

impl Rich for Compared {
    fn rich(&self) -> Bundle {
        Bundle::text(format!(
            "{}\n  you said: {}\n  it is:    {}\n  {}\n  because:  {}",
            self.question, self.said, self.found, self.words, self.because
        ))
        .markdown(format!(
            "**{}**\n\n| you said | it is |\n|---|---|\n| {} | {} |\n\n{} *Because* {}",
            self.question,
            self.said.replace('|', "\\|"),
            self.found,
            self.words,
            self.because
        ))
    }
}

/// A question whose answer is checked, with a word for each usual mistake.
#[derive(Clone, Debug)]
pub struct Question {
    question: String,
    said: Said,
    usual: Vec<(Amount, String)>,
    within: f64,
}

/// Asks a check question: `check("flow at twice the pressure", "198 L/h")`, then what is right.
#[must_use]
pub fn check(question: &str, answer: &str) -> Question {
    Question { question: question.to_owned(), said: listen(answer), usual: Vec::new(), within: 0.02 }
}

impl Question {
    /// Adds a usual mistake: an answer that shows it, and what to say then.
    #[must_use]
    pub fn if_it_is(mut self, wrong: impl Shown, word: &str) -> Self {
        self.usual.push((wrong.amount(), word.to_owned()));
        self
    }

    /// How far off counts as right, in percent of the value (2 unless said).
    #[must_use]
    pub fn within_percent(mut self, percent: f64) -> Self {
        if !(percent > 0.0) {
            stop(format!("{percent} % is no margin\n  give a percentage above zero"));
        }
        self.within = percent / 100.0;
        self
    }

    /// Holds the answer against the right one.
    #[must_use]
    pub fn against(self, right: impl Shown) -> Feedback {
        let right = right.amount();
        let verdict = match understand(&self.said, &self.question, right) {
            Err(kind) => (false, kind),
            Ok(si) => self.judge(si, right),
        };
        Feedback { question: self.question, right: verdict.0, words: verdict.1 }
    }

    fn judge(&self, si: f64, right: Amount) -> (bool, String) {
        let near = |x: f64, y: f64| relative(x, y).abs() <= self.within;
        if near(si, right.si) {
            return (true, format!("Right: it is {}.", as_written(right, &self.said, &self.question)));
        }
        let said = as_written(Amount { si, ..right }, &self.said, &self.question);
        for (wrong, word) in &self.usual {
            if wrong.dim == right.dim && near(si, wrong.si) {
                return (false, format!("Not {said}. {word}"));
            }
        }
        if right.dim == Dim::VolumeRate && (near(si / 60.0, right.si) || near(si * 60.0, right.si)) {
            return (
                false,
                format!("{said} is a factor of 60 off: litres a minute and litres an hour got mixed."),
            );
        }
        if right.dim == Dim::Pressure && (near(si - 101_325.0, right.si) || near(si + 101_325.0, right.si)) {
            return (
                false,
                format!("{said} is one atmosphere off: a gauge pressure and an absolute one got mixed."),
            );
        }
        if right.dim == Dim::Ratio && near(si / 100.0, right.si) {
            let si = round_plainly(si, 6);
            return (false, format!("{si} is a hundred times the value: write it with % or as a fraction."));
        }
        if near(-si, right.si) {
            return (false, format!("{said} has the right size and the wrong sign."));
        }
        let off = relative(si, right.si);
        (
            false,
            format!(
                "{said} is {} the value. Look at the working above once more, line by line.",
                ratio_words(off)
            ),
        )
    }
}

/// What came of a check question.
#[derive(Clone, Debug, PartialEq)]
pub struct Feedback {
    question: String,
    right: bool,
    words: String,
}

impl Feedback {
    /// Whether the answer is right.
    #[must_use]
    pub fn right(&self) -> bool {
        self.right
    }

    /// What is said about it.
    #[must_use]
    pub fn words(&self) -> &str {
        &self.words
    }
}

impl Rich for Feedback {
    fn rich(&self) -> Bundle {
        let mark = if self.right { "✓" } else { "→" };
        Bundle::text(format!("{}\n{mark} {}", self.question, self.words))
            .markdown(format!("**{}**\n\n{mark} {}", self.question, self.words))
    }
}

fn relative(x: f64, of: f64) -> f64 {
    if of == 0.0 { if x == 0.0 { 0.0 } else { f64::INFINITY } } else { (x - of) / of.abs() }
}

/// "6 % too high", "0.4 % too low".
fn too(off: f64) -> String {
    let percent = 100.0 * off.abs();
    let percent = if percent < 1.0 { format!("{percent:.1}") } else { format!("{percent:.0}") };
    format!("{percent} % too {}", if off > 0.0 { "high" } else { "low" })
}

fn percent(o: f64) -> String {
    format!("{:.0} %", 100.0 * o)
}

/// How an answer that is off by this share of the value compares with it.
fn ratio_words(off: f64) -> String {
    if !off.is_finite() {
        return "far from".to_owned();
    }
    match 1.0 + off {
        r if r < 0.0 => "of the other sign than".to_owned(),
        r if r > 1.5 => format!("{r:.1} times"),
        r if r < 0.67 => format!("only {r:.2} times"),
        _ if off > 0.0 => format!("{} above", percent(off)),
        _ => format!("{} below", percent(-off)),
    }
}

/// A value in words for a sentence, with its unit; "nowhere" when there is none.
#[must_use]
pub fn words(value: impl Worded) -> String {
    value.words()
}

/// What [`words`] can put into a sentence.
pub trait Worded {
    /// The value with its unit.
    fn words(&self) -> String;
}

impl<T: Shown + Copy> Worded for T {
    fn words(&self) -> String {
        self.amount().to_string()
    }
}

impl Worded for Option<Amount> {
    fn words(&self) -> String {
        self.map_or_else(|| "nowhere".to_owned(), |a| a.to_string())
    }
}

impl Worded for Option<super::measure::Time> {
    fn words(&self) -> String {
        self.map_or_else(|| "never".to_owned(), |t| t.amount().to_string())
    }
}
