//! Frequent errors of people who do not know Rust, said in their words, with the cure.
//!
//! What is not known here is shown as the compiler says it.

use super::error::Complaint;

/// An error in plain words.
#[derive(Clone, Debug, PartialEq)]
pub struct Friendly {
    /// What is wrong.
    pub headline: String,
    /// What to do about it.
    pub cure: String,
}

fn say(headline: impl Into<String>, cure: impl Into<String>) -> Option<Friendly> {
    Some(Friendly { headline: headline.into(), cure: cure.into() })
}

/// The plain form of a complaint about a cell, if its kind is known. `names` are the variables and
/// functions defined so far.
pub fn friendly(complaint: &Complaint, cell: &str, names: &[String]) -> Option<Friendly> {
    let case = Case {
        message: &complaint.message,
        label: complaint.spots.first().map_or("", |s| &s.label),
        labels: complaint.spots.iter().map(|s| s.label.as_str()).collect::<Vec<_>>().join("\n"),
        helps: complaint.helps.join("\n"),
        source: complaint.source(cell),
        line: complaint
            .spots
            .first()
            .map_or("", |s| cell.lines().nth(s.line.saturating_sub(1)).unwrap_or("")),
        quoted: quoted(&complaint.message),
        names,
    };
    if let Some(foreign) = case.foreign() {
        return Some(foreign);
    }
    match complaint.code.as_deref() {
        Some("E0308") => case.other_type(),
        Some("E0277") => case.missing_ability(),
        Some("E0425") if case.message.contains("cannot find type") => case.unknown_path(),
        Some("E0425") => case.unknown_name(),
        Some("E0433" | "E0432" | "E0412") => case.unknown_path(),
        Some("E0423" | "E0424" | "E0574") => case.not_a_value(),
        Some("E0382" | "E0505" | "E0507") => case.used_up(),
        Some("E0384" | "E0596" | "E0594") => case.not_changeable(),
        Some("E0499" | "E0502" | "E0506" | "E0716" | "E0597" | "E0515") => {
            case.borrowed(complaint.code.as_deref().unwrap_or(""))
        }
        Some("E0061" | "E0107") => case.arguments(),
        Some("E0599") => case.no_method(),
        Some("E0609" | "E0610" | "E0560" | "E0026") => case.no_field(),
        Some("E0616" | "E0624" | "E0603") => say(
            format!("{} belongs to the inside of its type and cannot be used from a cell.", case.name()),
            "Use a method that gives the value, such as the same name with `()` behind it.",
        ),
        Some("E0063" | "E0027") => say(
            format!(
                "Not every field got a value: {} missing.",
                case.quoted
                    .iter()
                    .filter(|q| !q.starts_with(char::is_uppercase))
                    .map(|q| format!("`{q}`"))
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
            "Give each field its value, or end the list with `..` and a value to take the rest from.",
        ),
        Some("E0282" | "E0283" | "E0284") => say(
            "It cannot be told which type is meant here.",
            "Write the type: `let list: Vec<f64> = ...`, or `\"2.5\".parse::<f64>()`.",
        ),
        Some("E0369") => case.no_operation(),
        Some("E0600") => say(
            format!("{} cannot be put before this value.", case.first_quoted("The sign")),
            "`-` wants a signed number or a quantity (write `3i32` or `3.0` for a plain number), `!` a true-or-false value.",
        ),
        Some("E0604" | "E0605" | "E0606" | "E0607") => say(
            format!("`as` cannot turn {} into {}.", case.quoted_or(0, "this"), case.quoted_or(1, "that")),
            "`as` changes one number type into another (`n as f64`). For text use `.parse::<f64>()`, for a quantity a method that names the unit.",
        ),
        Some("E0614") => {
            say("`*` reads what a reference points at, and this is not a reference.", "Leave the `*` away.")
        }
        Some("E0618") => say(
            format!("{} is a value and not a function, so it cannot be called with `()`.", case.name()),
            "For a product write `*`: `2.0 * (a + b)`. Otherwise leave the brackets away.",
        ),
        Some("E0608") => say(
            "This value has no places to pick with `[ ]`.",
            "Only lists and tables have; a field is taken with a dot, a tuple's part with `.0`.",
        ),
        Some("E0004" | "E0005") => say(
            "Not every case is handled here.",
            "Add an arm for each case that is missing, or `_ => ...` for all others.",
        ),
        Some("E0070" | "E0067") => say(
            "Only a variable can stand left of `=`, and this is a value.",
            "To compare write `==`. To set, write the name on the left: `x = 5`.",
        ),
        Some("E0428") => say(
            format!("{} is defined twice in this cell.", case.name()),
            "Give one of the two another name.",
        ),
        Some("E0373") => say(
            "This small function uses a variable that may be gone before it runs.",
            "Write `move` before the bars: `move |x| ...`.",
        ),
        Some("E0106" | "E0261") => say(
            "A reference inside a type needs to say how long it lives.",
            "Let the type own its value: `String` for `&str`, `Vec<f64>` for `&[f64]`.",
        ),
        Some("E0658") => say(
            "This is a part of Rust that is not finished yet.",
            "Write it another way; the compiler's words below say which part.",
        ),
        Some("E0728") => say(
            "`.await` is for programs that wait for the network; a cell needs none.",
            "Leave `.await` away.",
        ),
        Some("E0765" | "E0762" | "E0763" | "E0766") => say(
            "A text or character is not closed.",
            "A text begins and ends with `\"`, a single character with `'`.",
        ),
        Some("E0758") => {
            say("A comment is not closed.", "End it with `*/`, or begin each line of it with `//`.")
        }
        Some("E0768") => say("A number has no digits after its prefix.", "Write it out, such as `0x1F`."),
        Some(_) => None,
        None => case.grammar(cell),
    }
}

/// The plain form of what the evaluator itself says.
pub fn of_evaluator(message: &str) -> Option<Friendly> {
    let name = quoted(message).first().map_or(String::new(), |n| format!("`{n}`"));
    if message.contains("is a closure, which cannot be persisted") {
        return say(
            format!("{name} is a small function, which cannot be kept from one cell to the next."),
            "Write it as a function: `fn name(x: f64) -> f64 { ... }`. Or use it within this cell, inside `{ }`.",
        );
    }
    if message.contains("Couldn't automatically determine type") {
        return say(
            format!("It cannot be told which type {name} has."),
            "Write it: `let name: TYPE = ...`. When the cell has another mistake, mend that first.",
        );
    }
    if message.contains("which cannot be persisted") {
        return say(
            format!("{name} has a type that cannot be kept from one cell to the next."),
            "Turn it into a list with `.collect::<Vec<_>>()`, or use it within this cell, inside `{ }`.",
        );
    }
    if message.contains("missing a semicolon") {
        return say("A `;` is missing at the end of a line.", "End each statement with `;`.");
    }
    None
}

struct Case<'a> {
    message: &'a str,
    label: &'a str,
    labels: String,
    helps: String,
    source: &'a str,
    line: &'a str,
    quoted: Vec<&'a str>,
    names: &'a [String],
}

