//! The course as it is stored: every number in prose has a basis, every check of the trade has its place, the index
//! says what the lessons say, every figure can be read by ear.

use serde_json::Value;
use std::collections::BTreeMap;

struct Cell {
    code: bool,
    tags: Vec<String>,
    text: String,
    /// Plain forms of its stored outputs.
    said: String,
    /// HTML forms of its stored outputs.
    pages: Vec<String>,
}

struct Lesson {
    number: String,
    file: String,
    answers: String,
    minutes: u64,
    cells: Vec<Cell>,
}

fn words(v: &Value) -> String {
    match v {
        Value::Array(lines) => lines.iter().filter_map(Value::as_str).collect(),
        other => other.as_str().unwrap_or_default().to_owned(),
    }
}

fn course() -> Vec<Lesson> {
    let folder = format!("{}/notebooks", env!("CARGO_MANIFEST_DIR"));
    let mut out = Vec::new();
    for file in std::fs::read_dir(folder).expect("the notebooks").map(|f| f.expect("an entry").path()) {
        if file.extension().is_none_or(|e| e != "ipynb") {
            continue;
        }
        let nb: Value =
            serde_json::from_str(&std::fs::read_to_string(&file).expect("a notebook")).expect("JSON");
        let own = &nb["metadata"]["railrise"];
        let cells = nb["cells"].as_array().expect("cells").iter().map(|c| {
            let outputs: Vec<&Value> = c["outputs"].as_array().into_iter().flatten().collect();
            let plain = |o: &&Value| {
                words(&o["text"]) + &words(&o["data"]["text/plain"]) + &words(&o["data"]["text/markdown"])
            };
            Cell {
                code: c["cell_type"] == "code",
                tags: c["metadata"]["tags"]
                    .as_array()
                    .into_iter()
                    .flatten()
                    .map(|t| t.as_str().unwrap_or_default().to_owned())
                    .collect(),
                text: words(&c["source"]),
                said: outputs.iter().map(|o| plain(o) + "\n").collect(),
                pages: outputs
                    .iter()
                    .map(|o| words(&o["data"]["text/html"]))
                    .filter(|h| !h.is_empty())
                    .collect(),
            }
        });
        out.push(Lesson {
            number: own["number"].as_str().expect("a number in the metadata").to_owned(),
            file: file.file_name().expect("a name").to_string_lossy().into_owned(),
            answers: own["answers"].as_str().expect("what it answers").to_owned(),
            minutes: own["minutes"].as_u64().expect("how long it takes"),
            cells: cells.collect(),
        });
    }
    out.sort_by(|a, b| a.file.cmp(&b.file));
    out
}

fn lessons() -> Vec<Lesson> {
    let mut all = course();
    all.retain(|l| l.number.starts_with('L') || l.number == "Capstone");
    all
}

/// Unsigned numbers in a text, as printed. Letters before one make it a name (L5, E85).
fn numbers(text: &str) -> Vec<String> {
    let chars: Vec<char> = text.chars().collect();
    let (mut out, mut i) = (Vec::new(), 0);
    while i < chars.len() {
        if !chars[i].is_ascii_digit() {
            i += 1;
            continue;
        }
        let start = i;
        while i < chars.len()
            && (chars[i].is_ascii_digit()
                || (chars[i] == '.' && chars.get(i + 1).is_some_and(char::is_ascii_digit)))
        {
            i += 1;
        }
        let before = start.checked_sub(1).map(|k| chars[k]);
        if before.is_none_or(|c| !(c.is_alphabetic() || c == '_' || c == '^')) {
            out.push(chars[start..i].iter().collect());
        }
    }
    out
}

