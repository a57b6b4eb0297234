//! Sources without what the evaluator's analyser has no use for.
//!
//! To learn the type of a variable the analyser reads the standard library and ours: signatures, not what stands in a
//! function (but for a `const fn`, from which an array may take its length). A copy with the functions emptied is a third
//! as long, and what it saves counts double, as the analyser expands the standard library's macros once for each kind of
//! number. Compilers never see the copy.

use ra_ap_rustc_lexer::{FrontmatterAllowed, TokenKind, tokenize};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;

/// Stands for the way in which sources are thinned: a copy made in another way is made anew.
pub fn way() -> u64 {
    let mut hash = DefaultHasher::new();
    include_str!("thin.rs").hash(&mut hash);
    hash.finish()
}

/// What a copy keeps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Keep {
    /// Signatures, and what is said about them.
    Documented,
    /// Signatures only; attributes that say nothing about a type go too.
    Bare,
}

/// Attributes of the standard library that no type hangs on. `unstable` is not among them: it decides between methods.
const IDLE: [&str; 16] = [
    "stable",
    "rustc_const_stable",
    "rustc_const_unstable",
    "must_use",
    "inline",
    "allow",
    "deny",
    "warn",
    "expect",
    "track_caller",
    "cold",
    "deprecated",
    "diagnostic",
    "rustc_diagnostic_item",
    "rustc_inherit_overflow_checks",
    "rustc_on_unimplemented",
];
const EMPTY: &str = "{loop{}}";

/// Copies the Rust files of a folder, thinned, without the folders whose name ends in one of `left_out`.
///
/// # Errors
/// A folder that cannot be read or written, with its name.
pub fn copy(from: &Path, to: &Path, keep: Keep, left_out: &[&str]) -> Result<(), String> {
    let said = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
    std::fs::create_dir_all(to).map_err(|e| said(to, e))?;
    for entry in std::fs::read_dir(from).map_err(|e| said(from, e))? {
        let entry = entry.map_err(|e| said(from, e))?;
        let (old, name) = (entry.path(), entry.file_name());
        let new = to.join(&name);
        if old.is_dir() {
            if !left_out.iter().any(|end| name.to_string_lossy().ends_with(end)) {
                copy(&old, &new, keep, left_out)?;
            }
        } else if old.extension().is_some_and(|x| x == "rs") {
            let text = std::fs::read_to_string(&old).map_err(|e| said(&old, e))?;
            std::fs::write(&new, thin(&text, keep)).map_err(|e| said(&new, e))?;
        }
    }
    Ok(())
}

struct Token<'a> {
    kind: TokenKind,
    text: &'a str,
}

/// The text with the functions emptied. Text that is not whole (a bracket without its partner) stays as it is.
pub fn thin(source: &str, keep: Keep) -> String {
    let mut tokens = Vec::new();
    let mut at = 0;
    for token in tokenize(source, FrontmatterAllowed::No) {
        let end = at + token.len as usize;
        tokens.push(Token { kind: token.kind, text: &source[at..end] });
        at = end;
    }
    let mut out = String::with_capacity(source.len() / 2);
    let mut at = 0;
    while at < tokens.len() {
        let token = &tokens[at];
        let said = match token.kind {
            TokenKind::LineComment { doc_style } | TokenKind::BlockComment { doc_style, .. } => {
                doc_style.is_some() && keep == Keep::Documented
            }
            _ => true,
        };
        if !said {
            // A comment parts words as a blank does.
            out.push(' ');
        } else if let Some(end) = idle_attribute(&tokens, at).filter(|_| keep == Keep::Bare) {
            at = end;
        } else if let Some((body, end)) = body_after(&tokens, at) {
            out.extend(tokens[at..body].iter().map(|t| if is_comment(t.kind) { " " } else { t.text }));
            out.push_str(EMPTY);
            at = end;
        } else {
            out.push_str(token.text);
        }
        at += 1;
    }
    out
}

fn is_comment(kind: TokenKind) -> bool {
    matches!(kind, TokenKind::LineComment { .. } | TokenKind::BlockComment { .. })
}

fn is_blank(kind: TokenKind) -> bool {
    kind == TokenKind::Whitespace || is_comment(kind)
}

