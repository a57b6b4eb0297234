//! The floor table of DEVELOPERS.md is true: no room uses a higher floor.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// The rooms with their floors, and the neighbours that may be used beside the rule.
struct Floors {
    floor: BTreeMap<String, u32>,
    neighbours: BTreeSet<(String, String)>,
}

/// Words in back quotes.
fn quoted(cell: &str) -> Vec<String> {
    cell.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

impl Floors {
    /// Reads the two tables: the first cell of the rule's rows is a number, that of the neighbours a room.
    fn read(text: &str) -> Self {
        let (mut floor, mut neighbours) = (BTreeMap::new(), BTreeSet::new());
        let section = text.split("## Floors").nth(1).expect("a section Floors");
        let section = section.split("\n## ").next().expect("its text");
        for line in section.lines().filter(|l| l.starts_with('|')) {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            if let Ok(n) = cells[0].parse::<u32>() {
                for room in quoted(cells[1]) {
                    assert!(floor.insert(room.clone(), n).is_none(), "the room {room} stands on two floors");
                }
            } else if let [room] = quoted(cells[0]).as_slice() {
                neighbours.extend(quoted(cells[1]).into_iter().map(|n| (room.clone(), n)));
            }
        }
        Self { floor, neighbours }
    }

    /// What is wrong with these files: path under `src/`, text.
    fn faults(&self, files: &[(String, String)]) -> Vec<String> {
        let mut faults = Vec::new();
        for (path, text) in files {
            let room = path.split('/').next().expect("a path").trim_end_matches(".rs");
            if room == "lib" {
                continue;
            }
            let Some(here) = self.floor.get(room) else {
                faults.push(format!("{path}: the room {room} stands in no row"));
                continue;
            };
            for (line, used) in rooms_used(text) {
                match self.floor.get(&used) {
                    _ if used == room => {}
                    None => faults.push(format!("{path}:{line}: {used} stands in no row")),
                    Some(there) if there < here => {}
                    Some(_) if self.neighbours.contains(&(room.to_owned(), used.clone())) => {}
                    Some(there) => faults.push(format!(
                        "{path}:{line}: {room} (floor {here}) uses {used} (floor {there}), which is not lower"
                    )),
                }
            }
        }
        faults
    }
}

/// The rooms that a file's code names after `crate::` or `railrise::`, with the line; comments do not count.
fn rooms_used(text: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let code: Vec<&str> = text.lines().map(|l| l.split("//").next().expect("a first piece")).collect();
    let joined = code.join("\n");
    for root in ["crate::", "railrise::"] {
        let mut from = 0;
        while let Some(at) = joined[from..].find(root).map(|i| i + from) {
            from = at + root.len();
            let whole_word = !joined[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '$');
            if !whole_word {
                continue;
            }
            let line = joined[..at].matches('\n').count() + 1;
            let rest = &joined[from..];
            let names = match rest.strip_prefix('{') {
                Some(group) => first_names(group),
                None => vec![word(rest)],
            };
            found.extend(
                names.into_iter().filter(|n| n.starts_with(|c: char| c.is_lowercase())).map(|n| (line, n)),
            );
        }
    }
    found
}

fn word(s: &str) -> String {
    s.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

/// The first name of each member of a `{...}` group.
fn first_names(group: &str) -> Vec<String> {
    let (mut depth, mut names, mut member) = (0, Vec::new(), String::new());
    for c in group.chars() {
        match c {
            '}' if depth == 0 => break,
            ',' if depth == 0 => names.push(word(std::mem::take(&mut member).trim())),
            '{' => depth += 1,
            '}' => depth -= 1,
            c => member.push(c),
        }
    }
    names.push(word(member.trim()));
    names
}

fn files_under(dir: &Path, at: &str, out: &mut Vec<(String, String)>) {
    for entry in std::fs::read_dir(dir).expect("a folder") {
        let entry = entry.expect("an entry");
        let name = entry.file_name().into_string().expect("a plain name");
        let path = if at.is_empty() { name.clone() } else { format!("{at}/{name}") };
        if entry.path().is_dir() {
            files_under(&entry.path(), &path, out);
        } else if name.ends_with(".rs") {
            out.push((path, std::fs::read_to_string(entry.path()).expect("a text")));
        }
    }
}

#[test]
fn no_room_uses_a_higher_floor() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let floors = Floors::read(&std::fs::read_to_string(root.join("DEVELOPERS.md")).expect("DEVELOPERS.md"));
    let mut files = Vec::new();
    files_under(&root.join("src"), "", &mut files);
    assert!(files.len() > 100, "only {} files were found", files.len());
    let faults = floors.faults(&files);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    for room in floors.floor.keys() {
        let planned = ["diagnose", "decision", "log"].contains(&room.as_str());
        let there = files.iter().any(|(p, _)| p.split('/').next().unwrap().trim_end_matches(".rs") == room);
        assert!(there || planned, "the table names a room {room} that does not exist");
    }
}

const TABLE: &str = "# House
## Floors
| floor | rooms | what |
|---|---|---|
| 0 | `sand`, `stone` | |
| 1 | `brick` | |
| 2 | `wall` | |

| room | may also use |
|---|---|
| `sand` | `stone` |
## More
| 9 | `attic` | |
";

fn faults(files: &[(&str, &str)]) -> Vec<String> {
    let owned: Vec<_> = files.iter().map(|(p, t)| ((*p).to_owned(), (*t).to_owned())).collect();
    Floors::read(TABLE).faults(&owned)
}

#[test]
fn the_check_sees_an_import_that_runs_upward() {
    let wrong = faults(&[("brick/mod.rs", "// crate::wall is only named here\nuse crate::wall::Height;\n")]);
    assert_eq!(wrong, ["brick/mod.rs:2: brick (floor 1) uses wall (floor 2), which is not lower"]);
    let in_a_group = faults(&[("brick.rs", "use crate::{sand::Grain, wall::{self, Height}};")]);
    assert_eq!(in_a_group.len(), 1, "{in_a_group:?}");
    let in_code = faults(&[("sand.rs", "fn f() { let x = crate::brick::new(); }")]);
    assert_eq!(in_code.len(), 1, "{in_code:?}");
    let same_floor = faults(&[("stone.rs", "use crate::sand::Grain;")]);
    assert_eq!(same_floor, ["stone.rs:1: stone (floor 0) uses sand (floor 0), which is not lower"]);
    assert_eq!(faults(&[("attic/a.rs", "")]), ["attic/a.rs: the room attic stands in no row"]);
}

#[test]
fn the_check_lets_lower_floors_own_rooms_and_named_neighbours_pass() {
    let right = faults(&[
        (
            "wall/mod.rs",
            "use crate::brick::Brick;\nuse crate::{sand, stone::Stone};\nuse crate::wall::inner;",
        ),
        ("sand.rs", "use crate::stone::Stone; //! crate::wall"),
        ("lib.rs", "pub use crate::wall::Wall;"),
        ("brick.rs", "use other_crate::wall::X; macro_rules! m { () => { $crate::wall::y } }"),
    ]);
    assert!(right.is_empty(), "{right:?}");
}
