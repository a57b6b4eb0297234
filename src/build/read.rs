//! A build file, read.

use super::value::{Common, Reader, Slip};
use super::{Build, Leg, Part, SECTIONS, digest, keys_of, kinds::KINDS, layout};
use crate::error::{Error, Kind, Result, did_you_mean};
use crate::quantity::STANDARD_ATMOSPHERE;
use crate::spec::{Grade, Key, Value, Values};
use indexmap::IndexMap;
use std::path::Path;
use toml_edit::{Document, Item, TableLike};

/// Entries that any section or part may carry beside its keys.
const COMMON: [&str; 3] = ["grade", "source", "note"];

pub(super) fn build(text: &str, folder: Option<&Path>) -> Result<Build> {
    let doc = Document::parse(text).map_err(|e| {
        let line = e.span().map_or(1, |s| text[..s.start.min(text.len())].matches('\n').count() + 1);
        Error::new(Kind::Format, format!("this is not TOML: {}", e.message().trim().replace('\n', "; ")))
            .at_line(line)
            .next("see the build files under datasets for the form")
    })?;
    let mut r = Reader::new(text, STANDARD_ATMOSPHERE, folder);
    let mut sections: IndexMap<&'static str, Values> =
        SECTIONS.iter().map(|(n, keys)| (*n, Values::defaults(keys))).collect();
    let root = doc.as_table();

    for (name, item) in root.iter() {
        if !SECTIONS.iter().any(|(n, _)| *n == name) && !["part", "leg"].contains(&name) {
            let names: Vec<_> = SECTIONS.iter().map(|(n, _)| *n).chain(["part", "leg"]).collect();
            let line = r.line(item.span());
            r.fail(
                name,
                line,
                Error::new(Kind::Unknown, "there is no such section").next(format!(
                    "{}the sections are: {}",
                    did_you_mean(name, names.iter().copied()),
                    names.join(", ")
                )),
            );
        }
    }
    for (name, keys) in SECTIONS {
        if let Some(item) = root.get(name) {
            match item.as_table_like() {
                Some(t) => {
                    let values = sections.get_mut(name).expect("all sections are there");
                    table(&mut r, name, keys, t, values);
                    if *name == "ambient" {
                        r.ambient = values.si("pressure");
                    }
                }
                None => {
                    let line = r.line(item.span());
                    r.fail(
                        name,
                        line,
                        Error::new(Kind::Format, "a table is needed")
                            .next(format!("write [{name}] on a line of its own")),
                    );
                }
            }
        }
    }
    for (name, values) in &sections {
        if let Some(key) = values.missing() {
            let line = root.get(name).and_then(|i| r.line(i.span()));
            r.fail(&format!("{name}.{}", key.name), line, missing(key));
        }
    }

    let mut parts = IndexMap::new();
    if let Some(item) = root.get("part") {
        match item.as_table_like() {
            Some(all) => {
                for (name, item) in all.iter() {
                    if let Some(p) = part(&mut r, name, item) {
                        parts.insert(name.to_owned(), p);
                    }
                }
            }
            None => r.fail(
                "part",
                None,
                Error::new(Kind::Format, "parts are tables").next("write [part.pump] and its kind"),
            ),
        }
    }
    let legs = legs(&mut r, root);
    if r.errors.is_empty() {
        r.errors.extend(layout::check(&parts, &legs));
    }
    if let Some(e) = Error::all(std::mem::take(&mut r.errors)) {
        return Err(e);
    }
    let pieces: Vec<&str> = std::iter::once(text).chain(r.files.iter().map(String::as_str)).collect();
    for (name, part) in parts.iter_mut().filter(|(_, p): &(&String, &mut Part)| p.kind == "pump") {
        let line = part.line;
        part.relearn(name).map_err(|e| match line {
            Some(l) => e.at_line(l),
            None => e,
        })?;
    }
    Ok(Build { sections, parts, legs, slips: r.slips, file: None, input: digest(&pieces) })
}

/// One value from the command line or a notebook.
pub(super) fn one(path: &str, key: &'static Key, text: &str, ambient: f64) -> Result<(Value, Vec<Slip>)> {
    // A bare text is a value with a unit; rows and numbers are TOML as they stand.
    let toml = match key.takes {
        crate::spec::Takes::Rows(_) | crate::spec::Takes::Flag => format!("v = {text}"),
        _ => format!("v = {}", toml_edit::value(text)),
    };
    let doc = Document::parse(toml.as_str()).map_err(|e| {
        Error::new(Kind::Format, format!("\"{text}\" cannot be read: {}", e.message())).at_key(path)
    })?;
    let mut r = Reader::new(&toml, ambient, None);
    let value = r.read(path, key, doc.as_table().get("v").expect("just written"), &Common::default());
    match value {
        Some(value) => Ok((value, r.slips)),
        None => {
            let e = Error::all(r.errors).expect("no value, so an error");
            Err(match e.next_action() {
                Some(n) => Error::new(e.kind(), e.what()).next(n).at_key(path),
                None => Error::new(e.kind(), e.what()).at_key(path),
            })
        }
    }
}

fn missing(key: &Key) -> Error {
    Error::new(Kind::Value, format!("this value is missing ({})", key.doc))
        .next(format!("write {} = \"{}\"", key.name, key.example))
}

