//! The paper: shapes below, texts above, and a record of where every text stands.

use super::style::{ASCENT, DESCENT, FACES, INK, PAPER, text_width};
use std::fmt::Write;

/// Makes text safe inside SVG and HTML. Control characters, which XML forbids, become spaces.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() || c == '\u{fffe}' || c == '\u{ffff}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// An upright rectangle on the sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rect {
    pub(crate) x0: f64,
    pub(crate) y0: f64,
    pub(crate) x1: f64,
    pub(crate) y1: f64,
}

impl Rect {
    pub(crate) fn new(x0: f64, y0: f64, x1: f64, y1: f64) -> Rect {
        Rect { x0, y0, x1, y1 }
    }

    pub(crate) fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    pub(crate) fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    pub(crate) fn grown(&self, by: f64) -> Rect {
        Rect::new(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)
    }

    pub(crate) fn meets(&self, other: &Rect) -> bool {
        self.x0 < other.x1 && other.x0 < self.x1 && self.y0 < other.y1 && other.y0 < self.y1
    }

    pub(crate) fn holds(&self, other: &Rect) -> bool {
        self.x0 <= other.x0 && self.y0 <= other.y0 && self.x1 >= other.x1 && self.y1 >= other.y1
    }

    pub(crate) fn contains(&self, (x, y): (f64, f64)) -> bool {
        (self.x0..=self.x1).contains(&x) && (self.y0..=self.y1).contains(&y)
    }
}

/// Where a text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text is written.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pen {
    pub(crate) size: f64,
    pub(crate) bold: bool,
    pub(crate) colour: &'static str,
    pub(crate) anchor: Anchor,
    /// A rim of paper around the letters, for text over lines.
    pub(crate) rim: bool,
    /// Another colour for the rim.
    pub(crate) ground: Option<(u8, u8, u8)>,
}

impl Pen {
    pub(crate) fn new(size: f64) -> Pen {
        Pen { size, bold: false, colour: INK, anchor: Anchor::Start, rim: false, ground: None }
    }

    pub(crate) fn bold(self) -> Pen {
        Pen { bold: true, ..self }
    }

    pub(crate) fn colour(self, colour: &'static str) -> Pen {
        Pen { colour, ..self }
    }

    pub(crate) fn middle(self) -> Pen {
        Pen { anchor: Anchor::Middle, ..self }
    }

    pub(crate) fn end(self) -> Pen {
        Pen { anchor: Anchor::End, ..self }
    }

    pub(crate) fn rim(self) -> Pen {
        Pen { rim: true, ..self }
    }

    pub(crate) fn rim_of(self, ground: (u8, u8, u8)) -> Pen {
        Pen { rim: true, ground: Some(ground), ..self }
    }

    /// The box a text takes when its baseline starts, centres or ends at `(x, y)`.
    pub(crate) fn frame(&self, x: f64, y: f64, text: &str) -> Rect {
        let width = text_width(text, self.size, self.bold);
        let left = match self.anchor {
            Anchor::Start => x,
            Anchor::Middle => x - width / 2.0,
            Anchor::End => x - width,
        };
        Rect::new(left, y - ASCENT * self.size, left + width, y + DESCENT * self.size)
    }
}

/// A drawing in progress.
pub(crate) struct Sheet {
    pub(crate) width: f64,
    shapes: String,
    letters: String,
    /// Every text box so far.
    pub(crate) taken: Vec<Rect>,
}

/// A coordinate as written: two decimals, no trailing zeros.
pub(crate) fn c(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { String::from("0") } else { text.to_string() }
}

fn dashes(dash: &[u8]) -> String {
    if dash.is_empty() {
        return String::new();
    }
    let list: Vec<String> = dash.iter().map(u8::to_string).collect();
    format!(" stroke-dasharray=\"{}\"", list.join(" "))
}

impl Sheet {
    pub(crate) fn new(width: f64) -> Sheet {
        Sheet { width, shapes: String::new(), letters: String::new(), taken: Vec::new() }
    }