impl Case<'_> {
    fn first_quoted(&self, other: &str) -> String {
        self.quoted_or(0, other)
    }

    fn quoted_or(&self, n: usize, other: &str) -> String {
        self.quoted.get(n).map_or(other.to_owned(), |q| format!("`{}`", trade(q)))
    }

    /// The name that the complaint is about.
    fn name(&self) -> String {
        if self.source.is_empty() { self.first_quoted("This") } else { format!("`{}`", self.source) }
    }

    /// What was expected and what was found, in trade words.
    fn expected_found(&self) -> Option<(String, String)> {
        for text in [self.label, &self.labels, &self.helps] {
            let mut rest = text;
            while let Some(at) = rest.find("expected ") {
                let part = &rest[at + 9..];
                if let Some(middle) = part.find(", found ") {
                    let found = part[middle + 8..].lines().next().unwrap_or_default();
                    let expected = part[..middle].trim_start_matches("due to this").trim();
                    if !expected.contains('\n') {
                        return Some((trade(expected), trade(found)));
                    }
                }
                rest = part;
            }
        }
        None
    }

    fn other_type(&self) -> Option<Friendly> {
        let (expected, found) = self.expected_found()?;
        let notes = dimensions(&self.helps).or_else(|| dimensions(&self.labels));
        let is_float = |t: &str| matches!(t.trim_matches('`'), "f64" | "f32" | "a decimal number");
        let is_int = |t: &str| {
            let t = t.trim_matches('`');
            t == "a whole number"
                || matches!(
                    t,
                    "usize"
                        | "isize"
                        | "u8"
                        | "u16"
                        | "u32"
                        | "u64"
                        | "i8"
                        | "i16"
                        | "i32"
                        | "i64"
                        | "u128"
                        | "i128"
                )
        };
        let is_number = |t: &str| is_float(t) || is_int(t);
        let quantity = |t: &str| {
            t.starts_with("a") && t.contains(' ') && !is_number(t)
                || t.contains("Quantity<")
                || t.contains("Pressure")
        };
        if let Some((wanted, given)) = notes.filter(|(a, b)| a != b) {
            return say(
                format!("Here a {wanted} is expected, and this is a {given}."),
                format!(
                    "Pass a {wanted}, such as `{}`. A {given} can only be added to or compared with a {given}.",
                    example(&wanted)
                ),
            );
        }
        if quantity(&expected) && is_number(&found) {
            let what = expected.trim_matches('`').trim_start_matches("a ").to_owned();
            return say(
                "A unit is missing: here a quantity is expected, and this is a bare number.",
                format!("Say the unit with the number, such as `{}`.", example(&what)),
            );
        }
        if is_number(&expected) && quantity(&found) {
            return say(
                "Here a bare number is expected, and this is a quantity with a unit.",
                "Ask for the number in the unit you want; `:doc` and the name of the function show what it takes.",
            );
        }
        if is_float(&expected) && is_int(&found) {
            let better = if self.source.parse::<i64>().is_ok() {
                format!("`{}.0`", self.source)
            } else {
                "`x as f64`".to_owned()
            };
            return say(
                "Here a decimal number is expected, and this is a whole number.",
                format!("Write {better}."),
            );
        }
        if is_int(&expected) && is_float(&found) {
            return say(
                "Here a whole number is expected, and this is a decimal number.",
                "Write it without a point, or round it: `x.round() as usize`.",
            );
        }
        if is_int(&expected) && is_int(&found) {
            return say(
                format!("Two kinds of whole number meet here: {expected} and {found}."),
                format!("Turn one into the other: `x as {}`.", expected.trim_matches('`')),
            );
        }
        if expected.contains("bool") {
            if found.contains("()") {
                return say("A question is expected here, and `=` sets a value.", "To compare write `==`.");
            }
            return say(
                format!("A question with the answer true or false is expected here, and this is {found}."),
                "Compare it with something: `x > 0.0`.",
            );
        }
        if found.trim_matches('`') == "()" {
            return say(
                format!("Here {expected} is expected, and nothing comes back."),
                "The last line of a function is its value: leave the `;` after it away. An `if` that gives a value needs an `else`.",
            );
        }
        if self.message.contains("`if` and `else`") || self.labels.contains("`match` arms") {
            return say(
                format!("The branches give different kinds of value: {expected} and {found}."),
                "Let every branch end with the same kind of value.",
            );
        }
        if expected.contains("String") && found.contains("str") {
            return say(
                "Here a text of its own (`String`) is expected, and this is a fixed text.",
                "Write `.to_string()` behind it.",
            );
        }
        if expected.contains("&str") && found.contains("String") {
            return say(
                "Here a fixed text (`&str`) is expected, and this is a `String`.",
                "Write `&` before it.",
            );
        }
        if (is_number(&expected) && found.contains("str"))
            || (is_number(&expected) && found.contains("String"))
        {
            return say(
                "Here a number is expected, and this is a text.",
                "Leave the quotes away; a text that holds a number becomes one with `.parse::<f64>().unwrap()`.",
            );
        }
        if (found.contains("Option<") || found.contains("Result<"))
            && !expected.contains("Option<")
            && !expected.contains("Result<")
        {
            return say(
                "The value is still in its wrapping: it may be there or not.",
                "Write `?` behind it to take it or stop the cell, or `.unwrap_or(...)` to give a value for when it is not there.",
            );
        }
        if found.starts_with("`&") && !expected.starts_with("`&") {
            return say(
                format!("Here {expected} itself is expected, and this is a reference to one."),
                "Write `*` before it, or `.clone()` behind it.",
            );
        }
        if expected.starts_with("`&") && !found.starts_with("`&") {
            return say(
                format!("Here a reference is expected, and this is the value itself ({found})."),
                "Write `&` before it.",
            );
        }
        say(
            format!("Here {expected} is expected, and this is {found}."),
            "Look at what the function takes (`:doc` and its name), or at what was assigned before.",
        )
    }

    fn missing_ability(&self) -> Option<Friendly> {
        let m = self.message;
        let number = |t: &str| {
            t.contains("float")
                || t.contains("integer")
                || matches!(t.trim_matches(['`', '{', '}']), "f64" | "i32" | "usize" | "u32" | "i64" | "u64")
        };
        if (m.starts_with("cannot add")
            || m.starts_with("cannot subtract")
            || m.starts_with("cannot multiply")
            || m.starts_with("cannot divide"))
            && self.quoted.iter().all(|q| number(q))
        {
            return say(
                "A decimal number and a whole number cannot be mixed in one calculation.",
                "Write the whole number with a point (`2.0` for `2`), or turn it with `as f64`.",
            );
        }
        if m.starts_with("cannot add") || m.starts_with("cannot subtract") {
            return say(
                "These two cannot be added or subtracted: they are different kinds of quantity, or one has no unit.",
                "Give both the same kind, such as `bar(3.0) + bar(1.4)`.",
            );
        }
        if m.starts_with("cannot multiply") || m.starts_with("cannot divide") {
            return say(
                "These two cannot be multiplied or divided.",
                "A quantity can be multiplied by a decimal number or another quantity.",
            );
        }
        if m.contains("can't compare") {
            return say(
                format!(
                    "{} and {} cannot be compared.",
                    self.quoted_or(0, "These"),
                    self.quoted_or(1, "those")
                ),
                "Compare like with like: numbers of one type, quantities of one kind.",
            );
        }
        if m.contains("cannot be indexed by") {
            return say(
                "A place in a list is a whole number of type `usize`.",
                "Write `list[n as usize]`, or let the counting begin with `0..list.len()`.",
            );
        }
        if m.contains("doesn't implement `std::fmt::Display`") || m.contains("doesn't implement `Display`") {
            return say(
                format!("{} has no plain text form.", self.first_quoted("This")),
                "Print it with `{:?}`, or end the cell with it.",
            );
        }
        if m.contains("doesn't implement `Debug`") || m.contains("doesn't implement `std::fmt::Debug`") {
            return say(
                format!("{} cannot be shown.", self.first_quoted("This")),
                "Write `#[derive(Debug)]` above its definition, or end the cell with one of its parts.",
            );
        }
        if m.contains("is not an iterator") {
            return say(
                format!("{} cannot be walked through with `for`.", self.first_quoted("This")),
                "For numbers write a range, `for n in 0..10`; for a list, `for x in &list`.",
            );
        }
        if m.contains("`?` operator") {
            return say(
                "`?` works on a value that may be missing or in error, and this is not one.",
                "Leave the `?` away.",
            );
        }
        if m.contains("cannot be known at compilation time") {
            return say(
                "A value of unknown size cannot stand alone.",
                "Use a reference to it (`&str`, `&[f64]`) or let it own its content (`String`, `Vec<f64>`).",
            );
        }
        if m.contains("value of type `Vec<")
            || m.contains("cannot be built from an iterator")
            || m.contains("cannot be built since")
        {
            return say(
                "The values cannot be collected into that type.",
                "Write what to collect into: `.collect::<Vec<f64>>()`.",
            );
        }
        if m.contains("cannot sum") || m.contains("Sum<") {
            return say("It cannot be told what the sum is to be.", "Write its type: `.sum::<f64>()`.");
        }
        None
    }

    fn unknown_name(&self) -> Option<Friendly> {
        let name = self.quoted.first().copied().unwrap_or(self.source);
        let python = match name {
            "print" => Some("Printing is `println!(\"{x}\")`, with the exclamation mark."),
            "True" | "False" => Some("Rust writes `true` and `false` small."),
            "None" | "null" | "nil" => Some("A value that is not there is `None` of an `Option`."),
            "pi" | "PI" => Some("It is `std::f64::consts::PI`."),
            "len" => Some("Write it behind the list: `list.len()`."),
            "sqrt" | "sin" | "cos" | "tan" | "exp" | "abs" | "floor" | "ceil" | "round" | "ln" | "log" => {
                Some("Write it behind the number: `x.sqrt()`, `x.abs()`, `x.ln()`.")
            }
            "range" => Some("A range is `0..10`."),
            "max" | "min" => Some("Write it behind the number: `a.max(b)`."),
            _ => None,
        };
        if let Some(cure) = python {
            return say(format!("There is no `{name}` here."), cure);
        }
        if self.line.trim_start().starts_with(name)
            && self.line.contains(&format!("{name} ="))
            && !self.line.contains("==")
        {
            return say(
                format!("`{name}` does not exist yet."),
                format!("A new variable begins with `let`: `let {name} = ...;`."),
            );
        }
        let near = self.similar().or_else(|| nearest(name, self.names));
        say(
            format!("There is no `{name}` here."),
            match near {
                Some(near) => format!(
                    "Did you mean `{near}`? Otherwise define it first: run the cell above that has `let {name}`."
                ),
                None => format!("Define it first, `let {name} = ...;`, or run the cell above that does."),
            },
        )
    }

    /// A name that the compiler finds similar.
    fn similar(&self) -> Option<String> {
        for text in [&self.helps, &self.labels] {
            let at = text.find("similar name")?;
            let found = quoted(&text[at..]).into_iter().find(|q| !q.contains(' '));
            if found.is_some() {
                return found.map(str::to_owned);
            }
        }
        None
    }

    fn unknown_path(&self) -> Option<Friendly> {
        let name = self.quoted.first().copied().unwrap_or(self.source);
        let type_word = match name {
            "float" | "double" | "Float" | "number" => Some("f64"),
            "int" | "integer" | "Int" => Some("i64"),
            "string" | "str" | "text" => Some("String"),
            "boolean" | "Bool" => Some("bool"),
            "list" | "array" | "List" => Some("Vec<f64>"),
            _ => None,
        };
        if let Some(word) = type_word {
            return say(format!("There is no type `{name}` in Rust."), format!("Write `{word}`."));
        }
        let near = self.similar().or_else(|| nearest(name, self.names));
        say(
            format!("Nothing is called `{name}` here."),
            match near {
                Some(near) => format!("Did you mean `{near}`?"),
                None => "Check the spelling. Everything a lesson needs is loaded already, so a `use` line is seldom needed.".to_owned(),
            },
        )
    }

    fn not_a_value(&self) -> Option<Friendly> {
        let name = self.quoted.last().copied().unwrap_or(self.source);
        if self.message.contains("macro") {
            let name = if name == "print" { "println" } else { name };
            return say(
                format!("`{name}` is written with an exclamation mark."),
                format!("Write `{name}!(...)`."),
            );
        }
        say(
            format!("`{name}` is the name of a type and not a value."),
            "Make a value of it: with a function that builds one, or with its fields in `{ }`.",
        )
    }

    fn used_up(&self) -> Option<Friendly> {
        let name = self.quoted.first().map_or("the value".to_owned(), |q| format!("`{q}`"));
        if self.message.contains("cannot move out of") {
            return say(
                format!("{name} is part of something else and cannot be taken out of it."),
                "Write `.clone()` behind it to take a copy, or `&` before it to look at it.",
            );
        }
        say(
            format!("{name} was handed over before and is used up here."),
            "Hand over a look at it with `&` before the name, or a copy with `.clone()` behind it.",
        )
    }

    fn not_changeable(&self) -> Option<Friendly> {
        let name = self.quoted.first().map_or("x".to_owned(), |q| q.trim_start_matches('*').to_owned());
        say(
            format!("`{name}` was not made to be changed."),
            format!(
                "Write `let mut {name} = ...` where it is defined; in a later cell, `let mut {name} = {name};`."
            ),
        )
    }

    fn borrowed(&self, code: &str) -> Option<Friendly> {
        let name = self.quoted.first().map_or("the value".to_owned(), |q| format!("`{q}`"));
        match code {
            "E0597" | "E0716" => say(
                format!("A reference would outlive what it points at ({name})."),
                "Keep the value itself instead of a reference to it, or do all of it inside `{ }`.",
            ),
            "E0515" => say(
                "The function gives back a reference to something that ends with it.",
                "Give back the value itself, without `&`.",
            ),
            _ => say(
                format!("{name} is being looked at and changed at the same time."),
                "Finish with the first use before the second begins, or take a copy with `.clone()`.",
            ),
        }
    }

    fn arguments(&self) -> Option<Friendly> {
        let what = self
            .message
            .replace("this function", "The function")
            .replace("this method", "The method")
            .replace("this struct", "This");
        let what = what
            .replace("takes 0 arguments", "takes nothing in its brackets")
            .replace("were supplied", "were given")
            .replace("was supplied", "was given");
        let missing = self
            .labels
            .lines()
            .find_map(|l| l.split("argument #").nth(1))
            .map(|l| trade(l.split(" of type ").last().unwrap_or(l)));
        let missing = missing
            .filter(|m| m.contains('`') || m.starts_with("a "))
            .map(|m| format!(" Missing is {}.", m.trim_end_matches(" is missing")))
            .unwrap_or_default();
        say(
            format!("{what}."),
            format!("Give exactly what it takes, in its order; `:doc` and the name show it.{missing}"),
        )
    }

    fn no_method(&self) -> Option<Friendly> {
        let name = self.quoted.first().copied().unwrap_or(self.source);
        let of = self.quoted.last().map_or(String::new(), |t| trade(&format!("`{t}`")));
        if self.message.contains("no variant") || self.message.contains("associated") {
            let near = self.similar();
            return say(
                format!("{of} has nothing called `{name}`."),
                near.map_or("Press Tab behind the `::` to see what there is.".to_owned(), |n| {
                    format!("Did you mean `{n}`?")
                }),
            );
        }
        if name == "evcxr_display" {
            return say(
                "The value at the end of the cell cannot be shown.",
                "Write `#[derive(Debug)]` above its type, or end the cell with one of its parts.",
            );
        }
        if self.message.contains("ambiguous numeric type") {
            return say(
                "It cannot be told what kind of number this is.",
                "Write `2.0_f64` in place of `2.0`.",
            );
        }
        let near = self.similar().or_else(|| {
            let at = self.helps.find("there is a method")?;
            quoted(&self.helps[at..]).first().map(|n| (*n).to_owned())
        });
        let cure = match near {
            Some(near) => format!("Did you mean `.{near}`?"),
            None => "Press Tab behind the dot to see what there is.".to_owned(),
        };
        say(format!("{of} has no `.{name}()`."), cure)
    }

    fn no_field(&self) -> Option<Friendly> {
        let name = self.quoted.first().copied().unwrap_or(self.source);
        let of = self.quoted.last().map_or(String::new(), |t| trade(&format!("`{t}`")));
        let near = self.similar().or_else(|| {
            let at = self.helps.find("available field").or_else(|| self.helps.find("a field with"))?;
            quoted(&self.helps[at..]).first().map(|n| (*n).to_owned())
        });
        let cure = match near {
            Some(near) => format!("Did you mean `{near}`?"),
            None => "Press Tab behind the dot to see what there is; a method needs `()` behind its name."
                .to_owned(),
        };
        say(format!("{of} has no part called `{name}`."), cure)
    }

    fn no_operation(&self) -> Option<Friendly> {
        let signs =
            [("cannot add", "+"), ("cannot subtract", "-"), ("cannot multiply", "*"), ("cannot divide", "/")];
        let (sign, left) = match signs.iter().find(|(words, _)| self.message.starts_with(words)) {
            Some((_, sign)) => (*sign, self.quoted_or(0, "This")),
            None => (self.quoted.first().copied().unwrap_or("This sign"), self.quoted_or(1, "this value")),
        };
        if left.contains("str") && sign == "+" {
            return say("Texts are not joined with `+` here.", "Write `format!(\"{a}{b}\")`.");
        }
        say(
            format!("{left} cannot be used with `{sign}` in this way."),
            "Both sides must be numbers of one type, or quantities that fit; of a whole thing take the part to calculate with.",
        )
    }

    /// Lines written as in another language.
    fn foreign(&self) -> Option<Friendly> {
        let mut words = self.line.split_whitespace();
        let (first, second) = (words.next().unwrap_or_default(), words.next().unwrap_or_default());
        let name = |w: &str| w.starts_with(|c: char| c.is_alphabetic() || c == '_');
        match first {
            "import" | "from" if name(second) => say(
                "`import` is Python; Rust loads names with `use`.",
                "Everything a lesson needs is loaded already: leave the line away.",
            ),
            "def" | "function" | "func" if name(second) => {
                say("A function begins with `fn`.", "Write `fn name(x: f64) -> f64 { x * 2.0 }`.")
            }
            "var" | "auto" | "int" | "float" | "double" if name(second) => {
                say("A new variable begins with `let`.", "Write `let name = value;`.")
            }
            "elif" | "elsif" => {
                say("A further condition is written `else if`.", "Write `else if x > 1.0 { ... }`.")
            }
            _ => None,
        }
    }

    /// Errors of grammar carry no code.
    fn grammar(&self, cell: &str) -> Option<Friendly> {
        let m = self.message;
        if m.contains("unknown start of token")
            || m.contains("unknown prefix")
            || m.contains("identifiers cannot contain emoji")
        {
            let symbol = self.first_quoted("This sign");
            return say(
                format!("{symbol} is not a sign of the language here."),
                "Quotes must be straight (\"), minus a plain `-`, and units are functions: `degc(20.0)`, `bar(1.4)`.",
            );
        }
        if m.contains("unclosed delimiter")
            || m.contains("mismatched closing")
            || m.contains("unexpected closing")
        {
            return say(
                "The brackets do not match.",
                "Every `(`, `[` and `{` needs its partner; look at the places marked.",
            );
        }
        if m.contains("`;`") || m.contains("missing a semicolon") {
            return say("A `;` is missing.", "End each statement with `;`, above the place marked.");
        }
        if m.contains("expected one of") && decimal_comma(self.line) {
            return say("A comma stands where a decimal point should.", "Write `1.4` for 1,4.");
        }
        if m.contains("`and`") || m.contains("`or`") || m.contains("`not`") {
            return say("Rust writes `&&` for and, `||` for or, `!` for not.", "Write `a > 1.0 && b > 2.0`.");
        }
        if [" and ", " or "].iter().any(|w| self.line.contains(w)) && m.contains("expected") {
            return say("Rust writes `&&` for and, `||` for or.", "Write `a > 1.0 && b > 2.0`.");
        }
        if m.contains("postfix increment")
            || m.contains("postfix decrement")
            || m.contains("prefix increment")
        {
            return say("There is no `++` or `--`.", "Write `n += 1`.");
        }
        if m.contains("comparison operators cannot be chained") {
            return say("Two comparisons cannot stand in a row.", "Write `0.0 < x && x < 1.0`.");
        }
        if m.contains("invalid comparison operator") {
            return say(
                format!("{} is no comparison here.", self.first_quoted("That sign")),
                "Unequal is `!=`, equal `==`, at most `<=`.",
            );
        }
        if m.contains("overflow") || m.contains("literal out of range") {
            return say(
                "This number does not fit its type.",
                "Use a decimal number (`f64`), or a larger whole number (`i64`).",
            );
        }
        if m.contains("attempt to divide") || m.contains("will panic at runtime") {
            return say(
                "This can be seen to go wrong before it runs.",
                "Look for a division by zero or a place beyond the end of a list.",
            );
        }
        if m.contains("positional argument")
            || m.contains("argument never used")
            || m.contains("arguments in format string")
        {
            return say(
                "The places `{}` in the text and the values behind it do not match in number.",
                "Give one value for each `{}`, or write the name into it: `{rpm}`.",
            );
        }
        if m.contains("format argument must be a string literal") {
            return say(
                "The first thing to print is a text with places.",
                "Write `println!(\"{}\", x)`, or end the cell with `x`.",
            );
        }
        if m.contains("no rules expected") {
            return say(
                "This macro does not take that.",
                "Look at an example of it: `println!(\"{x}\")`, `vec![1.0, 2.0]`.",
            );
        }
        if m.contains("cannot find macro") {
            let name = self.quoted.first().copied().unwrap_or_default();
            return say(
                format!("There is no `{name}!`."),
                "A function is called without the exclamation mark.",
            );
        }
        if m.contains("expected identifier, found keyword") || m.contains("found reserved") {
            return say(
                format!("{} is a word of the language and cannot be a name.", self.quoted_or(0, "That")),
                "Choose another name.",
            );
        }
        if m.contains("invalid suffix") {
            return say(
                "A unit or letter follows a number directly.",
                "Units are functions: `bar(1.4)`, `l_per_h(127.0)`.",
            );
        }
        if m.contains("casts cannot be followed") || m.contains("is interpreted as a start of generic") {
            return say("The cast must stand in brackets.", "Write `(x as f64) < y`.");
        }
        if m.contains("expected expression") {
            return say("A value is missing here.", "Look for a sign too many, or a name left out.");
        }
        if m.contains("expected one of") || m.contains("expected `") {
            let before = if cell.lines().count() > 1 { " or at the end of the line above" } else { "" };
            return say(
                "Something is missing or too much at this place.",
                format!("Look for a missing `;`, comma or bracket here{before}."),
            );
        }
        None
    }
}

