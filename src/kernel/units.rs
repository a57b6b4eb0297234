//! What a signature says, in units: which words make the quantity that a parameter takes.
//!
//! The analyser knows `boost: Pressure`; a reader at a bench wants to know that it is given as
//! `bar(1.4)`, or in psi.

use railrise::quantity::unit::UNITS;
use railrise::workshop::measure::{MAKERS, Maker};

/// Parameters of a function by name and type, from the text of its signature.
fn parameters<'a>(signature: &'a str) -> Vec<(&'a str, &'a str)> {
    let Some(open) = signature.find("fn ").and_then(|f| Some(f + signature[f..].find('(')?)) else {
        return Vec::new();
    };
    let (mut depth, mut start, mut all) = (0usize, open + 1, Vec::new());
    for (at, c) in signature[open..].char_indices() {
        match c {
            '(' | '[' | '<' => depth += 1,
            // The `>` of an arrow closes nothing.
            '>' if signature[..open + at].ends_with('-') => {}
            ')' | ']' | '>' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if (c == ',' && depth == 1) || depth == 0 {
            all.push(&signature[start..open + at]);
            start = open + at + 1;
        }
        if depth == 0 {
            break;
        }
    }
    let split = |p: &'a str| p.split_once(':').map(|(name, kind)| (name.trim(), kind.trim()));
    all.into_iter().filter_map(split).collect()
}

fn makers(kind: &str) -> Option<&'static [Maker]> {
    let kind = kind.rsplit("::").next()?.trim_start_matches('&');
    MAKERS.iter().find(|(name, _)| *name == kind).map(|(_, makers)| *makers)
}

fn in_words(makers: &[Maker]) -> String {
    let words: Vec<String> = makers.iter().map(|(make, words, _)| format!("{make}(…) in {words}")).collect();
    words.join(", or ")
}

/// How each parameter that is a quantity is written: `(parameter, words)`.
pub fn of_parameters(signature: &str) -> Vec<(String, String)> {
    let found = parameters(signature).into_iter();
    found.filter_map(|(name, kind)| Some((name.to_owned(), in_words(makers(kind)?)))).collect()
}

/// The words that make what the parameter of that number takes, with the parameter's name.
pub fn of_argument(signature: &str, number: usize) -> Option<(String, &'static [Maker])> {
    let (name, kind) = *parameters(signature).get(number)?;
    Some((name.to_owned(), makers(kind)?))
}

/// The call that a place in the code stands inside of: where the called name ends, and the number
/// of the argument, from 0.
pub fn call_around(code: &str, at: usize) -> Option<(usize, usize)> {
    let (mut depth, mut number) = (0usize, 0);
    for (place, c) in code.get(..at)?.char_indices().rev() {
        match c {
            ')' | ']' | '}' => depth += 1,
            '(' if depth == 0 => {
                let named = code[..place].ends_with(|c: char| c.is_alphanumeric() || c == '_');
                return named.then_some((place, number));
            }
            '(' | '[' | '{' => depth = depth.checked_sub(1)?,
            ',' if depth == 0 => number += 1,
            ';' if depth == 0 => return None,
            _ => {}
        }
    }
    None
}

/// What a word that makes a quantity stands for, by its signature: formula, unit, source.
pub fn of_maker(signature: &str) -> Option<String> {
    let word = signature.split("pub fn ").nth(1)?.split('(').next()?;
    let all = MAKERS.iter().flat_map(|(kind, makers)| makers.iter().map(move |m| (*kind, m)));
    let (kind, (make, words, one)) = all.into_iter().find(|(_, m)| m.0 == word)?;
    let unit = UNITS.iter().find(|u| format!("{:?}", u.dim) == kind)?;
    if kind == "Temperature" {
        return Some(format!(
            "Formula: T = t + 273.15 K with t in {words}. Source: SI Brochure, 9th edition, section 2.3.1."
        ));
    }
    let si = if unit.symbol == "1" { "" } else { unit.symbol };
    let one = railrise::quantity::round_to_digits(one(), 7);
    let one = one.trim_end_matches(".0");
    Some(format!(
        "Formula: {make}(x) = x · {one} {si}, x in {words}. Source: NIST SP 811 (2008), appendix B.8.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const AT: &str = "pub fn at(&self, speed: AngularVelocity, boost: Pressure) -> Reading";

    #[test]
    fn parameters_of_signatures() {
        assert_eq!(parameters(AT), [("speed", "AngularVelocity"), ("boost", "Pressure")]);
        assert_eq!(
            parameters("pub fn f<T>(a: &[(u8, T)], b: impl Fn(f64) -> f64, c: &Pressure)"),
            [("a", "&[(u8, T)]"), ("b", "impl Fn(f64) -> f64"), ("c", "&Pressure")]
        );
        assert!(parameters("pub fn none()").is_empty() && parameters("the_car: Car").is_empty());
    }

    #[test]
    fn units_of_parameters() {
        let found = of_parameters(AT);
        assert_eq!(found[0], ("speed".to_owned(), "rpm(…) in revolutions per minute".to_owned()));
        assert!(found[1].1.starts_with("bar(…) in bar, or psi(…) in"), "{found:?}");
        let (name, makers) = of_argument(AT, 1).expect("a quantity");
        assert_eq!((name.as_str(), makers[0].0), ("boost", "bar"));
        assert!(of_argument(AT, 2).is_none());
    }

    #[test]
    fn calls_around_a_place() {
        let at = |code: &str| call_around(code, code.len()).map(|(end, n)| (code[..end].to_owned(), n));
        assert_eq!(at("the_car.at(rpm(4000.0), b"), Some(("the_car.at".to_owned(), 1)));
        assert_eq!(at("the_car.at(rpm("), Some(("the_car.at(rpm".to_owned(), 0)));
        assert_eq!(at("f([1, 2], |x| { x + 1; 3 }, "), Some(("f".to_owned(), 2)));
        assert_eq!((at("let a = f(1); b"), at("(1, 2"), at("")), (None, None, None));
    }

    #[test]
    fn makers_with_their_factors() {
        // NIST SP 811 (2008), appendix B.8: psi 6.894757 E+03 Pa, rpm 1.047198 E-01 rad/s, lb/h 1.259979 E-04 kg/s.
        for (word, says) in [
            ("psi", "x · 6894.757 Pa"),
            ("rpm", "x · 0.1047198 rad/s"),
            ("lb_per_h", "x · 0.0001259979 kg/s"),
        ] {
            let said = of_maker(&format!("pub fn {word}(value: f64) -> Q")).expect("a maker");
            assert!(said.contains(says), "{said}");
        }
        assert!(of_maker("pub fn car(name: &str) -> Car").is_none());
    }
}