fn common(r: &mut Reader<'_>, path: &str, t: &dyn TableLike) -> Common {
    let mut c = Common::default();
    if let Some(item) = t.get("grade") {
        match item.as_str().and_then(Grade::read) {
            Some(g) => c.grade = Some(g),
            None => {
                let line = r.line(item.span());
                r.fail(
                    &format!("{path}.grade"),
                    line,
                    Error::new(Kind::Unknown, format!("found {}", item.to_string().trim()))
                        .next(format!("the grades are: {}", Grade::WORDS.join(", "))),
                );
            }
        }
    }
    c.source = t.get("source").and_then(Item::as_str).map(str::to_owned);
    c
}

fn table(r: &mut Reader<'_>, path: &str, keys: &'static [Key], t: &dyn TableLike, values: &mut Values) {
    let common = common(r, path, t);
    for (name, item) in t.iter() {
        if let Some(key) = keys.iter().find(|k| k.name == name) {
            if let Some(v) = r.read(&format!("{path}.{name}"), key, item, &common) {
                values.put(key, v);
            }
        } else if !COMMON.contains(&name) && name != "kind" {
            let names: Vec<_> = keys.iter().map(|k| k.name).collect();
            let line = r.line(item.span());
            r.fail(
                &format!("{path}.{name}"),
                line,
                Error::new(Kind::Unknown, "there is no such key").next(format!(
                    "{}the keys are: {}",
                    did_you_mean(name, names.iter().copied()),
                    names.join(", ")
                )),
            );
        }
    }
}

fn part(r: &mut Reader<'_>, name: &str, item: &Item) -> Option<Part> {
    let line = r.line(item.span());
    let Some(t) = item.as_table_like() else {
        r.fail(
            name,
            line,
            Error::new(Kind::Format, "a part is a table")
                .next(format!("write [part.\"{name}\"] and its kind")),
        );
        return None;
    };
    if SECTIONS.iter().any(|(n, _)| *n == name)
        || layout::FIXED.contains(&name) && name != "tank"
        || name.contains('.')
    {
        r.fail(
            name,
            line,
            Error::new(
                Kind::Unknown,
                "a part may not have the name of a section or junction, nor a dot in it",
            )
            .next("choose another name"),
        );
        return None;
    }
    let kinds: Vec<_> = KINDS.iter().map(|(k, _)| *k).collect();
    let kind = t.get("kind").and_then(Item::as_str).unwrap_or_default();
    let Some(keys) = keys_of(kind) else {
        let at = t.get("kind").and_then(|i| r.line(i.span())).or(line);
        let what = if kind.is_empty() {
            "the kind of this part is missing".to_owned()
        } else {
            format!("there is no kind \"{kind}\"")
        };
        r.fail(
            &format!("{name}.kind"),
            at,
            Error::new(Kind::Unknown, what).next(format!(
                "{}the kinds are: {}",
                did_you_mean(kind, kinds.iter().copied()),
                kinds.join(", ")
            )),
        );
        return None;
    };
    let before = r.errors.len();
    let mut values = Values::defaults(keys);
    table(r, name, keys, t, &mut values);
    if r.errors.len() == before
        && let Some(key) = values.missing()
    {
        r.fail(&format!("{name}.{}", key.name), line, missing(key));
    }
    let kind = kinds.into_iter().find(|k| *k == kind)?;
    (r.errors.len() == before).then_some(Part { kind, values, line, law: None })
}

fn legs(r: &mut Reader<'_>, root: &toml_edit::Table) -> Vec<Leg> {
    let mut out: Vec<Leg> = Vec::new();
    let Some(all) = root.get("leg").and_then(Item::as_array_of_tables) else {
        r.fail(
            "leg",
            None,
            Error::new(Kind::Format, "there is no leg, so nothing is joined")
                .next("write [[leg]] with name, from, to and parts"),
        );
        return out;
    };
    for (i, t) in all.iter().enumerate() {
        let line = r.line(t.span());
        let name =
            t.get("name").and_then(Item::as_str).map_or_else(|| format!("leg {}", i + 1), str::to_owned);
        for (key, item) in t.iter() {
            if !["name", "from", "to", "parts", "note"].contains(&key) {
                let at = r.line(item.span());
                r.fail(
                    &format!("{name}.{key}"),
                    at,
                    Error::new(Kind::Unknown, "there is no such key of a leg")
                        .next("the keys are: name, from, to, parts, note"),
                );
            }
        }
        let mut end = |key: &str| match t.get(key).and_then(Item::as_str) {
            Some(s) => s.to_owned(),
            None => {
                r.fail(
                    &format!("{name}.{key}"),
                    line,
                    Error::new(Kind::Format, "this end of the leg is missing").next(format!(
                        "write {key} = \"tank\", \"rail\", \"manifold\" or a junction of your own"
                    )),
                );
                String::new()
            }
        };
        let (from, to) = (end("from"), end("to"));
        let parts: Option<Vec<String>> = t
            .get("parts")
            .and_then(Item::as_array)
            .and_then(|a| a.iter().map(|v| v.as_str().map(str::to_owned)).collect());
        let parts = parts.unwrap_or_else(|| {
            r.fail(
                &format!("{name}.parts"),
                line,
                Error::new(
                    Kind::Format,
                    "the list of the parts along this leg is missing, or holds something else than names",
                )
                .next("write parts = [\"strainer\", \"pump\", ...] in the order of the flow"),
            );
            Vec::new()
        });
        if out.iter().any(|l| l.name == name) {
            r.fail(
                &name,
                line,
                Error::new(Kind::Layout, "two legs have this name").next("give each leg a name of its own"),
            );
        }
        out.push(Leg { name, from, to, parts, line });
    }
    out
}