/// The pieces between backticks.
fn quoted(text: &str) -> Vec<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

/// The nearest of the known names, if it is near.
fn nearest(name: &str, names: &[String]) -> Option<String> {
    let near = names.iter().map(|n| (strsim::damerau_levenshtein(name, n), n)).min()?;
    let allowed = if name.chars().count() < 5 { 1 } else { 2 };
    (near.0 <= allowed && near.0 > 0).then(|| near.1.clone())
}

fn decimal_comma(line: &str) -> bool {
    let c: Vec<char> = line.chars().collect();
    c.windows(3).any(|w| w[0].is_ascii_digit() && w[1] == ',' && w[2].is_ascii_digit())
}

/// A type in trade words.
fn trade(name: &str) -> String {
    let bare = name.trim_matches('`');
    let known = [("GaugePressure", "a gauge pressure"), ("AbsolutePressure", "an absolute pressure")];
    if let Some((_, words)) = known.iter().find(|(t, _)| bare == *t) {
        return (*words).to_owned();
    }
    if bare.contains("Quantity<") {
        return dimension(bare).map_or("a quantity with a unit".to_owned(), |d| format!("a {d}"));
    }
    match bare {
        "{integer}" | "integer" => "a whole number".to_owned(),
        "{float}" | "floating-point number" => "a decimal number".to_owned(),
        _ => name.replace("{integer}", "i32").replace("{float}", "f64"),
    }
}

