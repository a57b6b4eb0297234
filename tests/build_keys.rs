//! Every key of a build file says what it is, in which range, with an example that reads, and from where.

use railrise::build::{Build, KINDS, SECTIONS, coil_law, keys_of};
use railrise::quantity::{Amount, Dim, unit};
use railrise::spec::{Key, Takes};

fn all_keys() -> impl Iterator<Item = (&'static str, &'static Key)> {
    SECTIONS.iter().chain(KINDS).flat_map(|(owner, keys)| keys.iter().map(move |k| (*owner, k)))
}

fn si(text: &str, dim: Dim) -> f64 {
    unit::read(text, dim).unwrap_or_else(|e| panic!("\"{text}\" does not read as {}: {e:?}", dim.name())).si
}

#[test]
fn every_key_has_its_words_range_example_and_source() {
    let mut count = 0;
    for (owner, key) in all_keys() {
        let at = format!("{owner}.{}", key.name);
        assert!(key.doc.len() > 5, "{at} does not say what it is");
        assert!(!key.example.is_empty(), "{at} has no example");
        assert!(!key.source.is_empty(), "{at} has no source");
        if let Takes::Scalar { dim, low, high, usual, .. } = key.takes {
            // What is drawn only, injector by injector, stands at its default by itself.
            let drawn_only = at == "injectors.each_flow";
            let stands = drawn_only && low == high && key.default.is_some_and(|d| si(d, dim) == low);
            assert!(low.is_finite() && high.is_finite() && (low < high || stands), "{at} has no range");
            for text in [Some(key.example), key.default].into_iter().flatten() {
                let x = si(text, dim);
                assert!(x >= low && x <= high, "{at}: \"{text}\" lies outside its own range");
            }
            if let Some((l, h)) = usual {
                assert!(low <= l && l < h && h <= high, "{at}: the usual band leaves the range");
                let x = si(key.example, dim);
                assert!(x >= l && x <= h, "{at}: the example is unusual");
            }
            if key.default.is_some() {
                assert_ne!(key.source, "stated by the build", "{at}: the default has no source");
            }
        }
        count += 1;
    }
    assert!(count > 110, "only {count} keys");
}

#[test]
fn every_example_of_rows_reads() {
    for (owner, key) in all_keys() {
        let Takes::Rows(columns) = key.takes else { continue };
        let text = format!("v = {}", key.example.replace(", ...", ""));
        let doc =
            toml_edit::Document::parse(text.as_str()).unwrap_or_else(|e| panic!("{owner}.{}: {e}", key.name));
        let rows = doc.as_table()["v"].as_array().expect("rows");
        for row in rows {
            let row = row.as_inline_table().expect("a row is a table");
            for c in columns {
                match row.get(c.name).and_then(|v| v.as_str()) {
                    Some(text) => assert!(si(text, c.dim).is_finite()),
                    None => assert!(c.optional, "{owner}.{}: the example leaves {} out", key.name, c.name),
                }
            }
        }
    }
}

#[test]
fn a_value_that_was_set_counts_beside_a_table_though_its_default_does_not() {
    let path = format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR"));
    let car = Build::read(path).unwrap();
    let dead = |b: &Build| {
        let v = &b.part("injectors").unwrap().values;
        railrise::build::injector_law(v).unwrap().dead_time.at(14.0, 4e5).unwrap()
    };
    assert!((dead(&car) - 0.98e-3).abs() < 1e-12); // the row of 14 V and 4 bar
    assert!((dead(&car.with("injectors.dead_time", "0.2 ms").unwrap()) - 1.18e-3).abs() < 1e-12);
    let mut by_number = car.clone();
    by_number.set_si("injectors.dead_time", 0.2e-3).unwrap();
    assert!((dead(&by_number) - 1.18e-3).abs() < 1e-12);
    assert_ne!(car.input_digest(), by_number.input_digest());
}

