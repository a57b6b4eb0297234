//! One value in several forms, of which the page picks the richest it can draw.

/// The forms of one value, keyed by MIME type. `text/plain` always stands first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bundle {
    parts: Vec<(String, String)>,
}

impl Bundle {
    /// A bundle that shows nothing.
    pub fn nothing() -> Bundle {
        Bundle::default()
    }

    /// A bundle with its plain text, which every other form must be able to fall back on.
    pub fn text(text: impl Into<String>) -> Bundle {
        Bundle::default().with("text/plain", text)
    }

    /// Adds the HTML form.
    pub fn html(self, html: impl Into<String>) -> Bundle {
        self.with("text/html", html)
    }

    /// Adds a picture as SVG source.
    pub fn svg(self, svg: impl Into<String>) -> Bundle {
        self.with("image/svg+xml", svg)
    }

    /// Adds the Markdown form.
    pub fn markdown(self, markdown: impl Into<String>) -> Bundle {
        self.with("text/markdown", markdown)
    }

    /// Adds the LaTeX form, with its dollar signs.
    pub fn latex(self, latex: impl Into<String>) -> Bundle {
        self.with("text/latex", latex)
    }

    /// Adds or replaces the form of any MIME type.
    pub fn with(mut self, mime: &str, content: impl Into<String>) -> Bundle {
        let content = content.into();
        match self.parts.iter_mut().find(|(m, _)| m == mime) {
            Some(part) => part.1 = content,
            None => self.parts.push((mime.to_owned(), content)),
        }
        self
    }

    /// The form of one MIME type.
    pub fn get(&self, mime: &str) -> Option<&str> {
        self.parts.iter().find(|(m, _)| m == mime).map(|(_, c)| c.as_str())
    }

    /// Every form, in the order added.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.parts.iter().map(|(m, c)| (m.as_str(), c.as_str()))
    }

    /// Whether there is nothing to show.
    pub fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }

    /// The bundle as the `data` object of a notebook output.
    pub fn to_json(&self) -> serde_json::Value {
        self.iter()
            .map(|(m, c)| (m.to_owned(), serde_json::Value::from(c)))
            .collect::<serde_json::Map<_, _>>()
            .into()
    }
}

/// A value that knows how it looks on a page.
pub trait Rich {
    /// The value in every form it has; plain text first.
    fn rich(&self) -> Bundle;
}

impl Rich for Bundle {
    fn rich(&self) -> Bundle {
        self.clone()
    }
}

/// A statement has nothing to show.
impl Rich for () {
    fn rich(&self) -> Bundle {
        Bundle::nothing()
    }
}

impl<T: Rich> Rich for Option<T> {
    fn rich(&self) -> Bundle {
        self.as_ref().map_or_else(|| Bundle::text("nothing"), Rich::rich)
    }
}

impl<T: Rich, E: std::fmt::Display> Rich for Result<T, E> {
    fn rich(&self) -> Bundle {
        match self {
            Ok(value) => value.rich(),
            Err(error) => Bundle::text(format!("error: {error}")),
        }
    }
}

impl<T: Rich + ?Sized> Rich for Box<T> {
    fn rich(&self) -> Bundle {
        (**self).rich()
    }
}

/// Several values below each other: HTML when every one has a drawn form.
impl<T: Rich> Rich for [T] {
    fn rich(&self) -> Bundle {
        let parts: Vec<Bundle> = self.iter().map(Rich::rich).collect();
        let text = parts.iter().filter_map(|p| p.get("text/plain")).collect::<Vec<_>>().join("\n");
        let drawn = parts.iter().map(|p| p.get("text/html").or(p.get("image/svg+xml")));
        match drawn.collect::<Option<Vec<_>>>() {
            Some(drawn) if !drawn.is_empty() => {
                Bundle::text(text).html(drawn.iter().map(|d| format!("<div>{d}</div>")).collect::<String>())
            }
            _ => Bundle::text(text),
        }
    }
}

impl<T: Rich> Rich for Vec<T> {
    fn rich(&self) -> Bundle {
        self.as_slice().rich()
    }
}

/// Text made safe to stand inside HTML, also inside a quoted attribute.
pub fn escape_html(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}
