//! A piece of foreign HTML or SVG made fit to stand inside a page: balanced, with identifiers of its own, loading nothing.

use std::collections::BTreeSet;

use html5gum::{DefaultEmitter, StartTag, Token, Tokenizer};

use super::escape::escape;

/// What to do with the identifiers in a piece.
#[derive(Debug, Clone, Copy)]
pub enum Ids<'a> {
    /// Leave them: they were made for this page.
    Keep,
    /// Put this before each and before each reference to it. A piece with a script keeps its own, which the script knows.
    Prefix(&'a str),
}

/// A piece that can stand in a page.
#[derive(Debug, Default)]
pub struct Fragment {
    /// Balanced HTML.
    pub html: String,
    /// What was left out and why, one sentence each.
    pub left_out: Vec<String>,
}

/// Elements that have no end tag. Source: HTML Standard, "Void elements".
const VOID: [&str; 13] =
    ["area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"];

/// Elements that belong to a page's frame, steer the whole page or load another one.
const FRAME: [&str; 12] = [
    "base",
    "body",
    "embed",
    "frame",
    "frameset",
    "head",
    "html",
    "iframe",
    "link",
    "meta",
    "object",
    "plaintext",
];

/// Elements whose end tag may be left out. Source: HTML Standard, "Optional tags".
const OPTIONAL_END: [&str; 13] =
    ["dd", "dt", "li", "optgroup", "option", "p", "rp", "rt", "tbody", "td", "tfoot", "th", "tr"];

/// Attributes that make a browser load what they name.
const LOADING: [&str; 7] = ["src", "srcset", "poster", "background", "action", "formaction", "manifest"];

/// Attributes that hold identifiers.
const REFERRING: [&str; 11] = [
    "id",
    "for",
    "headers",
    "list",
    "form",
    "aria-labelledby",
    "aria-describedby",
    "aria-controls",
    "aria-owns",
    "aria-details",
    "aria-activedescendant",
];

/// Cleans a piece.
pub fn clean(source: &str, ids: Ids<'_>) -> Fragment {
    let tokens = tokens(source);
    let has_script =
        tokens.iter().any(|token| matches!(token, Token::StartTag(tag) if text(&tag.name) == "script"));
    let known: BTreeSet<String> = tokens
        .iter()
        .filter_map(|token| match token {
            Token::StartTag(tag) => attribute(tag, "id"),
            _ => None,
        })
        .collect();
    let renaming = match ids {
        Ids::Prefix(prefix) if !has_script => Some(Renaming { prefix, known }),
        _ => None,
    };
    let mut writer = Writer { source, renaming, open: Vec::new(), out: Fragment::default() };
    for token in &tokens {
        writer.token(token);
    }
    writer.finish()
}

fn tokens(source: &str) -> Vec<Token<usize>> {
    let mut emitter = DefaultEmitter::<usize>::new_with_span();
    // Scripts and styles are text, not tags.
    emitter.naively_switch_states(true);
    let Ok(tokens) = Tokenizer::new_with_emitter(source, emitter).collect::<Result<Vec<_>, _>>();
    tokens
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn attribute(tag: &StartTag<usize>, name: &str) -> Option<String> {
    tag.attributes.get(name.as_bytes()).map(|value| text(value))
}

struct Renaming<'a> {
    prefix: &'a str,
    known: BTreeSet<String>,
}

impl Renaming<'_> {
    fn id(&self, id: &str) -> String {
        if self.known.contains(id) { format!("{}{id}", self.prefix) } else { id.to_owned() }
    }

    /// Renames `#name` wherever it stands in a style, a `url(#name)` or a link.
    fn hashes(&self, value: &str) -> String {
        let mut out = String::with_capacity(value.len());
        let mut rest = value;
        while let Some(at) = rest.find('#') {
            let (before, after) = rest.split_at(at + 1);
            out.push_str(before);
            let end =
                after.find(|c: char| !(c.is_alphanumeric() || matches!(c, '-' | '_'))).unwrap_or(after.len());
            out.push_str(&self.id(&after[..end]));
            rest = &after[end..];
        }
        out.push_str(rest);
        out
    }

    fn value(&self, element: &str, radio: bool, name: &str, value: &str) -> String {
        if REFERRING.contains(&name) {
            let renamed: Vec<String> = value.split_whitespace().map(|id| self.id(id)).collect();
            return renamed.join(" ");
        }
        match name {
            "href" | "xlink:href" if value.starts_with('#') => self.hashes(value),
            // Two sliders made of radio buttons must not share a group.
            "name" if element == "input" && radio => format!("{}{value}", self.prefix),
            // Animations start at events of other elements.
            "begin" | "end" => value
                .split(';')
                .map(|part| match part.trim().split_once('.') {
                    Some((id, event)) => format!("{}.{event}", self.id(id)),
                    None => part.trim().to_owned(),
                })
                .collect::<Vec<_>>()
                .join(";"),
            _ if value.contains("url(") => self.hashes(value),
            _ => value.to_owned(),
        }
    }
}

struct Writer<'a> {
    source: &'a str,
    renaming: Option<Renaming<'a>>,
    open: Vec<String>,
    out: Fragment,
}