/// What a reader takes as a quantity: no code, links, exercise or list numbers, lesson times, sources.
fn prose(text: &str) -> String {
    let mut out = String::new();
    let (mut fenced, mut sources) = (false, false);
    for line in text.lines() {
        if line.starts_with("```") {
            fenced = !fenced;
        }
        if line.starts_with("## ") {
            sources = line.starts_with("## Sources");
        }
        if fenced
            || sources
            || line.starts_with('#')
            || line.starts_with("*Lesson")
            || line.starts_with("*About")
        {
            continue;
        }
        let mut line = line.to_owned();
        if line.chars().next().is_some_and(|c| c.is_ascii_digit()) {
            line = line.split_once(". ").map_or(line.clone(), |(_, rest)| rest.to_owned());
        }
        // Code between backticks.
        line = line.split('`').step_by(2).collect::<Vec<_>>().join(" ");
        if line.starts_with("> ") {
            for n in 1..=6 {
                line = line.replace(&format!("{n}: "), " ");
            }
        }
        for n in 1..=6 {
            line = line.replace(&format!("xercise {n}"), "xercise");
        }
        out += &line.replace("\\,000", "000").replace(" 000", "000");
        out.push('\n');
    }
    out
}

/// A sum of numbers: + - * / ^ ( ) sqrt exp.
struct Sum<'a> {
    rest: &'a str,
}

impl Sum<'_> {
    fn of(text: &str) -> f64 {
        let mut s = Sum { rest: text.trim() };
        let v = s.terms();
        assert!(s.rest.trim().is_empty(), "{text}: stops at {}", s.rest);
        v
    }
    fn eat(&mut self, what: &str) -> bool {
        self.rest = self.rest.trim_start();
        self.rest.strip_prefix(what).map(|r| self.rest = r).is_some()
    }
    fn terms(&mut self) -> f64 {
        let mut v = self.factors();
        loop {
            if self.eat("+") {
                v += self.factors();
            } else if self.eat("-") {
                v -= self.factors();
            } else {
                return v;
            }
        }
    }
    fn factors(&mut self) -> f64 {
        let mut v = self.power();
        loop {
            if self.eat("*") {
                v *= self.power();
            } else if self.eat("/") {
                v /= self.power();
            } else {
                return v;
            }
        }
    }
    fn power(&mut self) -> f64 {
        let v = self.one();
        if self.eat("^") { v.powf(self.one()) } else { v }
    }
    fn one(&mut self) -> f64 {
        if self.eat("-") {
            return -self.one();
        }
        for (name, f) in [("sqrt(", f64::sqrt as fn(f64) -> f64), ("exp(", f64::exp), ("(", |x| x)] {
            if self.eat(name) {
                let v = f(self.terms());
                assert!(self.eat(")"), "a bracket is open before {}", self.rest);
                return v;
            }
        }
        let end = self.rest.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(self.rest.len());
        let (number, rest) = self.rest.split_at(end);
        self.rest = rest;
        number.parse().expect("a number")
    }
}

/// Whether a value prints as this number.
fn prints_as(value: f64, printed: &str) -> bool {
    let digits = printed.split_once('.').map_or(0, |(_, d)| d.len());
    let shown: f64 = printed.parse().expect("a number");
    (value - shown).abs() <= 0.5 * 10f64.powi(-(digits as i32)) * (1.0 + 1e-9)
}

