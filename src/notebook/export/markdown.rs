//! The Markdown of one cell to HTML.

use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use pulldown_cmark::{CodeBlockKind, CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};

use super::boxes::BoxKind;
use super::contents::Contents;
use super::escape::escape;
use super::fragment::{self, Ids};
use super::{maths, rust};
use crate::notebook::Cell;

/// What a cell's Markdown is rendered with.
pub struct Setting<'a> {
    /// The cell, for its stored pictures; none for text that stands outside a notebook.
    pub cell: Option<Cell<'a>>,
    /// The folder that pictures are named from.
    pub folder: Option<&'a Path>,
    /// What makes identifiers of this cell differ from others.
    pub prefix: &'a str,
    /// The headings met so far; none where headings are not part of the page's contents, as in an output.
    pub contents: Option<&'a mut Contents>,
    /// What could not be shown as it was meant.
    pub complaints: &'a mut Vec<String>,
}

/// Renders Markdown with tables, footnotes, task lists, struck text, maths and marked boxes.
pub fn render(source: &str, setting: &mut Setting<'_>) -> String {
    let options = Options::ENABLE_TABLES
        | Options::ENABLE_FOOTNOTES
        | Options::ENABLE_TASKLISTS
        | Options::ENABLE_STRIKETHROUGH
        | Options::ENABLE_MATH
        | Options::ENABLE_GFM;
    let events: Vec<Event<'_>> = Parser::new_ext(source, options).collect();
    let mut writer = Writer { setting, quotes: Vec::new(), out: Vec::with_capacity(events.len()) };
    writer.blocks(&events);
    let events = writer.out;
    let mut page = String::new();
    html::push_html(&mut page, events.into_iter());
    let piece = fragment::clean(&page, Ids::Keep);
    setting.complaints.extend(piece.left_out);
    piece.html
}

struct Writer<'s, 'c, 'e> {
    setting: &'s mut Setting<'c>,
    quotes: Vec<Option<BoxKind>>,
    out: Vec<Event<'e>>,
}

impl<'e> Writer<'_, '_, 'e> {
    fn put(&mut self, html: String) {
        self.out.push(Event::Html(html.into()));
    }

    fn blocks(&mut self, events: &[Event<'e>]) {
        let mut n = 0;
        while n < events.len() {
            n += match &events[n] {
                Event::Start(Tag::BlockQuote(kind)) => self.quote(kind.as_ref(), &events[n..]),
                Event::Start(Tag::Heading { level, .. }) => self.heading(*level, &events[n..]),
                Event::Start(Tag::CodeBlock(kind)) => self.code(kind, &events[n..]),
                Event::Start(Tag::Image { dest_url, .. }) => self.picture(dest_url, &events[n..]),
                Event::InlineMath(tex) => self.inline_formula(tex, events.get(n + 1)),
                event => {
                    self.one(event);
                    1
                }
            };
        }
    }

    fn one(&mut self, event: &Event<'e>) {
        match event {
            Event::End(TagEnd::BlockQuote(_)) => match self.quotes.pop().flatten() {
                Some(kind) => self.put(kind.close().to_owned()),
                None => self.out.push(event.clone()),
            },
            Event::Start(Tag::Table(_)) => {
                self.put(
                    "<div class=\"ledger\" tabindex=\"0\" role=\"group\" aria-label=\"Table\">".to_owned(),
                );
                self.out.push(event.clone());
            }
            Event::End(TagEnd::Table) => {
                self.out.push(event.clone());
                self.put("</div>\n".to_owned());
            }
            Event::InlineMath(tex) => {
                self.inline_formula(tex, None);
            }
            Event::DisplayMath(tex) => {
                let html = self.formula(tex, true);
                self.out.push(Event::InlineHtml(html.into()));
            }
            Event::TaskListMarker(done) => {
                let (mark, said) = if *done { ("☑", "done") } else { ("☐", "to do") };
                let html = format!("<span class=\"tick\" role=\"img\" aria-label=\"{said}\">{mark}</span> ");
                self.out.push(Event::InlineHtml(html.into()));
            }
            Event::FootnoteReference(name) => {
                let name = self.footnote(name);
                self.out.push(Event::FootnoteReference(name));
            }
            Event::Start(Tag::FootnoteDefinition(name)) => {
                let name = self.footnote(name);
                self.out.push(Event::Start(Tag::FootnoteDefinition(name)));
            }
            Event::Start(Tag::Link { link_type, dest_url, title, id }) => {
                self.out.push(Event::Start(Tag::Link {
                    link_type: *link_type,
                    dest_url: page_link(dest_url).into(),
                    title: title.clone(),
                    id: id.clone(),
                }))
            }
            Event::Text(text) => self.out.push(Event::Text(held(text))),
            _ => self.out.push(event.clone()),
        }
    }

    fn footnote(&self, name: &str) -> CowStr<'e> {
        format!("{}note-{}", self.setting.prefix, super::contents::slug(name)).into()
    }

