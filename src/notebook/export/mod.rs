//! One self-contained page from a notebook: text, maths, coloured code, figures; nothing is loaded from anywhere.
//!
//! The page's content policy forbids every load, so this holds for whatever a cell put into its output. Plain text of any
//! kind is escaped. HTML and SVG that a cell shows are balanced, given identifiers of their own and stripped of what would
//! load or steer the page; scripts inside them stay, since sliders need them, so export only notebooks that you would run.
//!
//! Tags that change how a cell is shown: `hide-input` (code one click away), `remove-input`, `hide-output`,
//! `remove-output`, `remove-cell`, `teacher` (marked), `parameters` (marked). Of a cell that checks an answer, what it is
//! held against is one click away. A block quote that begins with **Caution**,
//! **Predict**, **Check**, **Misconception**, **Try**, **Answer**, **Note** or **Teacher** becomes a marked box; an answer
//! is folded away.

mod boxes;
mod contents;
pub(super) mod escape;
mod fragment;
pub(super) mod frame;
mod markdown;
mod maths;
mod outputs;
mod rust;
mod terminal;

use std::path::PathBuf;

use self::contents::Contents;
use self::escape::escape;
use self::markdown::Setting;
use super::{Cell, CellKind, CellPlace, Notebook, TEACHER_TAG};

/// A link to another page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Where it leads, from this page.
    pub href: String,
    /// What stands there.
    pub title: String,
}

/// What a page is given beside its notebook. All may stay empty.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Options {
    /// The page's title when the notebook has no first-level heading.
    pub title: Option<String>,
    /// Language of the text as in BCP 47; `en` when not given.
    pub lang: Option<String>,
    /// What the page belongs to, such as the name of a course.
    pub series: Option<String>,
    /// The page before this one.
    pub previous: Option<Link>,
    /// The page after this one.
    pub next: Option<Link>,
    /// The page that lists them.
    pub index: Option<Link>,
    /// A line for the foot of the page, such as when and with what it was run.
    pub note: Option<String>,
    /// The folder that the notebook's pictures are named from.
    pub folder: Option<PathBuf>,
}

/// Something in a notebook that its page cannot show as it was meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// The cell.
    pub cell: CellPlace,
    /// What it is, in one sentence.
    pub problem: String,
}

/// A finished page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// The document.
    pub html: String,
    /// The page's title.
    pub title: String,
    /// What could not be shown as it was meant.
    pub complaints: Vec<Complaint>,
}

/// Makes the page of a notebook.
///
/// ```
/// use railrise::notebook::{Notebook, export};
/// let text = r##"{"cells": [{"cell_type": "markdown", "id": "a1", "metadata": {},
///     "source": "# Rail pressure\n\n> **Caution** Depressurise first.\n\n$p_r = p_b + p_m$"}],
///     "metadata": {}, "nbformat": 4, "nbformat_minor": 5}"##;
/// let notebook = Notebook::from_str("rail.ipynb", text)?;
/// let html = export::html(&notebook, &export::Options::default());
/// assert!(html.contains("<title>Rail pressure</title>") && html.contains("<math"));
/// # Ok::<(), railrise::notebook::NotebookError>(())
/// ```
#[must_use]
pub fn html(notebook: &Notebook, options: &Options) -> String {
    page(notebook, options).html
}

/// Makes the page of a notebook and tells what could not be shown as it was meant.
#[must_use]
pub fn page(notebook: &Notebook, options: &Options) -> Page {
    let mut sheet = Sheet { options, contents: Contents::new(), complaints: Vec::new(), steps: 0 };
    let body: String = notebook.cells().map(|cell| sheet.cell(cell)).collect();
    let heading = sheet.contents.title().map(str::to_owned);
    let title = heading.clone().or_else(|| options.title.clone()).unwrap_or_else(|| stem(notebook.name()));
    let heading = match heading {
        Some(_) => String::new(),
        None => format!("<h1>{}</h1>\n", escape(&title)),
    };
    let contents = sheet.contents.html();
    let html = frame::document(options, &title, &contents, &format!("{heading}{body}"));
    Page { html, title, complaints: sheet.complaints }
}