#[test]
fn every_number_in_prose_has_its_basis() {
    let text = include_str!("reference/prose_numbers.txt");
    let mut basis: BTreeMap<(String, String), bool> = BTreeMap::new();
    for line in text.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty()) {
        let parts: Vec<&str> = line.split('|').map(str::trim).collect();
        let [lesson, number, how] = parts[..] else { panic!("three columns: {line}") };
        match how.strip_prefix('=') {
            Some(sum) => {
                let v = Sum::of(sum);
                assert!(prints_as(v, number), "{lesson}: {number} is printed, {sum} gives {v}");
            }
            None => {
                assert!(["given", "practice", "source", "words"].iter().any(|w| how.starts_with(w)), "{line}")
            }
        }
        let before = basis.insert((lesson.to_owned(), number.to_owned()), false);
        assert!(before.is_none(), "twice: {line}");
    }
    let mut without = Vec::new();
    let mut looked = 0;
    for l in lessons() {
        let of = |text: String| -> Vec<f64> {
            numbers(&text.replace('_', "")).iter().map(|n| n.parse().expect("a number")).collect()
        };
        let cells = of(l.cells.iter().filter(|c| c.code).map(|c| c.text.as_str()).collect());
        let said = of(l.cells.iter().map(|c| c.said.as_str()).collect());
        assert!(said.len() > 20, "{}: store its outputs with `railrise run --store`", l.file);
        for c in l.cells.iter().filter(|c| !c.code) {
            for n in numbers(&prose(&c.text)) {
                let v: f64 = n.parse().expect("a number");
                if v <= 2.0 && v.fract() == 0.0 {
                    continue;
                }
                looked += 1;
                let listed = basis.get_mut(&(l.number.clone(), n.clone()));
                let has_basis = listed.is_some();
                if let Some(b) = listed {
                    *b = true;
                }
                let in_cell = cells.iter().any(|x| *x == v || (*x * 100.0 - v).abs() < 1e-9);
                let in_run = said.iter().any(|x| prints_as(*x, &n));
                if !(in_cell || in_run || has_basis) {
                    without.push(format!("{} | {n} | in: {}", l.number, c.text.lines().next().unwrap_or("")));
                }
            }
        }
    }
    assert!(looked > 300, "{looked}");
    assert!(without.is_empty(), "{} numbers without a basis:\n{}", without.len(), without.join("\n"));
    let idle: Vec<_> = basis.iter().filter(|(_, seen)| !**seen).map(|(at, _)| at).collect();
    assert!(idle.is_empty(), "listed, but in no prose: {idle:?}");
}

/// Claims that every correct model passes, and where a lesson shows them: number, lesson, words of a cell.
const CHECKS: &[(&str, &str, &str)] = &[
    ("1: units of pressure and flow", "L1", "show(&kpa(400.0).amount());"),
    ("1: 127 L/h is 2.1 L/min", "L1", "show(&l_per_h(127.0).amount());"),
    ("2: above 10 L/min is a slip", "L4", "flow = '146 L/min' }]\")\n    .slips()"),
    (
        "3: a rating needs pressure and voltage",
        "L4",
        "raised.with(\"main pump.rows\", \"[{ flow = '146 L/h' }]\")",
    ),
    (
        "3: two ratings cannot be compared",
        "L4",
        "They cannot be compared: A's number is for 3 bar, B's for 4 bar",
    ),
    ("4: fixed rail in boost, by the root", "L2", "| 4 bar | 0.908 | 0.866 | 0.806 |"),
    ("4: only without compensation", "L2", "compare(\"lambda\", &[&a, &b, &c])"),
    ("5: 1:1 keeps the difference", "L2", "compare(\"differential pressure\", &[&a, &b])"),
    ("5: 1.4 bar on 3.0 reads 4.4 bar", "L2", "The gauge reads 4.4 bar at 1.4 bar of boost"),
    ("5: base set with the hose on", "L1", "check(\"Exercise 4: true base (hose off)\""),
    ("6: a port injector sees the port", "L8", "show(&cycle);"),
    ("7: screw in raises base", "L7", "compare(\"rail pressure\", &[&screw_first, &screw_big])"),
    ("7: dead while overrun", "L7", "On the floor the screw is **dead**"),
    ("7: dead while the pump is the limit", "L4", "raised.with(\"regulator.screw\", \"1 turn\")"),
    ("8: lean onset is a crossing", "L4", "supply_and_demand(&pull)"),
    ("9: the floor rises by up to r squared", "L7", "check(\"By which factor does the floor rise at most?\""),
    ("10: loss after the regulator", "L6", "compare(\"lambda\", &[&a, &b, &c]).fail_above(0.824"),
    ("10: 0.3 bar at 3.0 bar", "L6", "check(\"Lambda with 0.3 bar lost after the regulator\""),
    ("10: idle cannot see it", "L6", "An idle gauge cannot see either clog"),
    ("11: boost for 3 % lean", "L2", "b.first_above(\"lambda\", 0.824)"),
    ("12: no flow taken: set or floor", "L7", "p_\\mathrm{rail} = \\max(\\text{set},\\ \\text{floor})"),
    (
        "12: at zero boost fixed is referenced",
        "L2",
        "at zero boost a fixed rail and a referenced one are the same car",
    ),
    ("12: pump is return plus engine plus storage", "L10", "dies.ledger()"),
    ("12: pump is return plus engine", "L4", "in_order.explain(\"return flow\")"),
];