/// The two quantities of a note that compares types, in trade words.
fn dimensions(text: &str) -> Option<(String, String)> {
    let mut found = text.split("Quantity<").skip(1).filter_map(|part| dimension(&format!("Quantity<{part}")));
    Some((found.next()?, found.next()?))
}

/// The kind of quantity by its dimension's exponents (length, mass, time, current, temperature).
fn dimension(text: &str) -> Option<String> {
    let exponent = |key: &str| -> Option<i32> {
        let at = [format!("{key} = "), format!("{key}=")]
            .iter()
            .find_map(|k| text.find(k.as_str()).map(|n| n + k.len()))?;
        exponent_of(text[at..].trim_start())
    };
    let all = [
        exponent("L")?,
        exponent("M")?,
        exponent("T")?,
        exponent("I").unwrap_or(0),
        exponent("Th").unwrap_or(0),
    ];
    let known: [([i32; 5], &str); 16] = [
        ([1, 0, 0, 0, 0], "length"),
        ([0, 1, 0, 0, 0], "mass"),
        ([0, 0, 1, 0, 0], "time"),
        ([0, 0, 0, 1, 0], "current"),
        ([0, 0, 0, 0, 1], "temperature"),
        ([2, 0, 0, 0, 0], "area"),
        ([3, 0, 0, 0, 0], "volume"),
        ([3, 0, -1, 0, 0], "volume flow"),
        ([0, 1, -1, 0, 0], "mass flow"),
        ([-3, 1, 0, 0, 0], "density"),
        ([1, 0, -1, 0, 0], "velocity"),
        ([-1, 1, -2, 0, 0], "pressure"),
        ([2, 1, -3, 0, 0], "power"),
        ([2, 1, -3, -1, 0], "voltage"),
        ([2, 1, -3, -2, 0], "resistance"),
        ([0, 0, -1, 0, 0], "speed of rotation"),
    ];
    known.iter().find(|(d, _)| *d == all).map(|(_, n)| (*n).to_owned())
}

