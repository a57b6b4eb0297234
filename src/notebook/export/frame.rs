//! The frame that every page shares: head, links to its neighbours, foot.

use super::escape::escape;
use super::{Link, Options};

/// The look of every page.
pub const STYLE: &str = include_str!("style.css");

/// Nothing is loaded: not by the page, nor by what a cell put into it. Styles and scripts inside the page may work.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
                      img-src data:; base-uri 'none'; form-action 'none'";

/// A whole document around a body.
pub fn document(options: &Options, title: &str, contents: &str, body: &str) -> String {
    let lang = escape(options.lang.as_deref().unwrap_or("en"));
    let long = if contents.is_empty() { "bench" } else { "bench bench-long" };
    format!(
        "<!DOCTYPE html>\n<html lang=\"{lang}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"generator\" content=\"railrise {version}\">\n\
         <title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#sheet\">Skip to the text</a>\n{head}\
         <div class=\"{long}\">\n{contents}<main id=\"sheet\" tabindex=\"-1\">\n{body}</main>\n</div>\n{foot}\
         </body>\n</html>\n",
        policy = POLICY,
        version = env!("CARGO_PKG_VERSION"),
        title = escape(title),
        head = head(options),
        foot = foot(options),
    )
}

fn head(options: &Options) -> String {
    let series = match &options.series {
        Some(series) => format!("<p class=\"series\">{}</p>\n", escape(series)),
        None => String::new(),
    };
    let ways = ways(options, "Other pages");
    if series.is_empty() && ways.is_empty() {
        return String::new();
    }
    format!("<header class=\"strip\">\n{series}{ways}</header>\n")
}

fn foot(options: &Options) -> String {
    let note = match &options.note {
        Some(note) => format!("<p>{}</p>\n", escape(note)),
        None => String::new(),
    };
    let ways = ways(options, "Where to go on");
    if note.is_empty() && ways.is_empty() {
        return String::new();
    }
    format!("<footer class=\"strip\">\n{ways}{note}</footer>\n")
}

fn ways(options: &Options, label: &str) -> String {
    let way = |link: &Option<Link>, class: &str, before: &str, after: &str, rel: &str| match link {
        Some(link) => format!(
            "<li class=\"{class}\"><a href=\"{}\"{rel}>{before}{}{after}</a></li>\n",
            escape(&link.href),
            escape(&link.title)
        ),
        None => String::new(),
    };
    let list = [
        way(&options.previous, "way-back", "← Before: ", "", " rel=\"prev\""),
        way(&options.index, "way-up", "↑ ", "", ""),
        way(&options.next, "way-on", "Next: ", " →", " rel=\"next\""),
    ]
    .concat();
    if list.is_empty() {
        return String::new();
    }
    format!("<nav class=\"ways\" aria-label=\"{label}\"><ul>\n{list}</ul></nav>\n")
}
