//! Pages: balanced HTML, nothing loaded, plain text escaped, identifiers unique, colours legible.

use std::collections::BTreeSet;

use html5gum::{DefaultEmitter, Token, Tokenizer};
use proptest::prelude::*;
use railrise::notebook::export::{self, Link, Options, Page};
use railrise::notebook::index::{self, Entry, Outcome};
use railrise::notebook::{Notebook, output, student_copy};
use serde_json::{Value, json};

const SAMPLE: &str = include_str!("notebook/sample.ipynb");

fn sample() -> Page {
    let notebook = Notebook::from_str("sample.ipynb", SAMPLE).unwrap();
    let link = |name: &str| Some(Link { href: format!("{name}.html"), title: name.to_owned() });
    export::page(
        &notebook,
        &Options {
            series: Some("Fuel delivery".to_owned()),
            previous: link("first"),
            next: link("third"),
            index: link("index"),
            note: Some("Run in 3 s.".to_owned()),
            ..Options::default()
        },
    )
}

/// The page of one cell.
fn page_of(cell: Value) -> Page {
    let notebook = json!({ "cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5 });
    let notebook = Notebook::from_str("one.ipynb", &notebook.to_string()).unwrap();
    export::page(&notebook, &Options::default())
}

fn markdown(source: &str) -> Page {
    page_of(json!({ "cell_type": "markdown", "id": "a", "metadata": {}, "source": source }))
}

fn code(source: &str, outputs: &[Value]) -> Page {
    tagged(source, outputs, &[])
}

fn tagged(source: &str, outputs: &[Value], tags: &[&str]) -> Page {
    page_of(json!({ "cell_type": "code", "execution_count": 1, "id": "a", "metadata": { "tags": tags },
        "outputs": outputs, "source": source }))
}

fn shown(mime: &str, content: &str) -> Value {
    let data = json!({ mime: content });
    output::display(data.as_object().unwrap().clone())
}

/// The part of the page that a cell made.
fn main_of(page: &Page) -> &str {
    let start = page.html.find("<main").unwrap();
    let end = page.html.rfind("</main>").unwrap();
    &page.html[start..end]
}

/// One element of a page.
struct Element {
    name: String,
    attributes: Vec<(String, String)>,
}

impl Element {
    fn get(&self, key: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(name, _)| name == key);
        found.map(|(_, value)| value.as_str())
    }
}

/// Reads a page strictly: every element closed in order by its own end tag. Gives its elements and its text.
fn read(html: &str) -> Result<(Vec<Element>, String), String> {
    // HTML Standard, "Void elements".
    const VOID: [&str; 13] = [
        "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr",
    ];
    // HTML Standard, "Optional tags": those that foreign HTML may leave open.
    const OPTIONAL: [&str; 13] =
        ["dd", "dt", "li", "optgroup", "option", "p", "rp", "rt", "tbody", "td", "tfoot", "th", "tr"];
    let mut emitter = DefaultEmitter::default();
    emitter.naively_switch_states(true);
    let (mut open, mut elements, mut words) = (Vec::<String>::new(), Vec::new(), String::new());
    for token in Tokenizer::new_with_emitter(html, emitter) {
        let Ok(token) = token;
        match token {
            Token::StartTag(tag) => {
                let name = String::from_utf8_lossy(&tag.name).into_owned();
                let inner = open.iter().any(|open| open == "svg" || open == "math");
                if !(VOID.contains(&name.as_str()) || (tag.self_closing && (inner || name == "svg"))) {
                    open.push(name.clone());
                }
                elements.push(Element {
                    name,
                    attributes: tag
                        .attributes
                        .iter()
                        .map(|(key, value)| {
                            (
                                String::from_utf8_lossy(key).into_owned(),
                                String::from_utf8_lossy(value).into_owned(),
                            )
                        })
                        .collect(),
                });
            }
            Token::EndTag(tag) => {
                let name = String::from_utf8_lossy(&tag.name).into_owned();
                while open.last().is_some_and(|last| *last != name && OPTIONAL.contains(&last.as_str())) {
                    open.pop();
                }
                match open.pop() {
                    Some(last) if last == name => {}
                    last => return Err(format!("</{name}> closes {last:?}")),
                }
            }
            Token::String(text) => words.push_str(&String::from_utf8_lossy(&text)),
            Token::Error(problem) => return Err(format!("{problem:?}")),
            Token::Comment(_) | Token::Doctype(_) => {}
        }
    }
    if open.is_empty() { Ok((elements, words)) } else { Err(format!("left open: {open:?}")) }
}

/// Nothing in the page makes a browser load anything from outside it.
fn loads_nothing(elements: &[Element]) -> Result<(), String> {
    for element in elements {
        for (key, value) in &element.attributes {
            let loading = match key.as_str() {
                "src" | "srcset" | "poster" | "background" | "data" | "action" => true,
                "href" | "xlink:href" => element.name != "a",
                _ => false,
            };
            if loading && !(value.starts_with("data:") || value.starts_with('#')) {
                return Err(format!("<{} {key}={value}>", element.name));
            }
        }
        if ["base", "embed", "iframe", "link", "object"].contains(&element.name.as_str()) {
            return Err(format!("<{}>", element.name));
        }
    }
    Ok(())
}

#[test]
fn the_sample_page_is_balanced_self_contained_and_named() {
    let page = sample();
    assert_eq!(page.complaints, []);
    let (elements, _) = read(&page.html).unwrap();
    loads_nothing(&elements).unwrap();
    assert_eq!(page.title, "Why must the rail rise with boost?");
    assert!(page.html.contains("<title>Why must the rail rise with boost?</title>"));
    assert!(page.html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    let policy = elements
        .iter()
        .find(|element| element.get("http-equiv") == Some("Content-Security-Policy"))
        .and_then(|element| element.get("content"))
        .unwrap();
    assert!(policy.starts_with("default-src 'none'") && !policy.contains("http"));
    // Fonts and pictures in styles would load too.
    assert!(
        !page.html.contains("url(http")
            && !page.html.contains("@import")
            && !page.html.contains("@font-face")
    );
    let heads = elements.iter().filter(|element| element.name == "h1").count();
    assert_eq!(heads, 1);
}

#[test]
fn identifiers_are_unique_and_every_reference_has_one() {
    let page = sample();
    let (elements, _) = read(&page.html).unwrap();
    let mut ids = BTreeSet::new();
    for id in elements.iter().filter_map(|element| element.get("id")) {
        assert!(ids.insert(id), "`{id}` twice");
    }
    // Two figures of the sample carry the same identifiers in their own files.
    assert_eq!(ids.iter().filter(|id| id.ends_with("-fade")).count(), 2);
    for element in &elements {
        for key in ["aria-labelledby", "aria-describedby", "for"] {
            for id in element.get(key).unwrap_or_default().split_whitespace() {
                assert!(ids.contains(id), "{key}={id}");
            }
        }
        let inside = element.get("href").and_then(|href| href.strip_prefix('#'));
        assert!(inside.is_none_or(|id| ids.contains(id)), "#{inside:?}");
        for (_, value) in &element.attributes {
            if let Some(id) = value.strip_prefix("url(#").and_then(|rest| rest.strip_suffix(')')) {
                assert!(ids.contains(id), "url(#{id})");
            }
        }
    }
}

#[test]
fn pictures_and_drawings_are_described() {
    let (elements, _) = read(&sample().html).unwrap();
    let pictures: Vec<_> = elements.iter().filter(|element| element.name == "img").collect();
    assert_eq!(pictures.len(), 2);
    assert!(pictures.iter().all(|picture| picture.get("alt").is_some_and(|alt| alt.len() > 10)));
    let drawings = elements.iter().filter(|element| element.name == "svg");
    for drawing in drawings {
        assert!(
            drawing.get("aria-hidden") == Some("true")
                || (drawing.get("role") == Some("img")
                    && (drawing.get("aria-label").is_some() || drawing.get("aria-labelledby").is_some()))
        );
    }
    let bare =
        code("", &[shown("image/svg+xml", "<svg width=\"40\" height=\"30\"><path d=\"M0 0\"/></svg>")]);
    assert!(
        main_of(&bare).contains("<svg role=\"img\" aria-label=\"Drawing of step 1\" viewBox=\"0 0 40 30\"")
    );
    assert_eq!(bare.complaints[0].problem, "a drawing has neither a title nor a description");
    let unsaid = markdown("![](data:image/png;base64,AAAA)");
    assert!(unsaid.complaints[0].problem.ends_with("has no description"));
}

#[test]
fn plain_text_of_every_kind_is_escaped() {
    let attack = "<script>alert(1)</script>\"'&<img src=x onerror=alert(1)>";
    let pages = [
        code(&format!("// {attack}"), &[]),
        code("", &[output::stream("stdout", attack)]),
        code("", &[output::stream("stderr", attack)]),
        code("", &[shown("text/plain", attack)]),
        code("", &[output::error(attack, attack, &[attack.to_owned()])]),
        code("", &[shown("text/latex", &format!("$\\text{{{attack}}}$"))]),
        markdown(&format!("`{attack}`\n\n    {attack}\n\n$\\unknown{{{attack}}}$")),
        markdown(&format!("```\n{attack}\n```\n\n```rust\n{attack}\n```")),
    ];
    for page in pages {
        let (elements, words) = read(&page.html).unwrap();
        assert!(!elements.iter().any(|element| element.name == "script" || element.name == "img"));
        assert!(words.contains("alert(1)"), "the text itself is shown");
    }
    let named = Options {
        title: Some(attack.to_owned()),
        note: Some(attack.to_owned()),
        series: Some(attack.to_owned()),
        lang: Some(attack.to_owned()),
        next: Some(Link { href: attack.to_owned(), title: attack.to_owned() }),
        ..Options::default()
    };
    let empty = json!({ "cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5 });
    let notebook = Notebook::from_str("none.ipynb", &empty.to_string()).unwrap();
    let (elements, _) = read(&export::html(&notebook, &named)).unwrap();
    assert!(!elements.iter().any(|element| element.name == "script" || element.name == "img"));
}

#[test]
fn foreign_html_cannot_break_or_steer_the_page() {
    let page = code(
        "",
        &[shown(
            "text/html",
            "</div></section><b>bold<meta http-equiv=refresh content='0;url=http://a.example'><base href='http://a.example'>\
             <link rel=stylesheet href='//a.example/x.css'><img src='https://a.example/x.png' alt=far>\
             <iframe src='x.html'></iframe><a href='javascript:go()'>go</a><ul><li>one<li>two</ul></body></html>",
        )],
    );
    let (elements, words) = read(&page.html).unwrap();
    loads_nothing(&elements).unwrap();
    assert!(words.contains("bold") && words.contains("two"));
    assert!(!page.html.contains("a.example") && !page.html.contains("javascript:"));
    assert_eq!(elements.iter().filter(|element| element.name == "meta").count(), 4);
    assert!(page.complaints.len() >= 6, "{:?}", page.complaints);
    assert_eq!(page.complaints[0].cell.to_string(), "cell 1 (id `a`)");
}

#[test]
fn identifiers_of_drawings_are_renamed_with_all_that_refers_to_them() {
    let drawing = "<svg viewBox=\"0 0 9 9\" aria-labelledby=\"t\"><title id=\"t\">Rail</title><style>#g{fill:url(#f)} .h{fill:#abc}</style>\
                   <linearGradient id=\"f\"/><g id=\"g\" filter=\"url(#f)\"/><use href=\"#g\"/><animate begin=\"0.5s;g.click\"/></svg>";
    let page = code("", &[shown("image/svg+xml", drawing)]);
    let main = main_of(&page);
    for part in [
        "aria-labelledby=\"cell1-1-t\"",
        "#cell1-1-g{fill:url(#cell1-1-f)} .h{fill:#abc}",
        "<linearGradient id=\"cell1-1-f\"/>",
        "filter=\"url(#cell1-1-f)\"",
        "href=\"#cell1-1-g\"",
        "begin=\"0.5s;cell1-1-g.click\"",
        "viewBox=\"0 0 9 9\"",
    ] {
        assert!(main.contains(part), "{part} in {main}");
    }
    // A script knows its own names.
    let scripted = code(
        "",
        &[shown("text/html", "<p id=\"a\">x</p><script>document.getElementById('a') && 1 < 2</script>")],
    );
    assert!(
        main_of(&scripted)
            .contains("<p id=\"a\">x</p><script>document.getElementById('a') && 1 < 2</script>")
    );
}

#[test]
fn marked_boxes_and_folded_answers() {
    let page = markdown(
        "> **Caution** Petrol vapour travels.\n\n> **Predict:** the gauge\n\n> **Answer**\n>\n> 4.4 bar\n\n> only said\n\n\
         > [!WARNING]\n> hot\n\n> **Bold** but no box",
    );
    let main = main_of(&page);
    assert!(main.contains("<aside class=\"slip slip-caution\" role=\"note\" aria-label=\"Caution\">"));
    assert!(main.contains("<p>Petrol vapour travels.</p>"));
    assert!(main.contains("aria-label=\"Predict\"") && main.contains("<p>The gauge</p>"));
    assert!(
        main.contains("<details class=\"slip slip-answer\"><summary>")
            && main.contains("<p>4.4\u{a0}bar</p>")
    );
    assert!(main.contains("aria-label=\"Warning\""));
    assert_eq!(main.matches("<blockquote>").count(), 2);
    assert_eq!(main.matches("<aside").count(), 3);
    read(&page.html).unwrap();
}

#[test]
fn tags_change_how_a_cell_is_shown() {
    let text = [output::stream("stdout", "a result\n")];
    let folded = tagged("let x = 1;", &text, &["hide-input"]);
    assert!(main_of(&folded).contains("<details class=\"fold\"><summary>Show the code of step 1</summary>"));
    let asked = tagged("check(\"How much?\", \"\")\n    .against(bar(3.0))", &text, &[]);
    assert!(
        main_of(&asked)
            .contains("<details class=\"fold\"><summary>Show how step 1 checks the answer</summary>")
    );
    let plain = tagged("let x = vec\n    .len();", &text, &[]);
    assert!(!main_of(&plain).contains("<details"));
    let quiet = tagged("let x = 1;", &text, &["hide-output"]);
    assert!(main_of(&quiet).contains("<summary>Show the result of step 1</summary>"));
    let bare = tagged("let secret = 1;", &text, &["remove-input"]);
    assert!(!bare.html.contains("secret") && bare.html.contains("a result"));
    let dry = tagged("let x = 1;", &text, &["remove-output"]);
    assert!(!dry.html.contains("a result"));
    let gone = tagged("let secret = 1;", &text, &["remove-cell"]);
    assert!(!gone.html.contains("secret") && !gone.html.contains("a result"));
    let values = tagged("let x = 1;", &[], &["parameters"]);
    assert!(values.html.contains("yours to change"));

    let notebook = Notebook::from_str("sample.ipynb", SAMPLE).unwrap();
    let teachers = export::html(&notebook, &Options::default());
    let students = export::html(&student_copy(&notebook), &Options::default());
    assert!(teachers.contains("For the teacher") && !students.contains("For the teacher"));
}

#[test]
fn maths_is_set_and_what_cannot_be_set_is_shown_and_reported() {
    let page =
        markdown("Inline $\\Delta p$, and\n\n$$\\frac{a}{b}\\ \\mathrm{bar}$$\n\nbad $\\nosuchthing x$");
    let main = main_of(&page);
    assert!(
        main.contains("<mfrac>")
            && main.contains("display=\"block\"")
            && main.contains("<mspace width=\"0.3em\"")
            && !main.contains("nbsp")
    );
    assert!(main.contains("<span class=\"hold\"><math"), "a formula keeps its comma");
    assert!(main.contains("<code class=\"unset\">\\nosuchthing x</code>"));
    assert_eq!(page.complaints.len(), 1);
    assert!(page.complaints[0].problem.contains("\\nosuchthing x"));
    // Beside the library's own reading: a viscosity is a Greek letter, "L/h" has no gaps, a percent sign no backslash.
    let amended = markdown("$\\mu = 3\\ \\mathrm{L/h} \\text{ at 100\\% duty}$");
    for part in ["<mi>\u{3bc}</mi>", "<mo lspace=\"0\" rspace=\"0\">/</mo>", "at 100% duty"] {
        assert!(main_of(&amended).contains(part), "{}", main_of(&amended));
    }
    for (latex, display) in [
        ("$$x$$", true),
        ("\\[x\\]", true),
        ("$x$", false),
        ("\\(x\\)", false),
        ("$\\displaystyle x$", true),
        ("\\begin{aligned} x &= 1 \\end{aligned}", true),
    ] {
        let page = code("", &[shown("text/latex", latex)]);
        assert_eq!(main_of(&page).contains("display=\"block\""), display, "{latex}");
        assert!(page.complaints.is_empty() && main_of(&page).contains("<math"));
    }
    let mixed = code("", &[shown("text/latex", "The rail reads $p_r$ and $p_m$.")]);
    assert_eq!(main_of(&mixed).matches("<math").count(), 2);
}

#[test]
fn terminal_text_is_settled_and_coloured() {
    let page = code(
        "",
        &[output::stream(
            "stdout",
            "10 %\r60 %\rdone\r\n\x1b[1;31mshort\x1b[0m of \x1b[38;5;208mfuel\x1b[39m\x1b[2K \x1b]0;title\x07<end>",
        )],
    );
    assert!(main_of(&page).contains(
        "done\n<span class=\"ink-red ink-bold\">short</span> of <span class=\"ink-red\">fuel</span> &lt;end&gt;"
    ), "{}", main_of(&page));
}

#[test]
fn links_to_notebooks_lead_to_their_pages() {
    let page =
        markdown("[a](b.ipynb) [c](b.ipynb#Volts-are-flow) [d](#The-law) [e](https://e.example/x.ipynb)");
    for link in ["\"b.html\"", "\"b.html#volts-are-flow\"", "\"#the-law\"", "\"https://e.example/x.ipynb\""] {
        assert!(main_of(&page).contains(&format!("href={link}")), "{link}");
    }
}

#[test]
fn the_richest_form_is_shown_and_pictures_far_away_are_not() {
    let data = json!({ "text/plain": "plain", "text/html": "<b>rich</b>", "image/png": "AAAA" });
    let page = code("", &[output::result(1, data.as_object().unwrap().clone())]);
    assert!(page.html.contains("<b>rich</b>") && !page.html.contains("plain</pre>"));
    let far = markdown("![far away](https://a.example/x.png)");
    assert!(!far.html.contains("a.example") && far.html.contains("[picture: far away]"));
    assert_eq!(far.complaints.len(), 1);
    let damaged = code("", &[shown("image/png", "not base64!")]);
    assert!(damaged.html.contains("[damaged picture]"));
}

#[test]
fn a_long_page_has_contents_and_a_short_one_has_none() {
    let page = sample();
    assert!(
        page.html.contains("<nav class=\"contents\"")
            && page.html.contains("<a href=\"#the-law\">The law</a>")
    );
    let short = markdown("# One\n\n## Two\n\n# Three");
    assert!(!short.html.contains("<nav class=\"contents\""));
    // A page has one title: a second one steps down.
    assert!(short.html.contains("<h2 id=\"three\">Three</h2>"));
}

#[test]
fn the_list_says_what_each_page_answers_and_how_its_run_went() {
    let notebook = Notebook::from_str("sample.ipynb", SAMPLE).unwrap();
    let mut first = Entry::of(&notebook, "sample.html");
    assert_eq!(first.title, "Why must the rail rise with boost?");
    assert!(first.answers.starts_with("Why a rail that stays put") && first.minutes == Some(35));
    first.outcome = Outcome::Finished { seconds: 2.46 };
    let second = Entry {
        href: "b.html".to_owned(),
        title: "Volts <are> flow".to_owned(),
        minutes: Some(40),
        outcome: Outcome::Stopped { cause: "cell 3: <lean>".to_owned() },
        ..Entry::default()
    };
    let entries = [first, second];
    let html = index::html("All lessons", &entries, &Options::default());
    let (elements, words) = read(&html).unwrap();
    loads_nothing(&elements).unwrap();
    for said in [
        "Volts <are> flow",
        "ran to its end in 2.5 s",
        "stopped: cell 3: <lean>",
        "1 hour 15 minutes",
        "35 min",
    ] {
        assert!(words.contains(said), "{said}");
    }
    let (before, after) = index::neighbours(&entries, 0);
    assert_eq!((before, after.unwrap().href), (None, "b.html".to_owned()));
}

/// Relative luminance and contrast. Source: WCAG 2.2, "relative luminance" and "contrast ratio".
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |colour: &str| {
        let part = |at: usize| {
            let value = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn every_text_colour_is_legible_on_every_ground_it_stands_on() {
    // WCAG 2.2, 1.4.3: black on white is 21 : 1, and text needs 4.5 : 1.
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    let html = sample().html;
    let colour = |name: &str| {
        let at = html.find(&format!("--{name}: #")).unwrap_or_else(|| panic!("no colour `{name}`"));
        html[at + name.len() + 4..][..7].to_owned()
    };
    let slips = ["caution", "predict", "check", "belief", "try", "answer"];
    let mut pairs: Vec<(String, String)> =
        slips.iter().map(|slip| (format!("{slip}-ink"), (*slip).to_owned())).collect();
    // Prose, code and links stand in boxes too.
    for ground in slips.iter().chain(&["paper", "plate", "code"]) {
        for ink in ["ink", "quiet", "link"] {
            pairs.push((ink.to_owned(), (*ground).to_owned()));
        }
    }
    for ink in ["rs-word", "rs-text", "rs-number", "rs-note", "rs-type", "rs-call"] {
        pairs.push((ink.to_owned(), "code".to_owned()));
    }
    for ink in ["ink-red", "ink-green", "ink-yellow", "ink-blue", "ink-magenta", "ink-cyan", "check-ink"] {
        pairs.push((ink.to_owned(), "paper".to_owned()));
    }
    for (ink, ground) in pairs {
        let ratio = contrast(&colour(&ink), &colour(&ground));
        assert!(ratio >= 4.5, "{ink} on {ground}: {ratio:.2}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Colouring changes no letter of the code, whatever stands in the cell.
    #[test]
    fn coloured_code_reads_as_it_was_written(source in "[ -~\né£]{0,80}|(let |\"|'|//|/\\*|r#|:|fn|\n|x!|\\(|7\\.|\\{)*") {
        prop_assume!(!source.trim().is_empty());
        let page = code(&source, &[]);
        let (_, words) = read(main_of(&page).split_once("<code>").unwrap().1.split_once("</code>").unwrap().0).unwrap();
        prop_assert_eq!(words, source.trim_end());
    }

    /// Whatever HTML a cell shows, the page stays balanced and loads nothing.
    #[test]
    fn any_output_leaves_the_page_balanced(parts in prop::collection::vec(prop::sample::select(vec![
        "<div>", "</div>", "<p>", "</p>", "<b", ">", "<svg>", "</svg>", "<path/>", "<br/>", "<!--", "-->", "<script>", "</script>",
        "<style>", "</style>", "<td>", "</main>", "</body>", "text & more", "<img src=//a.example/x>", "\"", "<a href='", "'", "<title>",
        "</title>", "<![CDATA[", "]]>", "<math>", "<li>", "</ul>", "<textarea>", "&lt;", "&#0;", "<DIV ID=x>", "</DIV>",
    ]), 0..25)) {
        let page = code("1", &[shown("text/html", &parts.concat()), shown("image/svg+xml", &parts.concat())]);
        let (elements, _) = read(&page.html).map_err(TestCaseError::fail)?;
        loads_nothing(&elements).map_err(TestCaseError::fail)?;
        let page = markdown(&parts.concat());
        let (elements, _) = read(&page.html).map_err(TestCaseError::fail)?;
        loads_nothing(&elements).map_err(TestCaseError::fail)?;
    }
}