/// What a coil's key says of itself where it is left out is what then counts, and each is a number of its own.
#[test]
fn a_coil_that_is_not_described_is_the_one_that_its_keys_tell_of() {
    let path = format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR"));
    let car = Build::read(path).unwrap().with("injectors.opening", "coil and needle").unwrap();
    let numbers = |b: &Build| {
        let c = coil_law(&b.part("injectors").unwrap().values).unwrap();
        [c.resistance, c.inductance, c.clamp, c.pull, c.preload, c.mass, c.lift, c.seat_area]
    };
    let default = numbers(&car);
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-12;
    let mut moved = [0; 8];
    for key in keys_of("injectors").unwrap() {
        let Some(said) = key.doc.split("left out: ").nth(1).and_then(|x| x.split(" (").next()) else {
            continue;
        };
        let Takes::Scalar { dim, .. } = key.takes else { continue };
        if !said.starts_with(|c: char| c.is_ascii_digit()) {
            continue;
        }
        let at = format!("injectors.{}", key.name);
        let with = numbers(&car.with(&at, said).unwrap());
        assert!(
            with.iter().zip(default).all(|(a, b)| near(*a, b)),
            "{at} says {said}: {with:?}, {default:?}"
        );
        assert!(near(si(key.example, dim), si(said, dim)), "{at}: {} and {said}", key.example);
        let mut other = car.clone();
        other.set_si(&at, 1.5 * si(said, dim)).unwrap();
        for ((n, a), b) in moved.iter_mut().zip(numbers(&other)).zip(default) {
            *n += usize::from(!near(a, b));
        }
    }
    assert!(moved == [1; 8], "{moved:?}");
}

/// Every column of every table: units, a range, and a refusal outside it that names line, key, value and range.
#[test]
fn a_cell_outside_its_columns_range_is_refused_with_line_and_key() {
    let text = std::fs::read_to_string(format!(
        "{}/datasets/hill-climb-car/raised-1.4-bar.toml",
        env!("CARGO_MANIFEST_DIR")
    ))
    .unwrap();
    let mut cells = 0;
    for (owner, key) in all_keys() {
        let Takes::Rows(columns) = key.takes else { continue };
        for c in columns {
            assert!(
                c.low < c.high && c.low.is_finite() && c.high.is_finite(),
                "{owner}.{}.{}",
                key.name,
                c.name
            );
            for out in [c.low - 0.1 * (c.high - c.low), 1.1 * c.high + 0.1 * (c.high - c.low)] {
                let out = Amount::new(out, c.dim).to_string();
                // The example's first row, one cell changed.
                let doc =
                    toml_edit::Document::parse(format!("v = {}", key.example.replace(", ...", ""))).unwrap();
                let rows = doc.as_table()["v"].as_array().unwrap();
                let row: Vec<String> = columns
                    .iter()
                    .filter_map(|x| {
                        let said = rows.get(0).unwrap().as_inline_table().unwrap().get(x.name)?.as_str()?;
                        let said = if x.name == c.name { out.clone() } else { said.to_owned() };
                        Some(format!("{} = \"{said}\"", x.name))
                    })
                    .collect();
                let line = format!("{} = [{{ {} }}]", key.name, row.join(", "));
                let head = text
                    .lines()
                    .position(|l| {
                        l.trim() == format!("[{owner}]") || l.trim() == format!("kind = \"{owner}\"")
                    })
                    .unwrap_or_else(|| panic!("{owner} is in no line"));
                let mut lines: Vec<&str> = text.lines().collect();
                lines.insert(head + 1, &line);
                // Its own rows give way.
                let from =
                    lines.iter().skip(head + 2).position(|l| l.starts_with(&format!("{} = ", key.name)));
                let until =
                    lines.iter().skip(head + 2).position(|l| l.starts_with('[')).unwrap_or(usize::MAX);
                if let Some(from) = from.filter(|f| *f < until) {
                    let from = head + 2 + from;
                    let end = (from..).find(|i| lines[*i].trim_end().ends_with(']')).unwrap();
                    lines.drain(from..=end);
                }
                let e = Build::from_toml(&lines.join("\n")).unwrap_err().to_string();
                let said = format!("line {}: ", head + 2);
                let path = format!(
                    "{}[1].{}: found {out}, which is outside its range ({} in {})",
                    key.name, c.name, c.name, key.name
                );
                assert!(e.contains(&said) && e.contains(&path) && e.contains("accepted: "), "{owner}: {e}");
                cells += 1;
            }
        }
    }
    println!("{cells} cells outside their column's range refused");
    assert!(cells >= 30);
}
