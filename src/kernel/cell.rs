//! A cell's code, made ready for the evaluator.

use ra_ap_syntax::ast::{self, AstNode, HasName};
use ra_ap_syntax::{Edition, SourceFile, SyntaxKind, SyntaxNode};

/// Code as the evaluator gets it, and how its lines match the cell's.
#[derive(Clone, Debug, PartialEq)]
pub struct Ready {
    /// What to evaluate.
    pub code: String,
    /// Lines after this one (counted from 1) stand one line higher in the cell.
    shifted_after: Option<usize>,
    lines: usize,
}

impl Ready {
    /// Code that is given to the evaluator unchanged.
    pub fn as_it_is(code: &str) -> Ready {
        Ready { code: code.to_owned(), shifted_after: None, lines: code.lines().count().max(1) }
    }

    /// The line of the cell for a line of the code given to the evaluator, both counted from 1.
    pub fn cell_line(&self, line: usize) -> usize {
        match self.shifted_after {
            Some(after) if line > after => (line - 1).min(self.lines),
            _ => line.min(self.lines),
        }
    }

    /// The lines that ask for other crates, and the rest, each line where it was; none where there are none.
    pub fn asks_for_crates(&self) -> Option<(Ready, Ready)> {
        let asks = |line: &&str| line.trim_start().starts_with(":dep");
        let only = |wanted: bool| {
            let kept = self.code.lines().map(|l| if asks(&l) == wanted { l } else { "" });
            Ready { code: kept.collect::<Vec<_>>().join("\n"), ..self.clone() }
        };
        self.code.lines().any(|l| asks(&l)).then(|| (only(true), only(false)))
    }
}

/// Commands of the evaluator that a notebook may use.
const COMMANDS: [&str; 9] =
    [":dep", ":doc", ":vars", ":type", ":t", ":timing", ":help", ":explain", ":version"];

/// Turns a cell's text into code for the evaluator.
///
/// The last expression is borrowed (`&(...)`), on lines of its own so that columns stay: a variable
/// at the end of a cell is shown and not used up, and [`railrise::rich::EndRich`] finds the best form.
///
/// # Errors
/// When the cell asks for something a notebook must not do: run a shell, end the program.
pub fn ready(cell: &str) -> Result<Ready, String> {
    let cell = &without_our_own(cell);
    let mut start = 0;
    for line in cell.split_inclusive('\n') {
        let trimmed = line.trim_start_matches(' ');
        if line.starts_with('!') {
            return Err(
                "a line that starts with `!` would run a shell command; notebooks here run Rust only"
                    .to_owned(),
            );
        } else if trimmed.starts_with(':') && !trimmed.starts_with("::") {
            let command = trimmed.split_whitespace().next().unwrap_or_default();
            if !COMMANDS.contains(&command) {
                let known = COMMANDS.join(", ");
                return Err(format!("`{command}` is not a command here; known are {known}"));
            }
        } else if !line.starts_with("//") && !line.trim().is_empty() {
            break;
        }
        start += line.len();
    }
    let lines = cell.lines().count().max(1);
    let as_it_is = |code: String| Ready { code, shifted_after: None, lines };
    let Some(last) = last_statement(&cell[start..]) else { return Ok(as_it_is(cell.to_owned())) };
    let prints_open = ["print!", "write!", "write_all", ".write("].iter().any(|p| cell.contains(p));
    if !ast::Expr::can_cast(last.kind()) {
        let flush = if prints_open { "\n;railrise::rich::flush();" } else { "" };
        return Ok(as_it_is(format!("{}{flush}", cell.trim_end())));
    }
    match last.kind() {
        // Their value is `()` or none at all.
        SyntaxKind::FOR_EXPR | SyntaxKind::WHILE_EXPR | SyntaxKind::LOOP_EXPR => {
            let flush = if prints_open { "railrise::rich::flush();" } else { "" };
            Ok(as_it_is(format!("{}\n;{flush}", cell.trim_end())))
        }
        SyntaxKind::RETURN_EXPR | SyntaxKind::BREAK_EXPR | SyntaxKind::CONTINUE_EXPR => {
            Ok(as_it_is(cell.to_owned()))
        }
        _ => {
            let range = last.text_range();
            let from = start + usize::from(range.start()) - WRAP.len();
            let to = (start + usize::from(range.end()) - WRAP.len()).min(cell.len());
            let line_start = cell[..from].rfind('\n').map_or(0, |n| n + 1);
            let column = cell[line_start..from].chars().count();
            let code =
                format!("{}&(\n{}{}\n){}", &cell[..from], " ".repeat(column), &cell[from..to], &cell[to..]);
            let after = cell[..from].matches('\n').count() + 1;
            Ok(Ready { code, shifted_after: Some(after), lines })
        }
    }
}

