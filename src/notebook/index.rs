//! The page that lists the notebooks of a folder: what each answers, how long it takes, how its run went.

use pulldown_cmark::{Event, Parser, Tag, TagEnd};

use super::export::escape::escape;
use super::export::frame;
pub use super::export::{Link, Options};
use super::{CellKind, Notebook};

/// How a notebook's run went.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Outcome {
    /// It was not run.
    #[default]
    NotRun,
    /// It ran to its end.
    Finished {
        /// Wall time of the run in seconds.
        seconds: f64,
    },
    /// A cell failed and the notebook stopped there.
    Stopped {
        /// The cell and the cause, in one line.
        cause: String,
    },
}

/// One notebook in the list.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entry {
    /// The page's address from the list.
    pub href: String,
    /// Its title.
    pub title: String,
    /// What it is called in the course, such as L3; empty when nobody said.
    pub number: String,
    /// What it answers, in one or two sentences.
    pub answers: String,
    /// How long working through it takes, in minutes.
    pub minutes: Option<u64>,
    /// How its run went.
    pub outcome: Outcome,
}

impl Entry {
    /// The entry of a notebook whose page is at `href`.
    ///
    /// The title is its first heading. What it is called, what it answers and how many minutes it takes stand in the
    /// notebook's metadata as `"railrise": {"number": "L3", "answers": "...", "minutes": 35}`; without, its first paragraph
    /// is taken, no name and no time.
    #[must_use]
    pub fn of(notebook: &Notebook, href: &str) -> Self {
        let (heading, paragraph) = beginning(notebook);
        let own = notebook.metadata("railrise");
        let said = own.and_then(|own| own["answers"].as_str());
        Self {
            href: href.to_owned(),
            title: heading.unwrap_or_else(|| href.trim_end_matches(".html").to_owned()),
            number: own.and_then(|own| own["number"].as_str()).unwrap_or_default().to_owned(),
            answers: said.map_or(paragraph.unwrap_or_default(), str::to_owned),
            minutes: own.and_then(|own| own["minutes"].as_u64()),
            outcome: Outcome::NotRun,
        }
    }
}

/// The links of entry `n` to its neighbours, put into its page's options.
#[must_use]
pub fn neighbours(entries: &[Entry], n: usize) -> (Option<Link>, Option<Link>) {
    let link = |entry: &Entry| Link { href: entry.href.clone(), title: entry.title.clone() };
    let before = n.checked_sub(1).and_then(|n| entries.get(n));
    (before.map(link), entries.get(n + 1).map(link))
}

/// Makes the page of the list.
#[must_use]
pub fn html(title: &str, entries: &[Entry], options: &Options) -> String {
    let lines: String = entries.iter().map(line).collect();
    let minutes: u64 = entries.iter().filter_map(|entry| entry.minutes).sum();
    let total = match minutes {
        0 => String::new(),
        minutes => format!("<p>Working through all of them takes about {}.</p>\n", spoken(minutes)),
    };
    let body = format!(
        "<section class=\"prose\">\n<h1>{}</h1>\n<p>Each page stands by itself: the text, the code and what its run gave. \
         What a page computes is a model's answer; what is done on a car follows the cautions on the page.</p>\n\
         {total}</section>\n<ol class=\"shelf\">\n{lines}</ol>\n",
        escape(title)
    );
    frame::document(options, title, "", &body)
}

fn line(entry: &Entry) -> String {
    let minutes = match entry.minutes {
        Some(minutes) => format!("<span class=\"shelf-time\">{minutes} min</span>"),
        None => String::new(),
    };
    let answers = match entry.answers.as_str() {
        "" => String::new(),
        answers => format!("<p>{}</p>\n", escape(answers)),
    };
    let number = match entry.number.as_str() {
        "" => String::new(),
        number => format!("<span class=\"shelf-mark\">{}</span>\n", escape(number)),
    };
    let (class, outcome) = match &entry.outcome {
        Outcome::NotRun => ("not-run", "not run".to_owned()),
        Outcome::Finished { seconds } => ("finished", format!("✓ ran to its end in {seconds:.1} s")),
        Outcome::Stopped { cause } => ("cut-short", format!("✗ stopped: {}", escape(cause))),
    };
    format!(
        "<li>\n{number}<h2><a href=\"{}\">{}</a>{minutes}</h2>\n{answers}<p class=\"shelf-run {class}\">{outcome}</p>\n</li>\n",
        escape(&entry.href),
        escape(&entry.title),
    )
}

/// "40 minutes", "1 hour", "2 hours 5 minutes".
fn spoken(minutes: u64) -> String {
    let count = |n: u64, one: &str| match n {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {one}s")),
    };
    [count(minutes / 60, "hour"), count(minutes % 60, "minute")]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The plain words of a notebook's first heading and first paragraph.
fn beginning(notebook: &Notebook) -> (Option<String>, Option<String>) {
    let (mut heading, mut paragraph) = (None, None);
    for cell in notebook.cells() {
        if cell.kind() != CellKind::Markdown {
            continue;
        }
        let source = cell.source();
        let mut words: Option<String> = None;
        let mut quoted = 0;
        for event in Parser::new(&source) {
            match event {
                Event::Start(Tag::BlockQuote(_)) => quoted += 1,
                Event::End(TagEnd::BlockQuote(_)) => quoted -= 1,
                // A caution at the top is not what the notebook answers.
                Event::Start(Tag::Heading { .. } | Tag::Paragraph) if quoted == 0 => {
                    words = Some(String::new());
                }
                Event::Text(text) | Event::Code(text) => {
                    if let Some(words) = &mut words {
                        words.push_str(&text);
                    }
                }
                Event::SoftBreak | Event::HardBreak => {
                    if let Some(words) = &mut words {
                        words.push(' ');
                    }
                }
                Event::End(TagEnd::Heading(_)) => heading = heading.or(words.take()),
                Event::End(TagEnd::Paragraph) => paragraph = paragraph.or(words.take()),
                _ => {}
            }
        }
        if heading.is_some() && paragraph.is_some() {
            break;
        }
    }
    (heading, paragraph)
}
