//! Rust source to coloured HTML, with the compiler's own lexer.

use ra_ap_rustc_lexer::{FrontmatterAllowed, LiteralKind, TokenKind, tokenize};

use super::escape::escape;

/// Source: "The Rust Reference", Keywords (strict ones of edition 2024, and the weak ones that a cell meets).
const KEYWORDS: [&str; 42] = [
    "Self",
    "as",
    "async",
    "await",
    "break",
    "const",
    "continue",
    "crate",
    "dyn",
    "else",
    "enum",
    "extern",
    "false",
    "fn",
    "for",
    "if",
    "impl",
    "in",
    "let",
    "loop",
    "match",
    "mod",
    "move",
    "mut",
    "pub",
    "ref",
    "return",
    "self",
    "static",
    "struct",
    "super",
    "trait",
    "true",
    "type",
    "union",
    "unsafe",
    "use",
    "where",
    "while",
    "yield",
    "gen",
    "macro_rules",
];

/// Colours a cell's source. Lines that start with `:` are commands to the evaluator.
pub fn html(source: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    for line in source.split_inclusive('\n') {
        if line.starts_with(':') && !line.starts_with("::") {
            colour(&run, &mut out);
            run.clear();
            span(&mut out, "rs-order", line);
        } else {
            run.push_str(line);
        }
    }
    colour(&run, &mut out);
    out
}

fn colour(source: &str, out: &mut String) {
    let mut start = 0;
    let tokens: Vec<(TokenKind, &str)> = tokenize(source, FrontmatterAllowed::No)
        .map(|token| {
            let text = &source[start..start + token.len as usize];
            start += text.len();
            (token.kind, text)
        })
        .collect();
    for (n, (kind, text)) in tokens.iter().enumerate() {
        let next = tokens.get(n + 1).map(|(kind, _)| *kind);
        match class(*kind, text, next) {
            Some(class) => span(out, class, text),
            None => out.push_str(&escape(text)),
        }
    }
}

fn class(kind: TokenKind, text: &str, next: Option<TokenKind>) -> Option<&'static str> {
    match kind {
        TokenKind::LineComment { .. } | TokenKind::BlockComment { .. } => Some("rs-note"),
        TokenKind::Literal { kind, .. } => Some(match kind {
            LiteralKind::Int { .. } | LiteralKind::Float { .. } => "rs-number",
            _ => "rs-text",
        }),
        TokenKind::Lifetime { .. } => Some("rs-type"),
        TokenKind::Ident | TokenKind::RawIdent => {
            if KEYWORDS.contains(&text) {
                Some("rs-word")
            } else if text.starts_with(|c: char| c.is_uppercase()) {
                Some("rs-type")
            } else if matches!(next, Some(TokenKind::OpenParen | TokenKind::Bang)) {
                Some("rs-call")
            } else {
                None
            }
        }
        _ => None,
    }
}

fn span(out: &mut String, class: &str, text: &str) {
    // A line end stays outside, so that a copied line keeps its own.
    let (body, end) = match text.strip_suffix('\n') {
        Some(body) => (body, "\n"),
        None => (text, ""),
    };
    out.push_str(&format!("<span class=\"{class}\">{}</span>{end}", escape(body)));
}
