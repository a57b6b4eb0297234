//! The headings of a page: their identifiers and the table of contents.

use std::collections::BTreeSet;

/// One heading.
#[derive(Debug, Clone)]
pub struct Heading {
    /// 1 for the page's title, from 2 for the rest.
    pub level: usize,
    /// Identifier in the page.
    pub id: String,
    /// Its words.
    pub text: String,
    /// Its words as HTML, with code and maths.
    pub html: String,
}

/// The headings of a page in order.
#[derive(Debug)]
pub struct Contents {
    headings: Vec<Heading>,
    taken: BTreeSet<String>,
}

/// From this many sections on a page has a table of contents.
const LONG: usize = 3;

impl Contents {
    /// An empty list; the page's own identifiers are taken.
    pub fn new() -> Self {
        Self { headings: Vec::new(), taken: ["sheet", "contents"].map(str::to_owned).into() }
    }

    /// Adds a heading; gives the level and identifier it has in the page. A page has one title: later ones step down.
    pub fn add(&mut self, level: usize, text: &str, html: &str) -> (usize, String) {
        let level = match level {
            1 if self.title().is_some() => 2,
            other => other,
        };
        let stem = slug(text);
        let id = (1..)
            .map(|n| match n {
                1 => stem.clone(),
                n => format!("{stem}-{n}"),
            })
            .find(|id| !self.taken.contains(id))
            .unwrap_or(stem);
        self.taken.insert(id.clone());
        self.headings.push(Heading { level, id: id.clone(), text: text.to_owned(), html: html.to_owned() });
        (level, id)
    }

    /// The words of the page's title, when it has one.
    pub fn title(&self) -> Option<&str> {
        self.headings.iter().find(|heading| heading.level == 1).map(|heading| heading.text.as_str())
    }

    /// The table of contents of a long page; nothing for a short one.
    pub fn html(&self) -> String {
        let sections: Vec<&Heading> = self.headings.iter().filter(|heading| heading.level == 2).collect();
        if sections.len() < LONG {
            return String::new();
        }
        let lines: String = sections
            .iter()
            .map(|heading| format!("<li><a href=\"#{}\">{}</a></li>\n", heading.id, heading.html))
            .collect();
        format!(
            "<nav class=\"contents\" aria-labelledby=\"contents\">\n\
             <p id=\"contents\">On this page</p>\n<ol>\n{lines}</ol>\n</nav>\n"
        )
    }
}

/// Words to an identifier: letters and digits in lower case, all else a hyphen.
pub fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    let out = out.trim_end_matches('-');
    if out.is_empty() { "part".to_owned() } else { out.to_owned() }
}