/// The number that a type-level integer stands for, at the start of a text.
fn exponent_of(text: &str) -> Option<i32> {
    if text.starts_with("Z0") || text.contains("Z0") && text.find("Z0")? < text.find([',', '>'])? {
        return Some(0);
    }
    let head = &text[..text.find(", ").unwrap_or(text.len()).min(text.len())];
    let negative = head.contains("NInt") || head.starts_with('N');
    if let Some(n) = head
        .trim_start_matches("typenum::")
        .strip_prefix(['P', 'N'])
        .and_then(|d| d.get(..1)?.parse::<i32>().ok())
    {
        return Some(if negative { -n } else { n });
    }
    // Written out in binary: UInt<UInt<UTerm, B1>, B0> is 2.
    let end = text.find("> >").or_else(|| text.find(">>, ")).unwrap_or(text.len());
    let bits = text[..end.min(text.len())].split("UTerm").nth(1)?;
    let bits = &bits[..bits.find('=').unwrap_or(bits.len())];
    let value = bits.matches(['0', '1']).fold(0, |n, b| n * 2 + i32::from(b == "1"));
    Some(if negative { -value } else { value })
}

/// How a quantity is written.
fn example(kind: &str) -> &'static str {
    match kind {
        "length" => "mm(8.7)",
        "volume flow" => "l_per_h(127.0)",
        "mass flow" => "g_per_s(25.0)",
        "temperature" => "degc(20.0)",
        "voltage" => "volts(13.5)",
        "current" => "amps(9.0)",
        "time" => "ms(0.8)",
        "speed of rotation" => "rpm(6500.0)",
        "volume" => "cc(100.0)",
        "density" => "kg_per_m3(745.0)",
        _ => "bar(1.4)",
    }
}