/// The lines by which a plain Rust kernel gets this library are blank here, where it is loaded
/// already; a cell that holds nothing else is empty.
fn without_our_own(cell: &str) -> String {
    let named = |l: &str| l.strip_prefix(":dep").is_some_and(|d| d.trim_start().starts_with("railrise"));
    if !cell.lines().any(named) {
        return cell.to_owned();
    }
    let ours = |l: &str| named(l) || l.trim_end() == "use railrise::prelude::*;";
    if cell.lines().all(|l| ours(l) || l.starts_with("//") || l.trim().is_empty()) {
        return String::new();
    }
    cell.split_inclusive('\n').map(|l| if ours(l) { "\n" } else { l }).collect()
}

const WRAP: &str = "fn f(){";

fn statements(code: &str) -> Option<ast::StmtList> {
    let file = SourceFile::parse(&format!("{WRAP}{code}\n}}"), Edition::Edition2024);
    let function = file.syntax_node().children().find_map(ast::Fn::cast)?;
    function.body()?.stmt_list()
}

fn last_statement(code: &str) -> Option<SyntaxNode> {
    statements(code)?.syntax().children().last()
}

/// Whether code is finished, as a reader at a console would ask.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Completeness {
    /// Can be run.
    Complete,
    /// More lines must follow.
    Incomplete,
    /// No further line can mend it.
    Invalid,
}

/// Judges by brackets, strings and comments, then by the parser.
pub fn completeness(code: &str) -> Completeness {
    let mut open: Vec<char> = Vec::new();
    let mut chars = code.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '/' if chars.peek() == Some(&'/') => {
                for c in chars.by_ref() {
                    if c == '\n' {
                        break;
                    }
                }
            }
            '/' if chars.peek() == Some(&'*') => {
                chars.next();
                let (mut depth, mut before) = (1, ' ');
                for c in chars.by_ref() {
                    match (before, c) {
                        ('*', '/') => depth -= 1,
                        ('/', '*') => depth += 1,
                        _ => {}
                    }
                    before = if matches!((before, c), ('*', '/') | ('/', '*')) { ' ' } else { c };
                    if depth == 0 {
                        break;
                    }
                }
                if depth > 0 {
                    return Completeness::Incomplete;
                }
            }
            '"' => {
                let mut closed = false;
                while let Some(c) = chars.next() {
                    match c {
                        '\\' => {
                            chars.next();
                        }
                        '"' => {
                            closed = true;
                            break;
                        }
                        _ => {}
                    }
                }
                if !closed {
                    return Completeness::Incomplete;
                }
            }
            '\'' => {
                // A character such as '{'; a lifetime has no closing mark.
                let mut ahead = chars.clone();
                match (ahead.next(), ahead.next()) {
                    (Some('\\'), Some(_)) => {
                        chars.next();
                        chars.next();
                    }
                    (Some(_), Some('\'')) => {
                        chars.next();
                        chars.next();
                    }
                    _ => {}
                }
            }
            '(' | '[' | '{' => open.push(c),
            ')' | ']' | '}' => {
                let fits = matches!((open.pop(), c), (Some('('), ')') | (Some('['), ']') | (Some('{'), '}'));
                if !fits {
                    return Completeness::Invalid;
                }
            }
            _ => {}
        }
    }
    let end = code.trim_end();
    let unfinished =
        ["=", "+", "-", "*", ",", ".", "&&", "||", "::", "->", "=>"].iter().any(|t| end.ends_with(t));
    if !open.is_empty() || unfinished && !end.lines().last().is_some_and(|l| l.trim_start().starts_with(':'))
    {
        return Completeness::Incomplete;
    }
    let parsed = SourceFile::parse(&format!("{WRAP}{}\n}}", without_commands(code)), Edition::Edition2024);
    let errors = parsed.errors();
    let at_end = |e: &ra_ap_syntax::SyntaxError| usize::from(e.range().start()) >= WRAP.len() + end.len();
    match errors.iter().all(at_end) {
        true if errors.is_empty() => Completeness::Complete,
        // A last line without its `;` is what the reader meant to go on with.
        true => Completeness::Incomplete,
        false => Completeness::Invalid,
    }
}

/// The code with the evaluator's command lines blanked, so that positions stay.
fn without_commands(code: &str) -> String {
    let blank = |l: &str| if l.trim_start().starts_with(':') { " ".repeat(l.len()) } else { l.to_owned() };
    code.lines().map(blank).collect::<Vec<_>>().join("\n")
}

/// A cell that gives new values to the bindings of the cell tagged `parameters`.
///
/// # Errors
/// When a name is not bound there; the message lists those that are.
pub fn override_parameters(cell: &str, values: &[(String, String)]) -> Result<String, String> {
    let list = statements(cell).ok_or("the cell tagged `parameters` cannot be read as Rust")?;
    let mut bindings = Vec::new();
    for node in list.syntax().children() {
        let Some(binding) = ast::LetStmt::cast(node) else { continue };
        if let (Some(ast::Pat::IdentPat(pattern)), Some(value)) = (binding.pat(), binding.initializer())
            && let Some(name) = pattern.name()
        {
            let range = value.syntax().text_range();
            bindings.push((
                name.text().to_string(),
                usize::from(range.start()) - WRAP.len(),
                usize::from(range.end()) - WRAP.len(),
            ));
        }
    }
    let mut text = cell.to_owned();
    let mut changes = Vec::new();
    for (key, value) in values {
        let Some((_, from, to)) = bindings.iter().rev().find(|(name, ..)| name == key) else {
            let known: Vec<_> = bindings.iter().map(|(name, ..)| name.as_str()).collect();
            return Err(format!(
                "there is no parameter `{key}`; the cell tagged `parameters` has: {}",
                known.join(", ")
            ));
        };
        changes.push((*from, *to, as_rust(value, &cell[*from..*to])?));
    }
    changes.sort();
    for (from, to, value) in changes.into_iter().rev() {
        text.replace_range(from..to, &value);
    }
    Ok(text)
}

