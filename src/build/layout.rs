//! Whether the legs join into a circuit that has an answer.

use super::{Leg, Part};
use crate::error::{Error, Kind, did_you_mean};
use indexmap::IndexMap;
use std::collections::BTreeSet;

/// Junctions whose pressure is given from outside.
pub const FIXED: [&str; 3] = ["tank", "manifold", "air"];

/// Whether a junction's pressure is given from outside.
pub(crate) fn is_fixed(name: &str, parts: &IndexMap<String, Part>) -> bool {
    FIXED.contains(&name) || parts.get(name).is_some_and(|p| matches!(p.kind, "surge pot" | "tank"))
}

pub(super) fn check(parts: &IndexMap<String, Part>, legs: &[Leg]) -> Vec<Error> {
    let mut errors = Vec::new();
    let mut fail = |leg: &Leg, what: String, next: &str| {
        let mut e = Error::new(Kind::Layout, what).next(next).at_key(&leg.name);
        if let Some(l) = leg.line {
            e = e.at_line(l);
        }
        errors.push(e);
    };
    let kind = |name: &String| parts.get(name).map(|p| p.kind);
    let mut used = BTreeSet::new();
    for leg in legs {
        if leg.parts.is_empty() {
            fail(
                leg,
                format!("the leg from {} to {} has no part, so nothing sets its flow", leg.from, leg.to),
                "name at least one part along it, such as a line",
            );
        }
        if leg.from == leg.to {
            fail(
                leg,
                format!("the leg begins and ends at {}", leg.from),
                "a leg joins two different junctions",
            );
        }
        for p in &leg.parts {
            match kind(p) {
                None => {
                    let names: Vec<&str> = parts.keys().map(String::as_str).collect();
                    let next = format!(
                        "{}the parts are: {}",
                        did_you_mean(p, names.iter().copied()),
                        names.join(", ")
                    );
                    fail(leg, format!("there is no part \"{p}\""), &next);
                }
                Some("surge pot" | "tank") => fail(
                    leg,
                    format!("\"{p}\" is a junction, not a part along a leg"),
                    "name it as from or to of a leg",
                ),
                Some(_) => {
                    if !used.insert(p.clone()) {
                        fail(
                            leg,
                            format!("the part \"{p}\" stands in two places"),
                            "give each place a part of its own",
                        );
                    }
                }
            }
        }
        let has = |k: &str| leg.parts.iter().any(|p| kind(p) == Some(k));
        if has("pump") && has("regulator") {
            fail(leg, "a pump and a regulator in one leg".to_owned(), "put a junction between them");
        }
        if leg.parts.iter().filter(|p| kind(p) == Some("regulator")).count() > 1 {
            fail(leg, "two regulators in one leg".to_owned(), "put a junction between them");
        }
        if has("injectors") && leg.to != "manifold" {
            fail(leg, format!("the injectors deliver to {}", leg.to), "injectors end at \"manifold\"");
        }
        if has("injectors") && leg.parts.last().and_then(&kind) != Some("injectors") {
            fail(leg, "a part follows the injectors".to_owned(), "injectors are the last part of their leg");
        }
        if has("injectors") && has("pump") {
            fail(
                leg,
                "a pump and the injectors in one leg".to_owned(),
                "put the rail between them as a junction",
            );
        }
        if leg.to == "manifold" && !has("injectors") {
            fail(
                leg,
                "a leg other than the injectors ends in the manifold".to_owned(),
                "only injectors pass fuel into the manifold",
            );
        }
        if leg.from == "manifold" {
            fail(
                leg,
                "a leg takes fuel from the manifold".to_owned(),
                "legs follow the flow of fuel: the manifold is an end",
            );
        }
    }
    let free: BTreeSet<&String> =
        legs.iter().flat_map(|l| [&l.from, &l.to]).filter(|n| !is_fixed(n, parts)).collect();
    for node in free {
        let at: Vec<&Leg> = legs.iter().filter(|l| l.from == *node || l.to == *node).collect();
        if at.len() < 2 {
            fail(
                at[0],
                format!("the junction \"{node}\" is an open end: only this leg meets it"),
                "join a second leg to it, or end at tank, manifold or air",
            );
        }
    }
    for (leg, other) in driven_backwards(parts, legs) {
        fail(
            leg,
            format!(
                "the pumps of \"{}\" and \"{}\" push against each other and this leg has no check valve: the stronger would drive the weaker backwards",
                leg.name, other.name
            ),
            "put a check valve into each pump's leg",
        );
    }
    // Every free junction must reach one of given pressure, or its pressure is anything.
    let mut reached: BTreeSet<&str> =
        legs.iter().flat_map(|l| [l.from.as_str(), l.to.as_str()]).filter(|n| is_fixed(n, parts)).collect();
    loop {
        let before = reached.len();
        for l in legs {
            if reached.contains(l.from.as_str()) || reached.contains(l.to.as_str()) {
                reached.insert(&l.from);
                reached.insert(&l.to);
            }
        }
        if reached.len() == before {
            break;
        }
    }
    for l in legs {
        if !reached.contains(l.from.as_str()) {
            fail(
                l,
                format!("no path leads from \"{}\" to the tank, the manifold or the air", l.from),
                "join the loop to the rest of the circuit",
            );
        }
    }
    for (name, p) in parts {
        let junction = matches!(p.kind, "surge pot" | "tank");
        let unused = if junction {
            !legs.iter().any(|l| l.from == *name || l.to == *name)
        } else {
            !used.contains(name)
        };
        if unused {
            let mut e = Error::new(Kind::Layout, "this part stands in no leg")
                .at_key(name)
                .next("put it into a leg, or take it out of the file");
            if let Some(l) = p.line {
                e = e.at_line(l);
            }
            errors.push(e);
        }
    }
    errors
}

/// Pump legs without a check valve that another pump's fuel can reach from behind, with that other leg.
fn driven_backwards<'l>(parts: &IndexMap<String, Part>, legs: &'l [Leg]) -> Vec<(&'l Leg, &'l Leg)> {
    let has = |leg: &Leg, kinds: &[&str]| {
        leg.parts.iter().any(|p| parts.get(p).is_some_and(|p| kinds.contains(&p.kind)))
    };
    let mut found = Vec::new();
    for leg in legs.iter().filter(|l| has(l, &["pump"]) && !has(l, &["check valve"])) {
        // Junctions from which fuel can come to this pump's outlet without passing a valve the wrong way.
        let (mut seen, mut next) = (BTreeSet::new(), vec![leg.to.as_str()]);
        while let Some(node) = next.pop() {
            if is_fixed(node, parts) || !seen.insert(node) {
                continue;
            }
            for l in legs.iter().filter(|l| l.name != leg.name && !has(l, &["injectors"])) {
                if has(l, &["pump"]) {
                    if l.to == node {
                        found.push((leg, l));
                    }
                } else if l.to == node {
                    next.push(&l.from);
                } else if l.from == node && !has(l, &["check valve", "regulator", "relief valve"]) {
                    next.push(&l.to);
                }
            }
        }
    }
    found
}