/// The next token at or after `at` that is no blank.
fn next(tokens: &[Token<'_>], at: usize) -> Option<usize> {
    (at..tokens.len()).find(|&n| !is_blank(tokens[n].kind))
}

/// The token that closes the bracket at `at`.
fn closing(tokens: &[Token<'_>], at: usize) -> Option<usize> {
    use TokenKind::{CloseBrace, CloseBracket, CloseParen, OpenBrace, OpenBracket, OpenParen};
    let mut depth = 0;
    for (n, token) in tokens.iter().enumerate().skip(at) {
        match token.kind {
            OpenParen | OpenBrace | OpenBracket => depth += 1,
            CloseParen | CloseBrace | CloseBracket => {
                depth -= 1;
                if depth == 0 {
                    return Some(n);
                }
            }
            _ => {}
        }
    }
    None
}

/// The last token of an attribute at `at` that says nothing about a type.
fn idle_attribute(tokens: &[Token<'_>], at: usize) -> Option<usize> {
    if tokens[at].kind != TokenKind::Pound {
        return None;
    }
    let open = next(tokens, at + 1).filter(|&n| tokens[n].kind == TokenKind::OpenBracket)?;
    let name = next(tokens, open + 1)?;
    // `doc = "..."` goes; `doc(hidden)` decides what a completion offers.
    let described = || next(tokens, name + 1).is_some_and(|n| tokens[n].kind == TokenKind::Eq);
    let idle = IDLE.contains(&tokens[name].text) || tokens[name].text == "doc" && described();
    let end = closing(tokens, open).filter(|_| idle)?;
    // A macro that repeats nothing is none.
    let mut back = (0..at).rev().filter(|&n| !is_blank(tokens[n].kind)).map(|n| tokens[n].kind);
    let repeated = back.next() == Some(TokenKind::OpenParen) && back.next() == Some(TokenKind::Dollar);
    let alone = next(tokens, end + 1).is_some_and(|n| tokens[n].kind == TokenKind::CloseParen);
    (!(repeated && alone)).then_some(end)
}

/// Whether a `const` stands before the `fn`: the length of an array may be what it returns.
fn is_const(tokens: &[Token<'_>], at: usize) -> bool {
    let before = (0..at).rev().filter(|&n| !is_blank(tokens[n].kind)).map(|n| tokens[n].text);
    before
        .take_while(|word| ["unsafe", "extern", "async", "const"].contains(word))
        .any(|word| word == "const")
}

/// The braces of the function whose `fn` stands at `at`: first token and last.
fn body_after(tokens: &[Token<'_>], at: usize) -> Option<(usize, usize)> {
    use TokenKind::{
        CloseBrace, CloseBracket, CloseParen, Dollar, Ident, OpenBrace, OpenBracket, OpenParen, RawIdent,
        Semi,
    };
    if tokens[at].kind != Ident || tokens[at].text != "fn" {
        return None;
    }
    let name = next(tokens, at + 1)?;
    if !matches!(tokens[name].kind, Ident | RawIdent | Dollar) || is_const(tokens, at) {
        return None;
    }
    let mut at = name;
    let mut before = tokens[name].kind;
    loop {
        match tokens.get(at)?.kind {
            OpenParen | OpenBracket => at = closing(tokens, at)?,
            // A constant among the arguments of a type, the first or a later one.
            OpenBrace => {
                let end = closing(tokens, at)?;
                let after = next(tokens, end + 1).map(|n| tokens[n].kind);
                if before != TokenKind::Lt && !matches!(after, Some(TokenKind::Comma | TokenKind::Gt)) {
                    break;
                }
                at = end;
            }
            Semi | CloseBrace | CloseBracket | CloseParen => return None,
            _ => {}
        }
        if !is_blank(tokens[at].kind) {
            before = tokens[at].kind;
        }
        at += 1;
    }
    let end = closing(tokens, at)?;
    // A pattern of a macro must go on matching what it matched.
    let pattern = tokens[at..end].windows(4).any(|w| {
        w[0].kind == Dollar
            && w[1].kind == Ident
            && w[2].kind == TokenKind::Colon
            && w[3].kind != TokenKind::Colon
    });
    (!pattern).then_some((at, end))
}

#[cfg(test)]
mod tests {
    use super::{Keep, thin};
    use ra_ap_syntax::ast::{self, AstNode, HasGenericParams, HasName};
    use ra_ap_syntax::{Edition, SourceFile};

    #[test]
    fn functions_are_emptied_and_nothing_else_changes() {
        for (full, thinned) in [
            ("fn f() -> u8 { 1 }", "fn f() -> u8 {loop{}}"),
            (
                "fn f<T>(a: [T; 2]) where T: Copy, { { } }\nconst A: u8 = { 1 };",
                "fn f<T>(a: [T; 2]) where T: Copy, {loop{}}\nconst A: u8 = { 1 };",
            ),
            ("trait T { fn f(&self); fn g() { '{'; \"}\" } }", "trait T { fn f(&self); fn g() {loop{}} }"),
            (
                "fn f(a: fn(u8) -> A<{ 1 }>) -> B<{ 2 }> { 3 }",
                "fn f(a: fn(u8) -> A<{ 1 }>) -> B<{ 2 }> {loop{}}",
            ),
            ("type F = fn(u8) -> u8; struct S { f: fn() }", "type F = fn(u8) -> u8; struct S { f: fn() }"),
            ("fn f() /* why */ { 1 }", "fn f()   {loop{}}"),
            // A pattern that takes a function stays, and what is written with it is emptied.
            (
                "macro_rules! m { (fn $n:ident { $($b:tt)* }) => { fn $n() { $n::a() } } }",
                "macro_rules! m { (fn $n:ident { $($b:tt)* }) => { fn $n() {loop{}} } }",
            ),
            (
                "macro_rules! m { ($b:block) => { fn f() $b } }",
                "macro_rules! m { ($b:block) => { fn f() $b } }",
            ),
            (
                "fn f() -> A<u8, { 2 }> { 3 } fn g<const N: u8>(a: A<{ 1 }, N>) { 4 }",
                "fn f() -> A<u8, { 2 }> {loop{}} fn g<const N: u8>(a: A<{ 1 }, N>) {loop{}}",
            ),
            ("pub const unsafe fn f() -> u8 { 1 }", "pub const unsafe fn f() -> u8 { 1 }"),
            // Not whole: left alone.
            ("fn f() { (", "fn f() { ("),
        ] {
            assert_eq!(thin(full, Keep::Documented), thinned);
        }
        let said =
            "/// Adds.\n#[must_use]\n#[doc(hidden)]\n#[doc = \"More.\"]\n#[unstable]\nfn f() { 1 } // why";
        assert_eq!(thin(said, Keep::Documented), said.replace("{ 1 } // why", "{loop{}}  "));
        let pattern =
            "macro_rules! m { ($(#[doc = $d:literal])* $n:ident) => { #[doc = \"a\"] fn $n() { 1 } } }";
        let bare = "macro_rules! m { ($(#[doc = $d:literal])* $n:ident) => {  fn $n() {loop{}} } }";
        assert_eq!(thin(pattern, Keep::Bare), bare);
        let bare = thin(said, Keep::Bare);
        assert_eq!(
            bare.split_whitespace().collect::<Vec<_>>(),
            ["#[doc(hidden)]", "#[unstable]", "fn", "f()", "{loop{}}"]
        );
    }

    /// Every item of our own source keeps its place, its name and its signature.
    #[test]
    fn our_own_source_keeps_its_signatures() {
        fn outline(text: &str) -> Vec<String> {
            let file = SourceFile::parse(text, Edition::Edition2024);
            assert!(file.errors().is_empty(), "{:?}", file.errors());
            let mut found = Vec::new();
            for function in file.tree().syntax().descendants().filter_map(ast::Fn::cast) {
                if function.syntax().ancestors().skip(1).any(|a| ast::Fn::can_cast(a.kind())) {
                    continue;
                }
                let part =
                    |node: Option<String>| node.unwrap_or_default().split_whitespace().collect::<String>();
                found.push(
                    [
                        part(function.name().map(|n| n.to_string())),
                        part(function.param_list().map(|n| n.to_string())),
                        part(function.ret_type().map(|n| n.to_string())),
                        part(function.where_clause().map(|n| n.to_string())),
                    ]
                    .join(" "),
                );
            }
            let items = file.tree().syntax().children().map(|c| format!("{:?}", c.kind()));
            found.extend(items);
            found
        }
        let mut files = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/src"))];
        let (mut full, mut thinned) = (0, 0);
        while let Some(path) = files.pop() {
            if path.is_dir() {
                files.extend(std::fs::read_dir(&path).expect("a folder").flatten().map(|e| e.path()));
            } else if path.extension().is_some_and(|x| x == "rs") {
                let text = std::fs::read_to_string(&path).expect("a source");
                let thin = thin(&text, Keep::Documented);
                assert_eq!(outline(&text), outline(&thin), "{}", path.display());
                full += text.len();
                thinned += thin.len();
            }
        }
        assert!(thinned * 3 < full * 2, "{thinned} of {full} bytes are left");
    }
}
