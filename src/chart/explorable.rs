//! A figure with a slider, in one piece of HTML that needs nothing else.

use super::figure::{Chart, Figure};
use super::sheet::escape;
use std::fmt::{self, Write};

/// Frames of one figure for the steps of a slider.
///
/// The output needs no network, no library and no identifiers outside its own frames: the slider carries
/// its few lines of script in its own `oninput`, and moves the frame asked for onto the stage and the one
/// before back into the list. So it works in a notebook, in an exported page and several times on one
/// page; arrow keys, Home and End move it, also where a notebook program has these keys for itself (the
/// attribute by which Lumino, its key handler, keeps its hands off); the value is read out. Without scripting the first frame
/// stands there, the slider is hidden, and a list holds the others. A page's print style can print the frame on
/// stage and the slots marked `data-print`: the first, the middle and the last frame.
///
/// Frames compare well only on equal axes: fix the ranges of the figures.
#[derive(Clone, Debug, Default)]
pub struct Explorable {
    name: String,
    unit: String,
    frames: Vec<(String, Figure)>,
    start: usize,
}

impl Explorable {
    /// An empty explorable; `name` and `unit` are of the quantity that the slider changes.
    pub fn new(name: &str, unit: &str) -> Explorable {
        Explorable { name: name.to_string(), unit: unit.to_string(), frames: Vec::new(), start: 0 }
    }

    /// Adds a frame: the value of the slider as printed, without unit, and the figure there.
    pub fn frame(mut self, label: impl Into<String>, chart: &impl Chart) -> Explorable {
        self.frames.push((label.into(), chart.figure()));
        self
    }

    /// One frame for each value; the figure is made from it.
    pub fn sweep<C: Chart>(
        name: &str,
        unit: &str,
        values: impl IntoIterator<Item = f64>,
        draw: impl Fn(f64) -> C,
    ) -> Explorable {
        values.into_iter().fold(Explorable::new(name, unit), |all, value| {
            all.frame(super::scale::figures(value, 4), &draw(value))
        })
    }

    /// Which frame is shown first, counted from zero; the last one when there are fewer.
    pub fn start_at(mut self, frame: usize) -> Explorable {
        self.start = frame;
        self
    }

    /// The frames, in order.
    pub fn frames(&self) -> impl Iterator<Item = (&str, &Figure)> {
        self.frames.iter().map(|(label, figure)| (label.as_str(), figure))
    }

    fn shown(&self) -> usize {
        self.start.min(self.frames.len().saturating_sub(1))
    }

    fn value(&self, label: &str) -> String {
        if self.unit.is_empty() || self.unit == "-" {
            label.to_string()
        } else {
            format!("{label} {}", self.unit)
        }
    }

