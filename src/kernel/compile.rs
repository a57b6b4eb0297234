//! Compiling a cell that needs nothing but our library.
//!
//! Two ways lead to the same shared object. By the whole way ([`Cell::whole`]) the compiler does everything, its linker
//! included. By the quick one ([`super::ready`]) it makes objects, which are linked to a small base that stands for all a
//! cell may need, so that no linker reads tables of many thousand symbols; the cell refers to the library's store of
//! variables instead of compiling one of its own; and the compiler was started before the cell was known.

use super::home::newest;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What the compiler is to make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Product {
    /// Nothing: only errors are wanted.
    Errors,
    /// Objects, to be linked by us.
    Objects,
    /// The shared object.
    Library,
}

/// A cell's crate and the library it sees.
#[derive(Clone, Debug)]
pub struct Cell {
    folder: PathBuf,
    library: Value,
}

impl Cell {
    /// The crate in a kernel's working folder, if its library is known.
    pub fn of(slot: &Path) -> Option<Cell> {
        let library = serde_json::from_str(&std::fs::read_to_string(slot.join("library.json")).ok()?).ok()?;
        Some(Cell { folder: slot.join("crate"), library })
    }

    /// An entry of the library's description.
    pub fn text(&self, key: &str) -> &str {
        self.library[key].as_str().unwrap_or_default()
    }

    /// Where the evaluator expects what was built.
    pub fn output(&self) -> PathBuf {
        self.folder.join("target").join(self.text("host")).join("debug/deps")
    }

    /// The shared object.
    pub fn object(&self) -> PathBuf {
        self.output().join(format!("{}ctx{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX))
    }

    /// The optimisation level that the manifest asks for.
    pub fn level(&self) -> String {
        let manifest = std::fs::read_to_string(self.folder.join("Cargo.toml")).unwrap_or_default();
        let level = manifest.lines().find_map(|l| l.strip_prefix("opt-level = ")).unwrap_or("1");
        level.trim_matches('"').to_owned()
    }

    /// The text of the cell as the evaluator wrote it.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn source(&self) -> std::io::Result<String> {
        std::fs::read_to_string(self.folder.join("src/lib.rs"))
    }

    /// What a real `cargo` made of the cell: it gives shared objects names that tell their features apart.
    pub fn newest(&self) -> Option<PathBuf> {
        newest(&self.output(), &format!("{}ctx", std::env::consts::DLL_PREFIX), std::env::consts::DLL_SUFFIX)
    }

    /// The compiler's call, for `src/lib.rs` below `folder`.
    pub fn compiler(&self, folder: &Path, output: &Path, product: Product, level: &str) -> Command {
        let mut rustc = Command::new(self.text("rustc"));
        rustc
            .args(["--crate-name", "ctx", "--edition=2024", "src/lib.rs", "--crate-type", "cdylib"])
            .args(["--verbose", "--error-format=json", "--json=diagnostic-rendered-ansi,future-incompat"])
            .arg(match product {
                Product::Errors => "--emit=metadata",
                Product::Objects => "--emit=obj",
                Product::Library => "--emit=link",
            })
            .args(["-Cprefer-dynamic", "-Cstrip=debuginfo", "-Ccodegen-units=16", "-Cembed-bitcode=no"])
            // Joining the units again costs more than it gains: what a cell calls lies in the library.
            .args(["-Crpath", "-Clto=off", "-Cdebug-assertions=on", "-Coverflow-checks=on"])
            .arg(format!("-Copt-level={level}"))
            // Relative, so that a compiler left waiting when its folder has gone makes no other.
            .arg("-Cincremental=target/incremental")
            .arg("--out-dir")
            .arg(output)
            .arg(format!("-Ldependency={}", self.text("deps")))
            .arg(format!("--extern=railrise={}", self.text("object")))
            .current_dir(folder)
            .env_remove("RUSTFLAGS");
        rustc
    }

    /// The call by which the compiler does everything, or only looks for errors.
    ///
    /// # Errors
    /// When there is no place for the output.
    pub fn whole(&self, product: Product) -> std::io::Result<Command> {
        std::fs::create_dir_all(self.output())?;
        Ok(self.compiler(&self.folder, &self.output(), product, &self.level()))
    }
}

/// How the evaluator begins the store of variables that it writes into a cell.
const STORE: &str = "mod evcxr_internal_runtime {\n";
/// The SHA-256 of all of it. Of another text nothing is known, so it stays.
const KNOWN_STORE: &str = "6aec0f4358cddd3961f5bd78c9f4f5fbd93761cd0efd856fd903ca5f896d7d64";

/// The module of the library for cells that holds its store.
const SHARED_STORE: &str = "cell_store";

/// The cell's text with the library's store of variables in the place of its own, each line where it was.
pub fn with_shared_store(source: &str) -> Option<String> {
    let from = source.find(STORE)?;
    let to = from + source[from..].find("\n}\n}\n")? + "\n}\n}\n".len();
    let store = &source[from..to];
    let hash: String = Sha256::digest(store.as_bytes()).iter().map(|b| format!("{b:02x}")).collect();
    (hash == KNOWN_STORE).then(|| {
        let lines = "\n".repeat(store.matches('\n').count());
        let (before, after) = (&source[..from], &source[to..]);
        format!("{before}use railrise::{SHARED_STORE} as evcxr_internal_runtime;{lines}{after}")
    })
}

/// Whether the evaluator wrote a store into the cell.
pub fn has_store(source: &str) -> bool {
    source.contains(STORE)
}

/// Whether the cell may name libraries that only the compiler knows how to link: `link(…)` within an attribute.
pub fn names_libraries(source: &str) -> bool {
    source.match_indices("link").any(|(at, word)| {
        let (before, after) = (&source[..at], &source[at + word.len()..]);
        let alone = !before.ends_with(|c: char| c.is_alphanumeric() || c == '_');
        let opened = before.rfind("#[").max(before.rfind("#!["));
        let within = opened.is_some_and(|open| !before[open..].contains(']'));
        alone && within && after.trim_start().starts_with('(')
    })
}

#[cfg(test)]
mod tests {
    use super::{names_libraries, with_shared_store};

    #[test]
    fn a_store_of_another_text_stays() {
        assert_eq!(with_shared_store("mod evcxr_internal_runtime {\npub struct New;\n}\n}\n"), None);
        assert_eq!(with_shared_store("let x = 1;"), None);
    }

    #[test]
    fn a_cell_that_names_a_library_is_known() {
        for (cell, names) in [
            ("#[link(name = \"m\")] unsafe extern \"C\" {}", true),
            ("#[cfg_attr(unix, link (name = \"m\"))]", true),
            ("let blink = f(2); // a link (#[derive(Clone)] or none)", false),
            ("#[must_use] fn link() {} link()", false),
            ("unlink(2); my_link(3)", false),
        ] {
            assert_eq!(names_libraries(cell), names, "{cell}");
        }
    }
}