/// A value from the command line as Rust: `6500` for a decimal number becomes `6500.0`, bare words
/// for a text get their quotes; anything else must be an expression.
fn as_rust(value: &str, before: &str) -> Result<String, String> {
    let value = value.trim();
    if before.starts_with('"') && !(value.len() > 1 && value.starts_with('"') && value.ends_with('"')) {
        return Ok(format!("{value:?}"));
    }
    let decimal = before.trim_end_matches("f64").contains(['.', 'e'])
        && before.starts_with(|c: char| c.is_ascii_digit() || c == '-');
    if decimal && value.parse::<i64>().is_ok() {
        return Ok(format!("{value}.0"));
    }
    // At the level of items nothing but another item may follow the value.
    let parsed = SourceFile::parse(&format!("const _: () = {value};"), Edition::Edition2024);
    match parsed.errors().is_empty() && !value.is_empty() {
        true => Ok(value.to_owned()),
        false => Err(format!(
            "`{value}` is not a value; write a number, a quoted text or an expression like bar(1.4)"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn last_expression_is_borrowed_and_columns_stay() {
        let r = ready("let x = 1; x + 1 // why\n").expect("plain code");
        assert_eq!(r.code, "let x = 1; &(\n           x + 1\n) // why\n");
        assert_eq!((r.cell_line(1), r.cell_line(2), r.cell_line(3)), (1, 1, 1));
        assert_eq!(ready("let x = 1;").expect("plain code").code, "let x = 1;");
        let r = ready(":dep rand\nlet a = 2;\na\n  + 1").expect("plain code");
        assert_eq!(r.code, ":dep rand\nlet a = 2;\n&(\na\n  + 1\n)");
        assert_eq!((2..=6).map(|l| r.cell_line(l)).collect::<Vec<_>>(), [2, 3, 3, 4, 4]);
    }

    #[test]
    fn shells_and_exits_are_refused() {
        assert!(ready("!ls").is_err());
        assert!(ready("// note\n:quit").expect_err("ends the program").contains(":quit"));
        assert!(ready("::std::mem::size_of::<u8>()").is_ok());
        assert_eq!(
            ready(":dep railrise = { path = \"..\" }\nlet a = 1;").expect("blank").code,
            "\nlet a = 1;"
        );
        let plain = "// why\n:dep railrise = { path = \"..\" }\nuse railrise::prelude::*;\n";
        assert_eq!(ready(plain).expect("for another kernel").code, "");
        assert_eq!(ready(&format!("{plain}let a = 1;")).expect("both").code, "// why\n\n\nlet a = 1;");
        assert!(ready("let a = true;\n!a").is_ok(), "`!` further down is Rust's");
    }

    #[test]
    fn completeness_as_a_console_asks() {
        use Completeness::*;
        let cases = [
            ("1 + 1", Complete),
            ("let x = 2;", Complete),
            ("fn f() {\n", Incomplete),
            ("let x = ", Incomplete),
            ("println!(\"a", Incomplete),
            ("/* open", Incomplete),
            ("let c = '{';", Complete),
            ("}", Invalid),
            ("let = = 3;", Invalid),
            ("", Complete),
            ("// only a note", Complete),
            ("let v = vec![1, 2", Incomplete),
            ("import numpy as np", Invalid),
            (":dep rand", Complete),
        ];
        for (code, expected) in cases {
            assert_eq!(completeness(code), expected, "{code:?}");
        }
    }

    #[test]
    fn parameters_are_replaced_by_name() {
        let set = |pairs: &[(&str, &str)]| {
            let pairs: Vec<_> = pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
            override_parameters(
                "let rpm = 6500.0; // why\nlet boost = bar(1.4);\nlet name = \"car\";",
                &pairs,
            )
        };
        assert_eq!(
            set(&[("rpm", "7000")]).expect("known"),
            "let rpm = 7000.0; // why\nlet boost = bar(1.4);\nlet name = \"car\";"
        );
        assert!(
            set(&[("boost", "bar(0.7)"), ("name", "the other")])
                .expect("known")
                .ends_with("bar(0.7);\nlet name = \"the other\";")
        );
        assert!(set(&[("bost", "1")]).expect_err("unknown").ends_with("rpm, boost, name"));
        assert!(set(&[("rpm", "7000; loop {}")]).is_err());
    }
}