/// The question of a check cell, and what its answer is held against: that would stand open above the learner's own.
fn answer_behind(source: &str) -> Option<(&str, &str)> {
    let mut asked = false;
    let mut at = 0;
    for line in source.split_inclusive('\n') {
        asked |= line.starts_with("check(");
        if asked && line.trim_start().starts_with('.') {
            return Some((source[..at].trim_end(), &source[at..]));
        }
        at += line.len();
    }
    None
}

fn stem(name: &str) -> String {
    let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
    file.strip_suffix(".ipynb").unwrap_or(file).to_owned()
}

struct Sheet<'a> {
    options: &'a Options,
    contents: Contents,
    complaints: Vec<Complaint>,
    steps: usize,
}

impl Sheet<'_> {
    fn cell(&mut self, cell: Cell<'_>) -> String {
        if cell.has_tag("remove-cell") {
            return String::new();
        }
        let source = cell.source();
        let body = match cell.kind() {
            CellKind::Raw => String::new(),
            CellKind::Markdown if source.trim().is_empty() => String::new(),
            CellKind::Markdown => {
                let text = self.with(cell, String::new(), true, |setting| markdown::render(&source, setting));
                format!("<section class=\"prose\">\n{text}</section>\n")
            }
            CellKind::Code => self.step(cell, &source),
        };
        if cell.has_tag(TEACHER_TAG) && !body.is_empty() {
            return format!(
                "<div class=\"teacher\"><p class=\"teacher-label\">For the teacher</p>\n{body}</div>\n"
            );
        }
        body
    }

    fn step(&mut self, cell: Cell<'_>, source: &str) -> String {
        let source = source.trim_end();
        if source.is_empty() && cell.outputs().is_empty() {
            return String::new();
        }
        self.steps += 1;
        let step = format!("step {}", self.steps);
        let flag = |group: &str, key: &str| cell.metadata(group).is_some_and(|value| value[key] == true);
        let work = |source: &str| {
            format!("<pre class=\"work\" tabindex=\"0\"><code>{}</code></pre>\n", rust::html(source))
        };
        let code = match answer_behind(source) {
            Some((question, answer)) => format!(
                "{}<details class=\"fold\"><summary>Show how {step} checks the answer</summary>\n{}</details>\n",
                work(question),
                work(answer)
            ),
            None => work(source),
        };
        let code = if source.is_empty() || cell.has_tag("remove-input") {
            String::new()
        } else if cell.has_tag("hide-input") || flag("jupyter", "source_hidden") {
            format!("<details class=\"fold\"><summary>Show the code of {step}</summary>\n{code}</details>\n")
        } else {
            code
        };
        let mut readings = String::new();
        if !cell.has_tag("remove-output") {
            for (n, output) in cell.outputs().iter().enumerate() {
                readings += &self.with(cell, format!("-{}", n + 1), false, |setting| {
                    outputs::render(output, &step, setting)
                });
            }
        }
        let hidden = cell.has_tag("hide-output")
            || flag("jupyter", "outputs_hidden")
            || cell.metadata("collapsed").is_some_and(|value| value == true);
        if hidden && !readings.is_empty() {
            readings = format!(
                "<details class=\"fold\"><summary>Show the result of {step}</summary>\n{readings}</details>\n"
            );
        }
        if code.is_empty() && readings.is_empty() {
            return String::new();
        }
        let label =
            if cell.has_tag("parameters") { "<span class=\"step-kind\">yours to change</span>" } else { "" };
        format!(
            "<section class=\"step\" aria-label=\"Step {n}\">\n\
             <p class=\"step-mark\"><span class=\"step-word\">Step </span>{n}{label}</p>\n\
             {code}{readings}</section>\n",
            n = self.steps
        )
    }

    fn with(
        &mut self,
        cell: Cell<'_>,
        part: String,
        headings: bool,
        render: impl FnOnce(&mut Setting<'_>) -> String,
    ) -> String {
        let mut complaints = Vec::new();
        let html = render(&mut Setting {
            cell: Some(cell),
            folder: self.options.folder.as_deref(),
            prefix: &format!("cell{}{part}-", cell.index() + 1),
            contents: headings.then_some(&mut self.contents),
            complaints: &mut complaints,
        });
        let place = CellPlace { index: cell.index(), id: Some(cell.id().to_owned()) };
        self.complaints
            .extend(complaints.into_iter().map(|problem| Complaint { cell: place.clone(), problem }));
        html
    }
}