    /// A formula in a line, kept together with the mark that follows it; a browser would break the line between them.
    fn inline_formula(&mut self, tex: &str, next: Option<&Event<'e>>) -> usize {
        let html = self.formula(tex, false);
        if let Some(Event::Text(text)) = next
            && let Some(mark) = text.chars().next().filter(|c| ".,;:!?)".contains(*c))
        {
            let html = format!("<span class=\"hold\">{html}{mark}</span>");
            self.out.push(Event::InlineHtml(html.into()));
            self.out.push(Event::Text(text[mark.len_utf8()..].to_owned().into()));
            return 2;
        }
        self.out.push(Event::InlineHtml(html.into()));
        1
    }

    fn formula(&mut self, tex: &str, display: bool) -> String {
        maths::formula(tex, display).unwrap_or_else(|problem| {
            self.setting.complaints.push(format!("the formula `{}` cannot be set: {problem}", tex.trim()));
            maths::unset(tex)
        })
    }

    /// A block quote: a marked box when it says so. Gives how many events it has used.
    fn quote(&mut self, kind: Option<&pulldown_cmark::BlockQuoteKind>, events: &[Event<'e>]) -> usize {
        if let Some(kind) = kind {
            let (kind, label) = BoxKind::marked(*kind);
            self.quotes.push(Some(kind));
            self.put(kind.open(label));
            return 1;
        }
        if let [
            _,
            Event::Start(Tag::Paragraph),
            Event::Start(Tag::Strong),
            Event::Text(label),
            Event::End(TagEnd::Strong),
            rest @ ..,
        ] = events
            && let Some(kind) = BoxKind::of(label)
        {
            self.quotes.push(Some(kind));
            self.put(kind.open(label));
            let mut used = 5;
            // What joined the label to its sentence is not needed between a heading and a paragraph.
            let mut rest = rest.iter();
            let mut next = rest.next();
            let mut kept = None;
            if let Some(Event::Text(text)) = next {
                let text = text.trim_start_matches([':', '.', ',', '-', '–', '—', ' ']);
                used += 1;
                next = rest.next();
                if !text.is_empty() {
                    // The label has become a heading, so what follows begins a sentence.
                    let mut letters = text.chars();
                    kept =
                        letters.next().map(|first| first.to_uppercase().chain(letters).collect::<String>());
                }
            }
            while kept.is_none() && matches!(next, Some(Event::SoftBreak | Event::HardBreak)) {
                used += 1;
                next = rest.next();
            }
            if kept.is_none() && matches!(next, Some(Event::End(TagEnd::Paragraph))) {
                return used + 1;
            }
            self.out.push(Event::Start(Tag::Paragraph));
            if let Some(text) = kept {
                self.out.push(Event::Text(text.into()));
            }
            return used;
        }
        self.quotes.push(None);
        self.out.push(events[0].clone());
        1
    }

    fn heading(&mut self, level: HeadingLevel, events: &[Event<'e>]) -> usize {
        let end = events
            .iter()
            .position(|event| matches!(event, Event::End(TagEnd::Heading(_))))
            .unwrap_or(events.len() - 1);
        let inside = &events[1..end];
        let mut text = String::new();
        let mut shown = String::new();
        for event in inside {
            match event {
                Event::Text(part) => {
                    text.push_str(part);
                    shown.push_str(&escape(part));
                }
                Event::Code(part) => {
                    text.push_str(part);
                    shown.push_str(&format!("<code>{}</code>", escape(part)));
                }
                Event::InlineMath(tex) => {
                    text.push_str(tex);
                    shown.push_str(&maths::formula(tex, false).unwrap_or_else(|_| maths::unset(tex)));
                }
                Event::SoftBreak | Event::HardBreak => {
                    text.push(' ');
                    shown.push(' ');
                }
                _ => {}
            }
        }
        let (level, id) = match self.setting.contents.as_deref_mut() {
            Some(contents) => {
                let (level, id) = contents.add(level as usize, &text, &shown);
                (level, Some(id))
            }
            None => (level as usize, None),
        };
        let level = HeadingLevel::try_from(level).unwrap_or(HeadingLevel::H6);
        self.out.push(Event::Start(Tag::Heading {
            level,
            id: id.map(CowStr::from),
            classes: Vec::new(),
            attrs: Vec::new(),
        }));
        for event in inside {
            self.one(event);
        }
        self.out.push(Event::End(TagEnd::Heading(level)));
        end + 1
    }

    fn code(&mut self, kind: &CodeBlockKind<'e>, events: &[Event<'e>]) -> usize {
        let end = events
            .iter()
            .position(|event| matches!(event, Event::End(TagEnd::CodeBlock)))
            .unwrap_or(events.len() - 1);
        let source: String = events[1..end]
            .iter()
            .filter_map(|event| match event {
                Event::Text(text) => Some(text.as_ref()),
                _ => None,
            })
            .collect();
        let is_rust = matches!(kind, CodeBlockKind::Fenced(info) if info.split(',').next() == Some("rust"));
        let body = if is_rust { rust::html(&source) } else { escape(&source) };
        self.put(format!("<pre class=\"sample\" tabindex=\"0\"><code>{}</code></pre>\n", body.trim_end()));
        end + 1
    }

    fn picture(&mut self, target: &str, events: &[Event<'e>]) -> usize {
        let end = events
            .iter()
            .position(|event| matches!(event, Event::End(TagEnd::Image)))
            .unwrap_or(events.len() - 1);
        let alt: String = events[1..end]
            .iter()
            .filter_map(|event| match event {
                Event::Text(text) | Event::Code(text) => Some(text.as_ref()),
                Event::SoftBreak => Some(" "),
                _ => None,
            })
            .collect();
        if alt.trim().is_empty() {
            self.setting.complaints.push(format!("the picture `{target}` has no description"));
        }
        let html = match self.picture_data(target) {
            Ok(data) => format!("<img src=\"{}\" alt=\"{}\">", escape(&data), escape(&alt)),
            Err(problem) => {
                self.setting.complaints.push(problem);
                format!("<span class=\"unset\">[picture: {}]</span>", escape(&alt))
            }
        };
        self.out.push(Event::InlineHtml(html.into()));
        end + 1
    }

    /// A picture as a `data:` address, so that the page carries it.
    fn picture_data(&self, target: &str) -> Result<String, String> {
        if target.starts_with("data:image/") {
            return Ok(target.to_owned());
        }
        if let Some(name) = target.strip_prefix("attachment:") {
            let stored = self.setting.cell.and_then(|cell| cell.attachment(name));
            let (mime, content) = stored.ok_or_else(|| format!("the cell holds no picture `{name}`"))?;
            return Ok(if mime == "image/svg+xml" {
                format!("data:{mime};base64,{}", STANDARD.encode(content))
            } else {
                format!("data:{mime};base64,{}", content.split_whitespace().collect::<String>())
            });
        }
        if target.contains("://") || target.starts_with("//") {
            return Err(format!(
                "the picture `{target}` is elsewhere; a page loads nothing, so store it in the cell or beside the notebook"
            ));
        }
        let mime = match target.rsplit('.').next() {
            Some("svg") => "image/svg+xml",
            Some("png") => "image/png",
            Some("jpg" | "jpeg") => "image/jpeg",
            Some("webp") => "image/webp",
            Some("gif") => "image/gif",
            _ => {
                return Err(format!("the picture `{target}` is not svg, png, jpeg, webp or gif"));
            }
        };
        let folder = self.setting.folder.unwrap_or(Path::new("."));
        let bytes = std::fs::read(folder.join(target))
            .map_err(|problem| format!("the picture `{target}` cannot be read: {problem}"))?;
        Ok(format!("data:{mime};base64,{}", STANDARD.encode(bytes)))
    }
}

/// Units, and signs like them, that stay on the line of the number before them.
const UNITS: [&str; 44] = [
    "%", "‰", "bar", "mbar", "kPa", "hPa", "MPa", "Pa", "psi", "inHg", "L/h", "L/min", "cc/min", "mL", "cc",
    "L", "V", "A", "Ω", "mΩ", "W", "kW", "ms", "µs", "s", "min", "h", "rpm", "rev/min", "Hz", "kHz", "mm",
    "mm²", "cm", "m", "g", "kg", "g/s", "kg/m³", "K", "°C", "°F", "degC", "°",
];

/// The text with hard spaces between numbers and their units.
fn held<'e>(text: &CowStr<'e>) -> CowStr<'e> {
    let mut out = String::new();
    let mut done = 0;
    for (at, _) in text.match_indices(' ') {
        let after = &text[at + 1..];
        let end = after.find(|c: char| c.is_whitespace() || ",;:.)?!".contains(c)).unwrap_or(after.len());
        if text[..at].ends_with(|c: char| c.is_ascii_digit()) && UNITS.contains(&&after[..end]) {
            out.push_str(&text[done..at]);
            out.push('\u{a0}');
            done = at + 1;
        }
    }
    if done == 0 {
        return text.clone();
    }
    out.push_str(&text[done..]);
    out.into()
}

/// A link to a notebook beside this one leads to its page, and to a heading by the identifier that it has there.
fn page_link(target: &str) -> String {
    let (path, anchor) = match target.split_once('#') {
        Some((path, anchor)) => (path, format!("#{}", super::contents::slug(anchor))),
        None => (target, String::new()),
    };
    match path.strip_suffix(".ipynb") {
        Some(stem) if !path.contains("://") => format!("{stem}.html{anchor}"),
        _ if path.is_empty() => anchor,
        _ => target.to_owned(),
    }
}
