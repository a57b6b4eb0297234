//! What a build becomes: volumes, rows and walls by closed forms.

use super::along::beside;
use super::*;
use crate::quantity::{bar, rpm, s};

const CAR: &str = include_str!("../../../datasets/hill-climb-car/before-0.7-bar.toml");

/// What the nodes hold for each pascal that answer to a name, m³/Pa.
fn compliance(net: &Net, wanted: impl Fn(&str) -> bool) -> f64 {
    net.nodes.iter().filter(|n| wanted(&n.name)).map(|n| n.capacitance).sum()
}

// Closed form: all of the line behind the valve, `V (1/B + 1/B_w)`, with the rail and its damper.
#[test]
fn a_check_valve_between_two_hoses_parts_their_fuel() {
    let second = "[part.\"second hose\"]\nkind = \"line\"\nlength = \"2 m\"\nbore = \"8 mm\"\n\n[part.\"fine filter\"]";
    let orders = [
        r#""main pump", "feed hose", "check valve", "second hose", "fine filter""#,
        r#""main pump", "second hose", "feed hose", "check valve", "fine filter""#,
    ];
    for (order, behind) in orders.into_iter().zip([true, false]) {
        let text = CAR
            .replace("[part.\"fine filter\"]", second)
            .replace(r#""main pump", "check valve", "feed hose", "fine filter""#, order);
        let build = Build::from_toml(&text).expect("reads");
        let o = Options::default();
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let net = made(&build, &held, &o).expect("valid").net;
        let p = AbsolutePressure::from_pascals(net.ambient + 3e5);
        let fuel = build.fuel().expect("a fuel");
        let bulk = fuel.at(kelvin(308.15), p).expect("in range").bulk_isentropic;
        let hose = &build.part("second hose").expect("there").values;
        let volume = PI / 4.0 * 8e-3f64.powi(2) * 2.0;
        let line = volume * (1.0 / bulk + 1.0 / hose.si("wall_bulk"));
        let expected = o.rail_volume / bulk + o.damper + if behind { line } else { 0.0 };
        let after = |name: &str| name == "rail" || (behind && name.starts_with("second hose"));
        let found = compliance(&net, after);
        assert!((found / expected - 1.0).abs() < 1e-9, "{found:e} {expected:e}");
    }
}

#[test]
fn what_a_build_says_of_its_volumes_and_walls_holds_before_the_options() {
    let keys = [
        ("injectors.rail_volume", "90 cm³"),
        ("injectors.damper", "0.5 cm³"),
        ("injectors.closing_delay", "0.4 ms"),
        ("regulator.return_chamber", "8 cm³"),
        ("return hose.wall_loss", "0.1"),
    ];
    let plain = Build::from_toml(CAR).expect("reads");
    let told = keys.iter().fold(plain.clone(), |b, (key, v)| b.with(key, v).expect("a known key"));
    let o = Options::default();
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
    let net = |b: &Build| made(b, &held, &o).expect("valid").net;
    let (plain, told) = (net(&plain), net(&told));
    let node = |net: &Net, name: &str| net.nodes.iter().find(|n| n.name == name).expect("there").clone();
    let grown = |name: &str| node(&told, name).volume - node(&plain, name).volume;
    assert!((grown("rail") - 3e-5).abs() < 1e-15 && (grown("regulator return") - 3e-6).abs() < 1e-15);
    // A chamber that grew by 3 cm³ tells the fuel's bulk modulus.
    let firm = |net: &Net| node(net, "regulator return").capacitance;
    let bulk = 3e-6 / (firm(&told) - firm(&plain));
    let softer = node(&told, "rail").capacitance - node(&plain, "rail").capacitance;
    assert!((softer - (5e-12 - o.damper) - 3e-5 / bulk).abs() < 1e-16, "{softer:e}");
    let wall = |net: &Net| node(net, "return hose 1 end").wall;
    assert!((wall(&told) / wall(&plain) - 0.1 / o.wall_loss).abs() < 1e-12);
    assert_eq!((plain.injectors[0].closing_delay, told.injectors[0].closing_delay), (o.closing_delay, 4e-4));
}

#[test]
fn a_rail_of_stated_length_has_a_lump_for_each_injector() {
    let build = Build::from_toml(CAR).expect("reads").with("injectors.rail_length", "300 mm");
    let build = build.expect("a known key");
    let o = Options::default();
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
    let made = made(&build, &held, &o).expect("valid");
    let row = &made.rows[0];
    let rail: Vec<_> = row.iter().map(|n| &made.net.nodes[*n]).collect();
    assert_eq!(rail.len(), 4);
    let rigid: f64 = row[1..].iter().map(|n| made.net.nodes[*n].volume).sum();
    assert!((rigid - 0.75 * o.rail_volume).abs() < 1e-15, "{rigid:e}");
    let at: Vec<usize> = made.net.injectors.iter().map(|i| i.node).collect();
    assert_eq!(&at, row);
    let passages = made.net.branches.iter().filter(|b| b.name.ends_with("passage"));
    let (length, bore) = passages.fold((0.0, 0.0), |(l, _), b| (l + b.length, b.bore));
    assert!(
        (length - 0.3).abs() < 1e-12 && (PI / 4.0 * bore * bore * 0.3 / o.rail_volume - 1.0).abs() < 1e-12
    );
    assert_eq!(made.net.regulators[0].from, Place::Node(row[3]));
}

#[test]
fn each_set_of_injectors_has_its_own_row_and_a_junction_holds_but_one() {
    const TWIN: &str = include_str!("../../../datasets/layouts/twin-rails-with-crossover.toml");
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
    let in_lumps = |text: &str| {
        let build = Build::from_toml(text).expect("reads").with("first injectors.rail_length", "250 mm");
        build.expect("known").with("second injectors.rail_length", "250 mm").expect("known")
    };
    let made_of = |text: &str| made(&in_lumps(text), &held, &Options::default());
    let twin = made_of(TWIN).expect("valid");
    let at: Vec<usize> = twin.net.injectors.iter().map(|i| i.node).collect();
    assert_eq!((twin.rows.len(), twin.rows.concat()), (2, at));
    // The crossover leaves the first rail, the return the second, each from its last lump.
    let crossover = twin.net.branches.iter().find(|b| b.name.starts_with("crossover")).expect("there");
    assert_eq!(crossover.from, Place::Node(twin.rows[0][1]));
    assert_eq!(twin.net.regulators[0].from, Place::Node(twin.rows[1][1]));
    let one =
        TWIN.replace("from = \"second rail\"\nto = \"manifold\"", "from = \"first rail\"\nto = \"manifold\"");
    assert_ne!(one, TWIN);
    let Err(e) = made_of(&one) else { panic!("a second row on one rail") };
    let e = e.to_string();
    assert!(e.contains("second injectors.rail_length") && e.contains("first rail"), "{e}");
}

// Closed form: a rail, and a junction before it.
#[test]
fn parts_before_the_injectors_move_the_rail_and_do_not_double_it() {
    let restricted =
        CAR.replace("parts = [\"injectors\"]", "parts = [\"restrictor\", \"injectors\"]").replace(
            "[part.\"fine filter\"]",
            "[part.\"restrictor\"]\nkind = \"orifice\"\nbore = \"4 mm\"\n\n[part.\"fine filter\"]",
        );
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
    let o = Options::default();
    let net = |text: &str| made(&Build::from_toml(text).expect("reads"), &held, &o).expect("valid").net;
    let (plain, parted) = (net(CAR), net(&restricted));
    let more = parted.volume() - plain.volume();
    assert!((more - o.junction_volume).abs() < 1e-15, "{more:e}");
    let softer = compliance(&parted, |_| true) - compliance(&plain, |_| true);
    let rail = parted.nodes.iter().find(|n| n.name == "injection end").expect("there");
    assert!((rail.volume - o.rail_volume).abs() < 1e-15, "{:e}", rail.volume);
    let firm = rail.volume / (rail.capacitance - o.damper);
    assert!((softer - o.junction_volume / firm).abs() < 1e-18, "{softer:e}");
}

#[test]
fn a_line_with_waves_holds_as_much_as_one_in_lumps() {
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
    let volume = |model: &str| {
        let build = Build::from_toml(CAR).expect("reads").with("feed hose.model", model).expect("known");
        made(&build, &held, &Options::default()).expect("valid").net.volume()
    };
    assert!((volume("waves") / volume("lumps") - 1.0).abs() < 1e-12);
}

#[test]
fn a_port_off_the_manifold_changes_its_law_where_boost_begins() {
    let boost = Track::new(&[(0.0, -4e4), (1.0, 4e4), (2.0, 4e4)]).expect("in order");
    let charge = beside(&boost, |p, boosted| if boosted { p } else { 0.0 }).expect("valid");
    let intake = beside(&boost, |_, boosted| if boosted { -2e3 } else { 0.0 }).expect("valid");
    for (t, c, i) in [(0.2, 0.0, 0.0), (0.49, 0.0, 0.0), (0.75, 2e4, -2e3), (1.5, 4e4, -2e3)] {
        assert!((charge.at(t) - c).abs() < 1e-9 && (intake.at(t) - i).abs() < 1e-9, "{t}");
    }
}