    pub(crate) fn text(&mut self, x: f64, y: f64, pen: Pen, text: &str) {
        if text.trim().is_empty() {
            return;
        }
        self.taken.push(pen.frame(x, y, text));
        let _ = write!(
            self.letters,
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\"",
            c(x),
            c(y),
            c(pen.size),
            pen.colour
        );
        match pen.anchor {
            Anchor::Start => {}
            Anchor::Middle => self.letters.push_str(" text-anchor=\"middle\""),
            Anchor::End => self.letters.push_str(" text-anchor=\"end\""),
        }
        if pen.bold {
            self.letters.push_str(" font-weight=\"bold\"");
        }
        if pen.rim {
            let ground = match pen.ground {
                None => PAPER.to_string(),
                Some((r, g, b)) => format!("#{r:02x}{g:02x}{b:02x}"),
            };
            let _ = write!(
                self.letters,
                " stroke=\"{ground}\" stroke-width=\"3\" stroke-linejoin=\"round\" \
                 paint-order=\"stroke\""
            );
        }
        let _ = writeln!(self.letters, ">{}</text>", escape(text));
    }

    /// A text on a plate of paper that dims what runs below it.
    pub(crate) fn plate(&mut self, x: f64, y: f64, pen: Pen, text: &str) {
        if text.trim().is_empty() {
            return;
        }
        let area = pen.frame(x, y, text).grown(1.0);
        self.rect(area, &format!("fill=\"{PAPER}\" fill-opacity=\"0.85\""));
        self.text(x, y, pen, text);
    }

    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), colour: &str, width: f64, dash: &[u8]) {
        let _ = writeln!(
            self.shapes,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"{colour}\" stroke-width=\"{}\"{}/>",
            c(from.0),
            c(from.1),
            c(to.0),
            c(to.1),
            c(width),
            dashes(dash)
        );
    }

    /// A path; `paint` holds its fill and stroke attributes.
    pub(crate) fn path(&mut self, d: &str, paint: &str) {
        let _ = writeln!(self.shapes, "<path d=\"{d}\" {paint}/>");
    }

    pub(crate) fn rect(&mut self, area: Rect, paint: &str) {
        let _ = writeln!(
            self.shapes,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {paint}/>",
            c(area.x0),
            c(area.y0),
            c(area.width().max(0.0)),
            c(area.height().max(0.0))
        );
    }

    pub(crate) fn circle(&mut self, centre: (f64, f64), radius: f64, paint: &str) {
        let _ = writeln!(
            self.shapes,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {paint}/>",
            c(centre.0),
            c(centre.1),
            c(radius)
        );
    }

    /// Shapes drawn elsewhere.
    pub(crate) fn raw(&mut self, shapes: &str) {
        self.shapes.push_str(shapes);
    }

    /// A sample of a series: a stroke with its dash and its marker.
    pub(crate) fn sample(&mut self, x: f64, y: f64, look: super::style::Look, marked: bool) {
        self.line((x, y), (x + 22.0, y), look.colour, look.width, look.dash);
        if marked {
            self.marker((x + 11.0, y), look, 1.0);
        }
    }

    pub(crate) fn marker(&mut self, at: (f64, f64), look: super::style::Look, scale: f64) {
        let d: Vec<String> = super::panel::outline(look.marker)
            .iter()
            .map(|(dx, dy)| format!("{},{}", c(at.0 + scale * dx), c(at.1 + scale * dy)))
            .collect();
        let _ = writeln!(
            self.shapes,
            "<polygon points=\"{}\" fill=\"{}\" stroke=\"{PAPER}\" stroke-width=\"0.8\"/>",
            d.join(" "),
            look.colour
        );
    }

    /// Title and notes go around what was drawn; closes the drawing.
    pub(crate) fn finish(self, height: f64, title: &str, description: &str) -> String {
        let content = format!("{title}\u{1}{description}\u{1}{}{}", self.shapes, self.letters);
        let id = format!("rr{:016x}", fingerprint(content.as_bytes()));
        let (w, h) = (c(self.width.ceil()), c(height.ceil()));
        // A page prints two low figures to a sheet; only the figure knows its shape.
        let low = if height < 0.7 * self.width { " class=\"railrise-low\"" } else { "" };
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\"{low} width=\"{w}\" height=\"{h}\" \
             viewBox=\"0 0 {w} {h}\" role=\"img\" aria-labelledby=\"{id}t {id}d\" \
             font-family=\"{FACES}\" style=\"max-width:100%;height:auto;background:{PAPER}\">\n\
             <title id=\"{id}t\">{}</title>\n<desc id=\"{id}d\">{}</desc>\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"{PAPER}\"/>\n{}{}</svg>",
            escape(title),
            escape(description),
            self.shapes,
            self.letters
        )
    }
}

/// FNV-1a, 64 bit: the same drawing always gets the same identifiers, different ones different.
pub(crate) fn fingerprint(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}
