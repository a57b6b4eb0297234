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
    let mut events = Vec::new();
    for event in Parser::new(tex, &storage) {
        match event {
            // The parser gives a hard space as an entity, which the writer would then escape.
            Ok(Event::Content(Content::Text("&nbsp;"))) => {
                events.push(Ok(Event::Space {
                    width: Some(Dimension::new(WORD_SPACE, DimensionUnit::Em)),
                    height: None,
                    depth: None,
                }));
            }
            Ok(event) => events.push(Ok::<_, ParserError>(event)),
            Err(problem) => return Err(first_line(&problem.to_string())),
        }
    }
    let escaped = escape(tex);
    let config = RenderConfig {
        display_mode: if display { DisplayMode::Block } else { DisplayMode::Inline },
        // The TeX text goes along, for copying and for readers that speak it. The writer takes it as HTML.
        annotation: Some(&escaped),
        // Quantities in italics, capital Greek too, as ISO 80000-2 has it.
        math_style: MathStyle::ISO,
        ..RenderConfig::default()
    };
    let mut mathml = String::new();
    push_mathml(&mut mathml, events.into_iter(), config).map_err(|problem| problem.to_string())?;
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

fn first_line(text: &str) -> String {
    text.lines().map(str::trim).find(|line| !line.is_empty()).unwrap_or("unknown problem").to_owned()
}
