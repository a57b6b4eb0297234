//! The circuit as it is joined, with what is measured or computed at each part.

use super::figure::{Chart, Figure};
use super::sheet::{Pen, Rect, Sheet};
use super::stack::heading;
use super::style::*;
use super::symbol::{self, Symbol};
use super::table::Table;

/// What a place in the circuit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Vessel {
    /// Tank, open to air.
    Tank,
    /// Surge pot.
    Pot,
    /// Rail with this many injectors.
    Rail(usize),
    /// Tee or block.
    Junction,
}

/// A part in a leg.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    symbol: Symbol,
    name: String,
    values: Vec<String>,
    reference: Option<String>,
}

impl Component {
    /// A part with its symbol and name.
    pub fn new(symbol: Symbol, name: &str) -> Component {
        Component { symbol, name: name.to_string(), values: Vec::new(), reference: None }
    }

    /// A value to show at it, with its unit.
    pub fn value(mut self, text: &str) -> Component {
        self.values.push(text.to_string());
        self
    }

    /// What its reference port is joined to, drawn as a dashed line from its spring.
    pub fn reference(mut self, text: &str) -> Component {
        self.reference = Some(text.to_string());
        self
    }
}

#[derive(Clone, Debug)]
struct Place {
    name: String,
    vessel: Vessel,
    values: Vec<String>,
}

#[derive(Clone, Debug)]
struct Leg {
    from: usize,
    to: usize,
    parts: Vec<Component>,
}

/// A circuit from a plain description: places, and legs of parts between them.
///
/// Places stand from left to right in the order in which they are given. A leg to a later place runs
/// above or on the middle line, a leg back runs below; legs side by side get lanes of their own, so that
/// twin pumps, surge pots and returns need no coordinates. A leg that names an unknown place is listed in
/// a note and not drawn.
#[derive(Clone, Debug)]
pub struct Schematic {
    title: String,
    subtitle: String,
    places: Vec<Place>,
    legs: Vec<Leg>,
    notes: Vec<String>,
}

