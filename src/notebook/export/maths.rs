//! TeX maths to MathML, which browsers set by themselves.

use pulldown_latex::config::{DisplayMode, MathStyle, RenderConfig};
use pulldown_latex::event::{Content, Dimension, DimensionUnit};
use pulldown_latex::{Event, Parser, ParserError, Storage, push_mathml};

use super::escape::escape;

/// Width of a space between words in em. Source: The TeXbook, appendix F (a font's interword space is near a third of an em).
const WORD_SPACE: f32 = 0.3;

/// Sets a formula; on failure gives what the TeX parser did not accept.
pub fn formula(tex: &str, display: bool) -> Result<String, String> {
    let tex = tex.trim();
    let storage = Storage::new();
    let parsed: Vec<Event<'_>> = Parser::new(tex, &storage)
        .collect::<Result<_, _>>()
        .map_err(|problem| first_line(&problem.to_string()))?;
    let texts: Vec<Option<String>> = parsed.iter().map(unescaped_text).collect();
    let events =
        parsed.iter().zip(&texts).map(|(event, text)| Ok::<_, ParserError>(amended(event, text.as_deref())));
    // The writer takes the annotation as HTML.
    let annotation = escape(tex);
    let config = RenderConfig {
        display_mode: if display { DisplayMode::Block } else { DisplayMode::Inline },
        // The TeX text goes along, for copying and for readers that speak it.
        annotation: Some(&annotation),
        // Quantities in italics, capital Greek too, as ISO 80000-2 has it.
        math_style: MathStyle::ISO,
        ..RenderConfig::default()
    };
    let mut mathml = String::new();
    push_mathml(&mut mathml, events, config).map_err(|problem| problem.to_string())?;
    // TeX sets a slash without space ("L/h"); a browser gives an operator some.
    let mathml = mathml.replace("<mo>/</mo>", "<mo lspace=\"0\" rspace=\"0\">/</mo>");
    Ok(if display {
        format!(
            "<span class=\"formula\" tabindex=\"0\" role=\"group\" aria-label=\"Formula\">{mathml}</span>"
        )
    } else {
        mathml
    })
}

/// What stands in the page for a formula that cannot be set: its TeX text, marked.
pub fn unset(tex: &str) -> String {
    format!("<code class=\"unset\">{}</code>", escape(tex.trim()))
}

/// A whole `text/latex` output: the delimiters it may come in, and whether it is a displayed formula.
///
/// `None` when it is a text with formulas in it and not one formula.
pub fn undelimited(text: &str) -> Option<(&str, bool)> {
    let text = text.trim();
    let inside = |open: &str, close: &str| {
        text.strip_prefix(open).and_then(|rest| rest.strip_suffix(close)).filter(|body| !body.contains(open))
    };
    if let Some(body) = inside("$$", "$$").or_else(|| inside("\\[", "\\]")) {
        return Some((body, true));
    }
    if let Some(body) = inside("\\(", "\\)") {
        return Some((body, false));
    }
    if let Some(body) = inside("$", "$") {
        // `$\displaystyle ...$` is how several tools ask for a displayed formula.
        return Some((body, body.trim_start().starts_with("\\displaystyle")));
    }
    text.starts_with("\\begin{").then_some((text, true))
}

/// The words of a `\text{...}` with its escapes resolved, when it has any: the parser hands them on as they stand.
fn unescaped_text(event: &Event<'_>) -> Option<String> {
    let Event::Content(Content::Text(text)) = event else {
        return None;
    };
    if !text.contains('\\') {
        return None;
    }
    let mut out = String::new();
    let mut letters = text.chars();
    while let Some(c) = letters.next() {
        match c {
            '\\' => match letters.next() {
                Some(',') => out.push('\u{202f}'),
                Some(space @ (' ' | ';' | ':')) => out.push(if space == ' ' { '\u{a0}' } else { ' ' }),
                Some('!') | None => {}
                Some(other) => out.push(other),
            },
            c => out.push(c),
        }
    }
    Some(out)
}

/// The event as the writer needs it.
fn amended<'a>(event: &Event<'a>, text: Option<&'a str>) -> Event<'a> {
    match event {
        // A hard space comes as an entity, which the writer would escape.
        Event::Content(Content::Text("&nbsp;")) => Event::Space {
            width: Some(Dimension::new(WORD_SPACE, DimensionUnit::Em)),
            height: None,
            depth: None,
        },
        Event::Content(Content::Text(_)) if text.is_some() => {
            Event::Content(Content::Text(text.unwrap_or_default()))
        }
        // `\mu` comes as the micro sign, which has no italic; a quantity is the Greek letter.
        Event::Content(Content::Ordinary { content: '\u{b5}', stretchy }) => {
            Event::Content(Content::Ordinary { content: '\u{3bc}', stretchy: *stretchy })
        }
        other => other.clone(),
    }
}

fn first_line(text: &str) -> String {
    text.lines().map(str::trim).find(|line| !line.is_empty()).unwrap_or("unknown problem").to_owned()
}