    /// Slider, stage and list as one piece of HTML.
    pub fn html(&self) -> String {
        if self.frames.is_empty() {
            return format!(
                "<p>The explorable for {} holds no frame: add one with <code>frame</code>.</p>",
                escape(&self.name)
            );
        }
        let shown = self.shown();
        let last = self.frames.len() - 1;
        let (name, now) = (escape(&self.name), escape(&self.value(&self.frames[shown].0)));
        let mut out = String::from("<div class=\"railrise-explorable\" style=\"max-width:980px\">");
        // Hidden until a script can show it: without scripting a slider that does nothing would mislead.
        // An image that fails to load runs its line of script in a page as well as in HTML that is put in
        // later, where script elements do not run.
        let _ = write!(
            out,
            "<label class=\"railrise-slider\" hidden style=\"font:15px Helvetica,Arial,sans-serif;\
             padding:.4em .2em;align-items:center;gap:.8em;flex-wrap:wrap\">\
             <span>{name}</span>\
             <input type=\"range\" min=\"0\" max=\"{last}\" step=\"1\" value=\"{shown}\" \
             aria-valuetext=\"{now}\" data-lm-suppress-shortcuts=\"true\" style=\"flex:1 1 12em;min-width:10em\" autocomplete=\"off\" \
             oninput=\"{}\">\
             <output aria-live=\"polite\" style=\"min-width:6em;font-weight:bold\">{now}</output></label>",
            escape(SCRIPT)
        );
        let _ = write!(
            out,
            "<div class=\"railrise-stage\"><div class=\"railrise-frame\" data-frame=\"{shown}\">\
             <p class=\"railrise-value\" style=\"font:15px Helvetica,Arial,sans-serif;margin:.3em .2em\">\
             {name}: {now}</p>{}</div></div>",
            self.frames[shown].1.html()
        );
        out.push_str("<details class=\"railrise-frames\"><summary>all frames, one below the other</summary>");
        for (number, (label, figure)) in self.frames.iter().enumerate() {
            let value = escape(&self.value(label));
            let printed = if [0, last / 2, last].contains(&number) { " data-print=\"\"" } else { "" };
            let _ = write!(
                out,
                "<div class=\"railrise-slot\" data-slot=\"{number}\" data-value=\"{value}\"{printed}>"
            );
            if number == shown {
                let _ = write!(out, "<p class=\"railrise-here\">{name}: {value} is shown above.</p>");
            } else {
                let _ = write!(
                    out,
                    "<p class=\"railrise-here\" hidden>{name}: {value} is shown above.</p>\
                     <div class=\"railrise-frame\" data-frame=\"{number}\">\
                     <p class=\"railrise-value\" style=\"font:15px Helvetica,Arial,sans-serif;margin:.3em .2em\">\
                     {name}: {value}</p>{}</div>",
                    figure.html()
                );
            }
            out.push_str("</div>");
        }
        let _ = write!(
            out,
            "</details><img alt=\"\" hidden src=\"data:,\" onerror=\"{}\"></div>",
            escape(REVEAL)
        );
        out
    }

    /// The first frame shown, in words and numbers, and the labels of all frames.
    pub fn plain(&self) -> String {
        let Some((label, figure)) = self.frames.get(self.shown()) else {
            return format!("The explorable for {} holds no frame.\n", self.name);
        };
        let labels: Vec<String> = self.frames.iter().map(|(label, _)| label.clone()).collect();
        format!(
            "{}: {} (frames: {} {})\n{}",
            self.name,
            self.value(label),
            labels.join(", "),
            self.unit,
            figure.plain()
        )
    }

    /// The picture of the frame shown first.
    pub fn svg(&self) -> String {
        self.frames.get(self.shown()).map(|(_, figure)| figure.svg()).unwrap_or_default()
    }
}

impl fmt::Display for Explorable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.plain())
    }
}

/// Moves frames between the stage and the list. Only relative lookups, so copies on a page do not meet.
const SCRIPT: &str = "var b=this.closest('.railrise-explorable'),s=b.querySelector('.railrise-stage'),\
o=s.firstElementChild,n=this.value;if(o.getAttribute('data-frame')!==n){\
var q=function(i){return b.querySelector('.railrise-slot[data-slot=\"'+i+'\"]')},\
f=q(o.getAttribute('data-frame')),t=q(n),m=t.querySelector('.railrise-frame');\
f.appendChild(o);o.querySelector('.railrise-value').hidden=false;f.querySelector('.railrise-here').hidden=true;\
s.appendChild(m);m.querySelector('.railrise-value').hidden=true;t.querySelector('.railrise-here').hidden=false;\
var v=t.getAttribute('data-value');this.setAttribute('aria-valuetext',v);\
this.parentNode.querySelector('output').textContent=v}";

/// Shows the slider once a script runs; the line with the value above the frame is then not needed.
const REVEAL: &str = "var b=this.closest('.railrise-explorable'),l=b.querySelector('.railrise-slider');\
l.hidden=false;l.style.display='flex';b.querySelector('.railrise-stage .railrise-value').hidden=true;this.remove()";
