//! Plain text made safe to stand in HTML.

/// Escapes a text for the content of an element or a quoted attribute.
///
/// Control characters that HTML does not allow are left out.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    for c in text.chars() {
        push(&mut out, c);
    }
    out
}

/// Escapes one character onto `out`.
pub fn push(out: &mut String, c: char) {
    match c {
        '&' => out.push_str("&amp;"),
        '<' => out.push_str("&lt;"),
        '>' => out.push_str("&gt;"),
        '"' => out.push_str("&quot;"),
        '\'' => out.push_str("&#39;"),
        '\n' | '\t' => out.push(c),
        c if c.is_control() => {}
        c => out.push(c),
    }
}