#[test]
fn every_check_of_the_trade_has_its_cell() {
    let all = lessons();
    for (claim, lesson, needle) in CHECKS {
        let l = all.iter().find(|l| l.number == *lesson).unwrap_or_else(|| panic!("no {lesson}"));
        assert!(
            l.cells.iter().any(|c| c.text.contains(needle)),
            "{claim}: {lesson} has no cell with {needle}"
        );
    }
    for n in 1..=12 {
        assert!(CHECKS.iter().any(|c| c.0.starts_with(&format!("{n}:"))), "check {n}");
    }
}

#[test]
fn the_index_says_what_the_lessons_say() {
    let all = course();
    let index = &all[0];
    assert_eq!(index.number, "Index");
    let text: String = index.cells.iter().map(|c| c.text.as_str()).collect();
    let mut minutes = 0;
    for l in lessons() {
        let title = l.cells[0].text.lines().next().expect("a title").trim_start_matches("# ").to_owned();
        let row = format!("| {} | [{title}]({}) | {} | {} min |", l.number, l.file, l.answers, l.minutes);
        assert!(text.contains(&row), "the index lacks: {row}");
        minutes += l.minutes;
        let said = format!("bout {} minutes.", l.minutes);
        assert!(l.cells[0].text.contains(&said), "{}: {said}", l.file);
    }
    assert!(text.contains(&format!("{} hours {} minutes", minutes / 60, minutes % 60)), "{minutes}");
    assert_eq!(lessons().len(), 13, "twelve lessons and a capstone");
}

#[test]
fn every_lesson_has_its_note_for_the_teacher_and_students_do_not_get_it() {
    for l in lessons() {
        let notes: Vec<&Cell> =
            l.cells.iter().filter(|c| c.text.contains("What goes wrong in class")).collect();
        assert_eq!(notes.len(), 1, "{}", l.file);
        assert!(notes[0].tags.iter().any(|t| t == "teacher"), "{}", l.file);
    }
}

#[test]
fn every_figure_is_named_described_and_has_its_numbers() {
    let mut seen = 0;
    for l in course() {
        for page in l.cells.iter().flat_map(|c| &c.pages).filter(|p| p.contains("<svg")) {
            // Panels inside a drawing are no drawings of their own.
            let drawings = page.matches("<svg xmlns").count();
            for part in ["<title", "<desc", "<table"] {
                let found = page.matches(part).count();
                assert!(found >= drawings, "{}: {found} {part} for {drawings} drawings", l.file);
            }
            seen += drawings;
        }
    }
    assert!(seen > 80, "{seen}");
}

#[test]
fn every_kind_of_figure_is_used() {
    let code: String =
        lessons().iter().flat_map(|l| &l.cells).filter(|c| c.code).map(|c| c.text.clone()).collect();
    for word in [
        "compare(",
        "compare_in_time(",
        ".draw(",
        "ladder(",
        "volt_ladder(",
        "pump_curves(",
        "supply_and_demand(",
        ".histogram()",
        "tornado(",
        "speed_boost_map(",
        "expect_gauge(",
        "one_cycle(",
        "schematic(",
        "slide_boost(",
        "slide_supply_and_demand(",
        "beside_the_log(",
    ] {
        assert!(code.contains(word), "{word}");
    }
}
