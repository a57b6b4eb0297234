//! The outputs of a code cell to HTML.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::Value;

use super::escape::escape;
use super::fragment::{self, Ids};
use super::markdown::{self, Setting};
use super::{maths, terminal};
use crate::notebook::output::text;

/// What a browser is shown when an output comes in several forms, best first.
const FORMS: [&str; 11] = [
    "text/html",
    "image/svg+xml",
    "image/png",
    "image/jpeg",
    "image/webp",
    "image/gif",
    "text/markdown",
    "text/latex",
    "application/json",
    "application/geo+json",
    "text/plain",
];

/// Renders one output. `step` names its cell in descriptions.
pub fn render(output: &Value, step: &str, setting: &mut Setting<'_>) -> String {
    match output["output_type"].as_str() {
        Some("stream") => stream(output),
        Some("error") => stopped(output),
        _ => shown(output, step, setting),
    }
}

fn stream(output: &Value) -> String {
    let written = text(&output["text"]).unwrap_or_default();
    if terminal::plain(&written).trim().is_empty() {
        return String::new();
    }
    let body = terminal::html(written.trim_end_matches('\n'));
    if output["name"] == "stderr" {
        format!(
            "<div class=\"reading message\"><p class=\"reading-label\">Message</p>\
             <pre tabindex=\"0\">{body}</pre></div>\n"
        )
    } else {
        format!("<pre class=\"reading print\" tabindex=\"0\">{body}</pre>\n")
    }
}

fn stopped(output: &Value) -> String {
    let name = output["ename"].as_str().unwrap_or_default();
    let message = terminal::plain(output["evalue"].as_str().unwrap_or_default());
    let trace: Vec<&str> = output["traceback"]
        .as_array()
        .map(|lines| lines.iter().filter_map(Value::as_str).collect())
        .unwrap_or_default();
    let trace = trace.join("\n");
    // How a step of a lesson stops says nothing to its reader; a compiler's error number does.
    let name = match name {
        "" | "panic" => String::new(),
        name => format!(": {}", escape(name)),
    };
    let mut html =
        format!("<div class=\"reading stopped\"><p class=\"reading-label\">Stopped here{name}</p>\n");
    // The message is often the trace's first line; once is enough.
    if !terminal::plain(&trace).contains(message.trim()) || trace.is_empty() {
        html.push_str(&format!("<p>{}</p>\n", escape(message.trim())));
    }
    if !trace.trim().is_empty() {
        html.push_str(&format!("<pre tabindex=\"0\">{}</pre>\n", terminal::html(trace.trim_end())));
    }
    html.push_str("</div>\n");
    html
}

fn shown(output: &Value, step: &str, setting: &mut Setting<'_>) -> String {
    let data = &output["data"];
    for form in FORMS {
        let Some(content) = data.get(form) else {
            continue;
        };
        if form.ends_with("json") {
            let json = serde_json::to_string_pretty(content).unwrap_or_default();
            return plain(&json);
        }
        let Some(content) = text(content) else {
            continue;
        };
        let body = match form {
            "text/html" => rich(&content, step, setting),
            "image/svg+xml" => drawing(&content, step, setting),
            "text/markdown" => {
                format!("<div class=\"reading prose\">{}</div>\n", markdown::render(&content, setting))
            }
            "text/latex" => latex(&content, setting),
            "text/plain" => plain(&content),
            picture => photo(picture, &content, &output["metadata"], step, setting),
        };
        return body;
    }
    if let Some((form, _)) = data.as_object().and_then(|data| data.iter().next()) {
        setting.complaints.push(format!("an output of type `{form}` cannot be shown in a page"));
    }
    String::new()
}

fn plain(content: &str) -> String {
    if content.trim().is_empty() || content.trim() == "()" {
        return String::new();
    }
    format!(
        "<pre class=\"reading value\" tabindex=\"0\">{}</pre>\n",
        terminal::html(content.trim_end_matches('\n'))
    )
}

