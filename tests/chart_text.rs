//! Text in figures: nothing overlaps, nothing leaves the paper, axis titles carry units.
//! Widths come from two faces of their own tables, not from the library's.

use crate::chart_samples::{awkward, believable};
use railrise::chart::Figure;

/// Advance widths of U+0020..=U+007E in thousandths of an em (`hmtx`): Liberation Sans 1.07.4 regular.
const SANS: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278,
    500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469,
    556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500,
    278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];
/// Advance widths of U+0020..=U+007E in thousandths of an em (`hmtx`): Liberation Sans 1.07.4 bold.
const SANS_BOLD: [u16; 95] = [
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667, 611, 778, 722, 278,
    556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584,
    556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611, 611, 611, 389, 556,
    333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
];
/// Advance widths of U+0020..=U+007E in thousandths of an em (`hmtx`): DejaVu Sans 2.37 regular.
const WIDE: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636,
    636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295,
    295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838,
    500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521,
    392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];
/// Advance widths of U+0020..=U+007E in thousandths of an em (`hmtx`): DejaVu Sans 2.37 bold.
const WIDE_BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696, 696, 696,
    696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683, 683, 821, 837, 372,
    372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771, 724, 725, 457, 365, 457, 838,
    500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665, 343, 1042, 712, 687, 716, 716, 493, 595,
    478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];

/// The box a text takes in a face: left, top, right, bottom.
#[derive(Clone, Debug)]
struct Boxed {
    text: String,
    edges: [f64; 4],
}

fn width(text: &str, size: f64, table: &[u16; 95]) -> f64 {
    // A sign outside ASCII counts as a wide capital; both faces draw all signs used here narrower.
    let one = |sign: char| match sign as usize {
        code @ 0x20..=0x7E => f64::from(table[code - 0x20]),
        _ => 700.0,
    };
    text.chars().map(one).sum::<f64>() * size / 1000.0
}

fn boxes(figure: &Figure, regular: &[u16; 95], bold: &[u16; 95]) -> (Vec<Boxed>, f64, f64) {
    let svg = figure.svg();
    let document = roxmltree::Document::parse(&svg).expect("well-formed");
    let root = document.root_element();
    let number = |node: roxmltree::Node<'_, '_>, name: &str| -> f64 {
        node.attribute(name).unwrap_or_else(|| panic!("{name} missing")).parse().expect("a number")
    };
    let mut found = Vec::new();
    for node in root.descendants().filter(|n| n.has_tag_name("text")) {
        // Boxes below hold only for texts that no transformation moves.
        for above in node.ancestors().filter(|a| a.is_element() && *a != root) {
            assert!(above.attribute("transform").is_none());
            assert!(!above.has_tag_name("svg"));
        }
        let text = node.text().unwrap_or("").to_string();
        let (x, y, size) = (number(node, "x"), number(node, "y"), number(node, "font-size"));
        assert!(size >= 12.0, "too small for a projector: {text}");
        let table = if node.attribute("font-weight") == Some("bold") { bold } else { regular };
        let w = width(&text, size, table);
        let left = match node.attribute("text-anchor") {
            Some("middle") => x - w / 2.0,
            Some("end") => x - w,
            _ => x,
        };
        // Capital height 0.73 em, descenders 0.21 em: both faces.
        found.push(Boxed { text, edges: [left, y - 0.73 * size, left + w, y + 0.21 * size] });
    }
    (found, number(root, "width"), number(root, "height"))
}

fn faults(name: &str, figure: &Figure) -> Vec<String> {
    let mut faults = Vec::new();
    for (regular, bold) in [(&SANS, &SANS_BOLD), (&WIDE, &WIDE_BOLD)] {
        let (boxes, width, height) = boxes(figure, regular, bold);
        assert!(!boxes.is_empty(), "{name}: no text at all");
        for (number, one) in boxes.iter().enumerate() {
            let [l, t, r, b] = one.edges;
            if l < 0.0 || t < 0.0 || r > width || b > height {
                faults.push(format!("{name}: \u{201c}{}\u{201d} leaves the paper {:?}", one.text, one.edges));
            }
            for other in &boxes[number + 1..] {
                let [ol, ot, or, ob] = other.edges;
                if l < or && ol < r && t < ob && ot < b {
                    faults.push(format!(
                        "{name}: \u{201c}{}\u{201d} {:?} over \u{201c}{}\u{201d} {:?}",
                        one.text, one.edges, other.text, other.edges
                    ));
                }
            }
        }
    }
    faults
}

#[test]
fn no_text_overlaps_or_leaves_the_paper() {
    let mut all = Vec::new();
    for (name, figure) in believable() {
        all.extend(faults(name, &figure));
    }
    for (name, figure) in awkward() {
        all.extend(faults(name, figure));
    }
    assert!(all.is_empty(), "{} faults:\n{}", all.len(), all[..all.len().min(40)].join("\n"));
}

#[test]
fn pictures_are_labelled_for_screen_readers() {
    for (name, figure) in believable() {
        let svg = figure.svg();
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        let root = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"), "{name}");
        let named = root.attribute("aria-labelledby").expect("aria-labelledby");
        let ids: Vec<&str> = named.split(' ').collect();
        for (tag, id) in ["title", "desc"].iter().zip(ids) {
            let node = root.children().find(|n| n.has_tag_name(*tag)).expect("title and desc");
            assert_eq!(node.attribute("id"), Some(id));
            assert!(node.text().is_some_and(|t| t.len() > 10), "{name}: {tag}");
        }
        assert!(figure.html().contains("<details><summary>the numbers of this figure</summary><table>"));
    }
}

/// For a person to look at: `RAILRISE_PICTURES=folder cargo test pictures_for_the_eye`.
#[test]
fn pictures_for_the_eye() {
    let Some(folder) = std::env::var_os("RAILRISE_PICTURES") else {
        return;
    };
    let folder = std::path::PathBuf::from(folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    for (name, figure) in believable() {
        std::fs::write(folder.join(format!("{name}.svg")), figure.svg()).expect("written");
        std::fs::write(folder.join(format!("{name}.html")), figure.html()).expect("written");
    }
    std::fs::write(folder.join("explorable.html"), crate::chart_samples::explorable().html())
        .expect("written");
    for (number, (name, figure)) in awkward().iter().enumerate() {
        std::fs::write(
            folder.join(format!("awkward-{number:03}.svg")),
            format!("<!-- {} -->{}", name.replace("--", ""), figure.svg()),
        )
        .expect("written");
    }
}