impl Writer<'_> {
    fn token(&mut self, token: &Token<usize>) {
        match token {
            Token::StartTag(tag) => self.start(tag),
            Token::EndTag(tag) => self.end(&text(&tag.name)),
            Token::String(value) => {
                let value = text(value);
                match self.open.last().map(String::as_str) {
                    Some("script") => self.out.html.push_str(&script_text(&value)),
                    Some("style") => {
                        let value = match &self.renaming {
                            Some(renaming) => renaming.hashes(&value),
                            None => value,
                        };
                        self.out.html.push_str(&value);
                    }
                    _ => self.out.html.push_str(&escape(&value)),
                }
            }
            // Comments and document types say nothing to a reader.
            Token::Comment(_) | Token::Doctype(_) | Token::Error(_) => {}
        }
    }

    fn foreign(&self) -> bool {
        self.open.iter().any(|name| name == "svg" || name == "math")
    }

    fn start(&mut self, tag: &StartTag<usize>) {
        let name = text(&tag.name);
        if FRAME.contains(&name.as_str()) {
            self.out.left_out.push(format!("<{name}> is left out: a page stands alone"));
            return;
        }
        // Broken quotes make names such as `b<p`, which would be read differently next time.
        if !plain_name(&name) {
            self.out.left_out.push(format!("an element named `{name}` is left out: its tag is broken"));
            return;
        }
        let foreign = self.foreign();
        self.out.html.push('<');
        let spelt = self.spelling(tag.span.start + 1, &name).to_owned();
        self.out.html.push_str(&spelt);
        let radio = attribute(tag, "type").is_some_and(|kind| kind.eq_ignore_ascii_case("radio"));
        let mut attributes: Vec<_> = tag.attributes.iter().collect();
        attributes.sort_by_key(|(_, value)| value.span.start);
        for (key, value) in attributes {
            let key_text = text(key);
            let content = text(value);
            if !plain_name(&key_text) {
                self.out.left_out.push(format!(
                    "an attribute named `{key_text}` of <{name}> is left out: its tag is broken"
                ));
                continue;
            }
            if loads(&name, &key_text, &content) {
                self.out
                    .left_out
                    .push(format!("{key_text}=\"{content}\" of <{name}> is left out: a page loads nothing"));
                continue;
            }
            let content = match &self.renaming {
                Some(renaming) => renaming.value(&name, radio, &key_text, &content),
                None => content,
            };
            let spelt = self.spelling(value.span.start, &key_text).to_owned();
            self.out.html.push_str(&format!(" {spelt}=\"{}\"", escape(&content)));
        }
        if tag.self_closing && (foreign || name == "svg" || name == "math") {
            self.out.html.push_str("/>");
        } else {
            self.out.html.push('>');
            if !VOID.contains(&name.as_str()) {
                self.open.push(name);
            }
        }
    }

    /// A name as the source spells it: SVG has names in mixed case, the tokenizer gives them in lower case.
    fn spelling<'n>(&'n self, at: usize, name: &'n str) -> &'n str {
        match self.source.get(at..at + name.len()) {
            Some(spelt) if spelt.eq_ignore_ascii_case(name) => spelt,
            _ => name,
        }
    }

    fn end(&mut self, name: &str) {
        // An end tag that closes nothing here would close something of the page.
        let Some(at) = self.open.iter().rposition(|open| open == name) else {
            return;
        };
        while self.open.len() > at + 1 {
            self.close_last();
        }
        self.open.pop();
        let spelt = if self.foreign() { mixed_case(name) } else { name };
        self.out.html.push_str(&format!("</{spelt}>"));
    }

    fn close_last(&mut self) {
        if let Some(name) = self.open.pop()
            && !OPTIONAL_END.contains(&name.as_str())
        {
            self.out.html.push_str(&format!("</{}>", mixed_case(&name)));
        }
    }

    fn finish(mut self) -> Fragment {
        while !self.open.is_empty() {
            self.close_last();
        }
        self.out
    }
}

/// A script's text that ends where the script ends. After `<!--` a browser would look for the end elsewhere.
/// Source: HTML Standard, "Restrictions for contents of script elements", which gives this cure.
fn script_text(text: &str) -> String {
    let text = text.replace("<!--", "<\\!--");
    let small = text.to_ascii_lowercase();
    let mut out = String::with_capacity(text.len());
    let mut done = 0;
    for (at, _) in small.match_indices("</script") {
        out.push_str(&text[done..=at]);
        out.push('\\');
        done = at + 1;
    }
    out.push_str(&text[done..]);
    out
}

/// Is this a name that any HTML or SVG element or attribute has?
fn plain_name(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_alphabetic())
        && name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | ':' | '.'))
}

/// Does this attribute make a browser load something, or run a link as a script?
fn loads(element: &str, name: &str, value: &str) -> bool {
    let value = value.trim_start().to_ascii_lowercase();
    let inside = value.starts_with("data:") || value.starts_with('#') || value.is_empty();
    match name {
        "href" | "xlink:href" if element == "a" => value.starts_with("javascript:"),
        "href" | "xlink:href" => !inside,
        _ if LOADING.contains(&name) => !inside,
        _ => false,
    }
}

/// SVG element names in their own spelling, for end tags. Source: SVG 2, element index.
fn mixed_case(name: &str) -> &str {
    const MIXED: [&str; 11] = [
        "animateMotion",
        "animateTransform",
        "clipPath",
        "feColorMatrix",
        "feDropShadow",
        "feGaussianBlur",
        "feMergeNode",
        "foreignObject",
        "linearGradient",
        "radialGradient",
        "textPath",
    ];
    MIXED.into_iter().find(|mixed| mixed.eq_ignore_ascii_case(name)).unwrap_or(name)
}