impl Schematic {
    /// An empty circuit.
    pub fn new(title: &str) -> Schematic {
        Schematic {
            title: title.to_string(),
            subtitle: String::new(),
            places: Vec::new(),
            legs: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Schematic {
        self.subtitle = text.to_string();
        self
    }

    /// A place, with values to show in it.
    pub fn place<'a>(
        mut self,
        name: &str,
        vessel: Vessel,
        values: impl IntoIterator<Item = &'a str>,
    ) -> Schematic {
        self.places.push(Place {
            name: name.to_string(),
            vessel,
            values: values.into_iter().map(str::to_string).collect(),
        });
        self
    }

    /// A leg between two places, parts in flow order.
    pub fn leg(mut self, from: &str, to: &str, parts: impl IntoIterator<Item = Component>) -> Schematic {
        let find = |name: &str| self.places.iter().position(|place| place.name == name);
        match (find(from), find(to)) {
            (Some(a), Some(b)) if a != b => self.legs.push(Leg {
                from: a,
                to: b,
                parts: parts.into_iter().collect(),
            }),
            _ => self.notes.push(format!(
                "The leg from \u{201c}{from}\u{201d} to \u{201c}{to}\u{201d} is not drawn: give both places, and two different ones, before it."
            )),
        }
        self
    }

    fn described(&self) -> String {
        let mut parts = vec![String::from("Circuit.")];
        for place in &self.places {
            let kind = match place.vessel {
                Vessel::Tank => String::from("tank"),
                Vessel::Pot => String::from("surge pot"),
                Vessel::Rail(n) => format!("rail with {n} injectors"),
                Vessel::Junction => String::from("junction"),
            };
            let values = place.values.join(", ");
            let values = if values.is_empty() { values } else { format!(", {values}") };
            parts.push(format!("{} ({kind}{values}).", place.name));
        }
        for leg in &self.legs {
            let list: Vec<String> = leg
                .parts
                .iter()
                .map(|part| {
                    let mut words = vec![part.name.clone()];
                    words.extend(part.values.iter().cloned());
                    words.extend(part.reference.iter().map(|r| format!("reference: {r}")));
                    words.join(", ")
                })
                .collect();
            parts.push(format!(
                "From {} to {}: {}.",
                self.places[leg.from].name,
                self.places[leg.to].name,
                if list.is_empty() { String::from("no part") } else { list.join("; then ") }
            ));
        }
        parts.join(" ")
    }
}

impl Chart for Schematic {
    fn figure(&self) -> Figure {
        let description = self.described();
        let mut table = Table::new(["from", "to", "part", "kind", "values"]);
        for place in &self.places {
            table.row([
                place.name.as_str().into(),
                "".into(),
                "".into(),
                "place".into(),
                place.values.join("; ").into(),
            ]);
        }
        for leg in &self.legs {
            for part in &leg.parts {
                let mut values = part.values.clone();
                values.extend(part.reference.iter().map(|r| format!("reference: {r}")));
                table.row([
                    self.places[leg.from].name.as_str().into(),
                    self.places[leg.to].name.as_str().into(),
                    part.name.as_str().into(),
                    part.symbol.name().into(),
                    values.join("; ").into(),
                ]);
            }
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(&description),
            description,
            table,
            notes: self.notes.clone(),
        }
    }
}

const SLOT: f64 = 98.0;
const BOX: f64 = 104.0;
const LINE: f64 = TICK * LEADING;

/// Text below a part: its name, then its values.
fn caption(part: &Component) -> Vec<(String, bool)> {
    let mut lines: Vec<(String, bool)> =
        wrap(&part.name, TICK, false, SLOT - 8.0, 3).into_iter().map(|line| (line, false)).collect();
    for value in &part.values {
        lines.extend(wrap(value, TICK, true, SLOT - 8.0, 2).into_iter().map(|line| (line, true)));
    }
    lines
}

fn reference(part: &Component) -> Vec<String> {
    part.reference.as_ref().map(|text| wrap(text, TICK, false, SLOT - 8.0, 2)).unwrap_or_default()
}

/// Lanes for legs that overlap: each gets the first lane where its span is free.
fn lanes(spans: &[(usize, usize)]) -> Vec<usize> {
    let mut used: Vec<Vec<(usize, usize)>> = Vec::new();
    spans
        .iter()
        .map(|span| {
            let free = |lane: &Vec<(usize, usize)>| lane.iter().all(|o| span.1 <= o.0 || o.1 <= span.0);
            let lane = used.iter().position(free).unwrap_or_else(|| {
                used.push(Vec::new());
                used.len() - 1
            });
            used[lane].push(*span);
            lane
        })
        .collect()
}

impl Schematic {
    fn picture(&self, description: &str) -> String {
        // Lanes: 0 is the middle line, 1.. above it; returns -1.. below.
        let span = |leg: &Leg| (leg.from.min(leg.to), leg.from.max(leg.to));
        let mut lane = vec![0i32; self.legs.len()];
        for forward in [true, false] {
            let chosen: Vec<usize> =
                (0..self.legs.len()).filter(|i| (self.legs[*i].from < self.legs[*i].to) == forward).collect();
            // A leg that passes a place cannot use the middle line: start it above.
            let passing = |i: &usize| forward && span(&self.legs[*i]).1 - span(&self.legs[*i]).0 > 1;
            let (over, plain): (Vec<usize>, Vec<usize>) = chosen.into_iter().partition(passing);
            let spans: Vec<(usize, usize)> =
                plain.iter().chain(&over).map(|i| span(&self.legs[*i])).collect();
            let mut found = lanes(&spans[..plain.len()]);
            let above = found.iter().copied().max().unwrap_or(0) + 1;
            found.extend(lanes(&spans[plain.len()..]).into_iter().map(|l| l + above));
            for (i, l) in plain.iter().chain(&over).zip(found) {
                lane[*i] = if forward { l as i32 } else { -(l as i32) - 1 };
            }
        }
        // Columns: gaps wide enough for every leg that crosses them.
        let count = self.places.len();
        let mut gaps = vec![48.0f64; count.saturating_sub(1)];
        for leg in &self.legs {
            let (a, b) = span(leg);
            let mut have: f64 = gaps[a..b].iter().sum();
            have += BOX * (b - a - 1) as f64;
            let need = SLOT * leg.parts.len() as f64 + 30.0;
            if need > have {
                let more = (need - have) / (b - a) as f64;
                gaps[a..b].iter_mut().for_each(|gap| *gap += more);
            }
        }
        let mut centres = Vec::new();
        let mut x = 14.0 + BOX / 2.0;
        for place in 0..count {
            centres.push(x);
            x += BOX + gaps.get(place).copied().unwrap_or(0.0);
        }
        let wide = centres.last().map_or(400.0, |last| last + BOX / 2.0 + 14.0);
        let mut sheet = Sheet::new(wide.max(460.0));
        let shift = (sheet.width - wide) / 2.0;
        centres.iter_mut().for_each(|x| *x += shift);
        let top = heading(&mut sheet, &self.title, &self.subtitle);

        // Heights of lanes, from the captions in them.
        let range = |f: fn(i32, i32) -> i32| lane.iter().copied().fold(0, f);
        let (lowest, highest) = (range(i32::min), range(i32::max));
        let texts: Vec<Vec<String>> = self
            .places
            .iter()
            .map(|place| {
                let mut lines = wrap(&place.name, TICK, true, BOX - 10.0, 3);
                for value in &place.values {
                    lines.extend(wrap(value, TICK, false, BOX - 10.0, 2));
                }
                lines
            })
            .collect();
        let tall = texts.iter().map(|t| t.len() as f64 * LINE + 18.0).fold(56.0, f64::max);
        let injectors = self.places.iter().any(|p| matches!(p.vessel, Vessel::Rail(n) if n > 0));
        let mut y = top + 8.0;
        let mut lines_at = std::collections::BTreeMap::new();
        for number in (lowest..=highest).rev() {
            let parts = || {
                self.legs
                    .iter()
                    .zip(&lane)
                    .filter(move |(_, l)| **l == number)
                    .flat_map(|(leg, _)| &leg.parts)
            };
            let above = parts().map(|p| 46.0 + reference(p).len() as f64 * LINE).fold(30.0, f64::max);
            let below = parts().map(|p| 30.0 + caption(p).len() as f64 * LINE).fold(30.0, f64::max);
            let (above, below) = if number == 0 {
                let foot = if injectors { 54.0 } else { 10.0 };
                (above.max(tall / 2.0 + 12.0), below.max(tall / 2.0 + foot))
            } else {
                (above, below)
            };
            lines_at.insert(number, y + above);
            y += above + below + 8.0;
        }
        let middle = lines_at.get(&0).copied().unwrap_or(y);

        // Pipes first, then what stands on them.
        let mut tapped = vec![[0usize; 2]; count];
        for (leg, lane) in self.legs.iter().zip(&lane) {
            let way = if leg.from < leg.to { 1.0 } else { -1.0 };
            let at = lines_at.get(lane).copied().unwrap_or(middle);
            let mut end = |place: usize, out: f64| {
                if *lane == 0 {
                    return (centres[place] + out * BOX / 2.0, middle);
                }
                // Risers of one place stand side by side, on the side that faces the leg.
                let upper = usize::from(*lane > 0);
                let taken = &mut tapped[place][upper];
                let x = centres[place] + out * (BOX / 2.0 - 12.0 - 13.0 * *taken as f64);
                *taken += 1;
                (x, if *lane > 0 { middle - tall / 2.0 } else { middle + tall / 2.0 })
            };
            let (from, to) = (end(leg.from, way), end(leg.to, -way));
            let pipe = format!("M{:.1} {:.1}V{at:.1}H{:.1}V{:.1}", from.0, from.1, to.0, to.1);
            let stroke =
                format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"2.2\" stroke-linejoin=\"round\"");
            sheet.path(&pipe, &stroke);
            let n = leg.parts.len() as f64;
            let run = to.0 - from.0;
            for (number, part) in leg.parts.iter().enumerate() {
                let x = from.0 + run * (number as f64 + 0.5) / n;
                symbol::draw(&mut sheet, part.symbol, (x, at), way);
                for (row, (line, value)) in caption(part).iter().enumerate() {
                    let pen = Pen::new(TICK).middle();
                    let pen = if *value { pen.bold().colour(COLOURS[0]) } else { pen };
                    sheet.text(x, at + 38.0 + row as f64 * LINE, pen, line);
                }
                let lines = reference(part);
                if !lines.is_empty() {
                    sheet.line((x, at - 34.0), (x, at - 46.0), INK, 1.3, &[4, 3]);
                }
                for (row, line) in lines.iter().enumerate() {
                    let y = at - 50.0 - (lines.len() - 1 - row) as f64 * LINE;
                    sheet.text(x, y, Pen::new(TICK).middle().colour(SOFT), line);
                }
            }
            // An arrow at the end of the run says which way the fuel goes.
            let (tip, back) = if *lane == 0 {
                (to.0, to.0 - way * 9.0)
            } else {
                let x = to.0 - way * 10.0;
                (x, x - way * 9.0)
            };
            sheet.path(
                &format!("M{tip:.1} {at:.1}L{back:.1} {:.1}L{back:.1} {:.1}Z", at - 4.5, at + 4.5),
                &format!("fill=\"{INK}\""),
            );
        }
        for ((place, text), x) in self.places.iter().zip(&texts).zip(&centres) {
            vessel(
                &mut sheet,
                place.vessel,
                Rect::new(x - BOX / 2.0, middle - tall / 2.0, x + BOX / 2.0, middle + tall / 2.0),
            );
            let first = middle - text.len() as f64 * LINE / 2.0 + TICK * 0.94;
            let names = wrap(&place.name, TICK, true, BOX - 10.0, 3).len();
            for (row, line) in text.iter().enumerate() {
                let pen = Pen::new(TICK).middle();
                let pen = if row < names { pen.bold() } else { pen.colour(TEXT_COLOURS[0]) };
                sheet.text(*x, first + row as f64 * LINE, pen, line);
            }
        }
        sheet.finish(y + 6.0, &self.title, description)
    }
}