fn rich(content: &str, step: &str, setting: &mut Setting<'_>) -> String {
    let piece = fragment::clean(content, Ids::Prefix(setting.prefix));
    setting.complaints.extend(piece.left_out);
    // Too wide, it scrolls by itself; the keyboard must get at it, by a stop of its own or one inside.
    let stops = ["<summary", "<a ", "<input", "<button"].iter().any(|tag| piece.html.contains(tag));
    let access = match stops {
        true => String::new(),
        false => {
            format!(" tabindex=\"0\" role=\"region\" aria-label=\"{}\"", escape(&format!("Result of {step}")))
        }
    };
    format!("<div class=\"reading rich\"{access}>{}</div>\n", piece.html)
}

fn drawing(content: &str, step: &str, setting: &mut Setting<'_>) -> String {
    // An XML declaration or document type before the drawing is for files.
    let start = content.find("<svg").unwrap_or(0);
    let piece = fragment::clean(&content[start..], Ids::Prefix(setting.prefix));
    setting.complaints.extend(piece.left_out);
    let (html, described) = describe_drawing(piece.html, step);
    if !described {
        setting.complaints.push("a drawing has neither a title nor a description".to_owned());
    }
    format!("<figure class=\"reading plate\">{html}</figure>\n")
}

/// Makes the drawing scale with the page and be announced as one picture. Tells whether it describes itself.
fn describe_drawing(html: String, step: &str) -> (String, bool) {
    let Some(end) = html.find('>').filter(|_| html.starts_with("<svg")) else {
        return (html, false);
    };
    let (head, body) = html.split_at(end);
    // The drawing's own title is its first child; another further in belongs to a part of it.
    let described = head.contains("aria-label") || body[1..].trim_start().starts_with("<title");
    let mut added = String::new();
    if !head.contains(" role=") {
        added.push_str(" role=\"img\"");
    }
    if !described {
        added.push_str(&format!(" aria-label=\"{}\"", escape(&format!("Drawing of {step}"))));
    }
    let measure = |name: &str| {
        let at = head.find(&format!(" {name}=\""))? + name.len() + 3;
        let value = head[at..].split('"').next()?;
        value.trim_end_matches("px").parse::<f64>().ok()
    };
    if !head.contains(" viewBox=")
        && let (Some(width), Some(height)) = (measure("width"), measure("height"))
    {
        added.push_str(&format!(" viewBox=\"0 0 {width} {height}\""));
    }
    (format!("<svg{added}{}{body}", &head[4..]), described)
}

fn photo(mime: &str, content: &str, metadata: &Value, step: &str, setting: &mut Setting<'_>) -> String {
    let data: String = content.split_whitespace().collect();
    if STANDARD.decode(&data).is_err() {
        setting.complaints.push(format!("a picture of type `{mime}` is damaged"));
        return "<p class=\"reading unset\">[damaged picture]</p>\n".to_owned();
    }
    let own = &metadata[mime];
    let alt = match own["alt"].as_str().or(metadata["alt"].as_str()) {
        Some(alt) => alt.to_owned(),
        None => {
            setting
                .complaints
                .push(format!("a picture of type `{mime}` has no description (`alt` in its metadata)"));
            format!("Picture made by {step}")
        }
    };
    let size: String = ["width", "height"]
        .iter()
        .filter_map(|key| Some(format!(" {key}=\"{}\"", own[*key].as_u64()?)))
        .collect();
    format!(
        "<figure class=\"reading plate\"><img src=\"data:{mime};base64,{data}\" alt=\"{}\"{size}></figure>\n",
        escape(&alt)
    )
}

fn latex(content: &str, setting: &mut Setting<'_>) -> String {
    let body = match maths::undelimited(content) {
        Some((tex, display)) => maths::formula(tex, display).unwrap_or_else(|problem| {
            setting.complaints.push(format!("the formula `{}` cannot be set: {problem}", tex.trim()));
            maths::unset(tex)
        }),
        // Text with formulas in it: the same rules as Markdown's.
        None => markdown::render(content, setting),
    };
    format!("<div class=\"reading prose\">{body}</div>\n")
}
