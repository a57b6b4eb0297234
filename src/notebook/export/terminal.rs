//! Text with terminal colours to HTML.

use anstyle_parse::{DefaultCharAccumulator, Params, Parser, Perform};

use super::escape;

/// Turns text with terminal escapes into HTML: the sixteen colours, bold, faint, italic and underline become classes, all
/// other escapes are left out. A carriage return starts its line again, as a progress line does.
pub fn html(text: &str) -> String {
    let mut page = Page::default();
    let mut parser = Parser::<DefaultCharAccumulator>::new();
    for byte in settled(text).bytes() {
        parser.advance(&mut page, byte);
    }
    page.close();
    page.out
}

/// The same text without any escape.
pub fn plain(text: &str) -> String {
    struct Plain(String);
    impl Perform for Plain {
        fn print(&mut self, c: char) {
            self.0.push(c);
        }
        fn execute(&mut self, byte: u8) {
            if matches!(byte, b'\n' | b'\t') {
                self.0.push(char::from(byte));
            }
        }
    }
    let mut page = Plain(String::new());
    let mut parser = Parser::<DefaultCharAccumulator>::new();
    for byte in settled(text).bytes() {
        parser.advance(&mut page, byte);
    }
    page.0
}

/// Each line as it stood at last: what follows its last carriage return.
fn settled(text: &str) -> String {
    text.split_inclusive('\n')
        .map(|line| {
            let (body, end) = match line.strip_suffix('\n') {
                Some(body) => (body, "\n"),
                None => (line, ""),
            };
            let body = body.trim_end_matches('\r');
            let last = body.rsplit('\r').next().unwrap_or(body);
            format!("{last}{end}")
        })
        .collect()
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
struct Style {
    colour: Option<&'static str>,
    bold: bool,
    faint: bool,
    italic: bool,
    underline: bool,
}

impl Style {
    fn classes(self) -> String {
        let mut classes: Vec<&str> = self.colour.into_iter().collect();
        for (on, class) in [
            (self.bold, "ink-bold"),
            (self.faint, "ink-faint"),
            (self.italic, "ink-italic"),
            (self.underline, "ink-line"),
        ] {
            if on {
                classes.push(class);
            }
        }
        classes.join(" ")
    }
}

#[derive(Default)]
struct Page {
    out: String,
    style: Style,
    open: Option<Style>,
}

impl Page {
    fn close(&mut self) {
        if self.open.take().is_some() {
            self.out.push_str("</span>");
        }
    }

    fn push(&mut self, c: char) {
        let wanted = (self.style != Style::default()).then_some(self.style);
        if self.open != wanted {
            self.close();
            if let Some(style) = wanted {
                self.out.push_str(&format!("<span class=\"{}\">", style.classes()));
                self.open = Some(style);
            }
        }
        escape::push(&mut self.out, c);
    }

    fn select(&mut self, codes: &[u16]) {
        let mut codes = codes.iter().copied();
        while let Some(code) = codes.next() {
            match code {
                0 => self.style = Style::default(),
                1 => self.style.bold = true,
                2 => self.style.faint = true,
                3 => self.style.italic = true,
                4 => self.style.underline = true,
                22 => (self.style.bold, self.style.faint) = (false, false),
                23 => self.style.italic = false,
                24 => self.style.underline = false,
                30..=37 => self.style.colour = sixteen(code - 30),
                90..=97 => self.style.colour = sixteen(code - 90),
                39 => self.style.colour = None,
                38 | 48 => {
                    let colour = match codes.next() {
                        Some(5) => codes.next().and_then(indexed),
                        Some(2) => match (codes.next(), codes.next(), codes.next()) {
                            (Some(r), Some(g), Some(b)) => nearest(r, g, b),
                            _ => None,
                        },
                        _ => None,
                    };
                    // A coloured ground is left out: the text must stay readable on the page's own.
                    if code == 38 {
                        self.style.colour = colour;
                    }
                }
                _ => {}
            }
        }
    }
}

impl Perform for Page {
    fn print(&mut self, c: char) {
        self.push(c);
    }

    fn execute(&mut self, byte: u8) {
        if matches!(byte, b'\n' | b'\t') {
            self.push(char::from(byte));
        }
    }

    fn csi_dispatch(&mut self, params: &Params, intermediates: &[u8], _ignore: bool, action: u8) {
        if action == b'm' && intermediates.is_empty() {
            let codes: Vec<u16> = params.iter().flatten().copied().collect();
            self.select(if codes.is_empty() { &[0] } else { &codes });
        }
    }
}

/// The eight colour names; the bright ones share them, since all must be dark enough to read on white.
fn sixteen(index: u16) -> Option<&'static str> {
    match index {
        1 => Some("ink-red"),
        2 => Some("ink-green"),
        3 => Some("ink-yellow"),
        4 => Some("ink-blue"),
        5 => Some("ink-magenta"),
        6 => Some("ink-cyan"),
        // Black and white are the page's own ink.
        _ => None,
    }
}

/// The 256-colour table: sixteen names, a 6 x 6 x 6 cube, greys. Source: ECMA-48 selects it; the table is xterm's.
fn indexed(index: u16) -> Option<&'static str> {
    match index {
        0..=7 => sixteen(index),
        8..=15 => sixteen(index - 8),
        16..=231 => {
            let cube = index - 16;
            nearest(cube / 36, cube / 6 % 6, cube % 6)
        }
        _ => None,
    }
}

/// The name nearest in hue; greys keep the page's ink.
fn nearest(r: u16, g: u16, b: u16) -> Option<&'static str> {
    let (most, least) = (r.max(g).max(b), r.min(g).min(b));
    if (most - least) * 4 < most {
        return None;
    }
    let middle = least + (most - least) / 2;
    sixteen(u16::from(r > middle) | u16::from(g > middle) << 1 | u16::from(b > middle) << 2)
}