fn vessel(sheet: &mut Sheet, vessel: Vessel, area: Rect) {
    let Rect { x0, y0, x1, y1 } = area;
    let stroke = format!("stroke=\"{INK}\" stroke-width=\"2.2\" stroke-linejoin=\"round\"");
    match vessel {
        Vessel::Tank => {
            sheet.rect(area, &format!("fill=\"{CALM_GROUND}\""));
            sheet.path(
                &format!("M{x0:.1} {y0:.1}V{y1:.1}H{x1:.1}V{y0:.1}"),
                &format!("fill=\"none\" {stroke}"),
            );
        }
        Vessel::Pot => sheet.rect(area, &format!("fill=\"{CALM_GROUND}\" rx=\"16\" {stroke}")),
        Vessel::Junction => {
            sheet.rect(area, &format!("fill=\"{PAPER}\" rx=\"3\" {stroke} stroke-dasharray=\"2 3\""))
        }
        Vessel::Rail(count) => {
            sheet.rect(area, &format!("fill=\"{PAPER}\" rx=\"5\" {stroke}"));
            // Injectors hang below, clear of the corners where returns leave.
            let shown = count.min(6);
            let room = area.width() - 50.0;
            for i in 0..shown {
                let x = x0 + 25.0 + room * (i as f64 + 0.5) / shown as f64;
                sheet.path(
                    &format!(
                        "M{x:.1} {y1:.1}v9M{:.1} {:.1}h8v14h-8ZM{x:.1} {:.1}v9",
                        x - 4.0,
                        y1 + 9.0,
                        y1 + 23.0
                    ),
                    &format!("fill=\"{PAPER}\" stroke=\"{INK}\" stroke-width=\"1.5\""),
                );
                sheet.path(
                    &format!("M{:.1} {:.1}l3.5 8h-7Z", x, y1 + 31.0),
                    &format!("fill=\"{}\" fill-opacity=\"0.5\"", COLOURS[0]),
                );
            }
        }
    }
}
