//! The Rust toolchain that compiles the cells, reached without its launcher.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Compiler, build tool and their folder.
#[derive(Clone, Debug)]
pub struct Toolchain {
    /// Folder of the toolchain.
    pub sysroot: PathBuf,
    /// The compiler itself.
    pub rustc: PathBuf,
    /// The build tool itself.
    pub cargo: PathBuf,
    /// The compiler's version and commit, as it reports them.
    pub version: String,
    /// The machine it compiles for.
    pub host: String,
}

impl Toolchain {
    /// Asks the `rustc` on the path where it lives.
    ///
    /// # Errors
    /// When there is no usable compiler or no `cargo`, with what to install.
    pub fn find() -> Result<Toolchain, String> {
        let rustc = std::env::var_os("RUSTC").map_or_else(|| PathBuf::from("rustc"), PathBuf::from);
        let sysroot = PathBuf::from(ask(&rustc, "--print=sysroot")?.trim());
        let inside = |tool: &str| {
            let path = sysroot.join("bin").join(format!("{tool}{}", std::env::consts::EXE_SUFFIX));
            path.is_file().then_some(path)
        };
        let rustc = inside("rustc").unwrap_or(rustc);
        let cargo = inside("cargo").or_else(|| on_path("cargo")).ok_or_else(|| {
            format!(
                "`cargo` was not found, neither in {} nor on the path; install Rust with its cargo",
                sysroot.display()
            )
        })?;
        let version = ask(&rustc, "-vV")?;
        let host = version.lines().find_map(|l| l.strip_prefix("host: ")).unwrap_or_default().to_owned();
        Ok(Toolchain { sysroot, rustc, cargo, version, host })
    }

    /// Where the toolchain keeps the library sources when that component is installed.
    pub fn own_sources(&self) -> PathBuf {
        self.sysroot.join("lib/rustlib/src/rust/library")
    }

    /// Where the toolchain keeps the compiled standard library.
    pub fn std_libraries(&self) -> PathBuf {
        self.sysroot.join("lib/rustlib").join(&self.host).join("lib")
    }
}

fn ask(rustc: &Path, question: &str) -> Result<String, String> {
    let advice = "the notebooks need a Rust toolchain (see README)";
    let out = Command::new(rustc)
        .arg(question)
        // The launcher must not start a download on its own.
        .env("RUSTUP_AUTO_INSTALL", "0")
        .output()
        .map_err(|e| format!("`{} {question}` could not be run: {e}; {advice}", rustc.display()))?;
    if !out.status.success() {
        let said = String::from_utf8_lossy(&out.stderr);
        return Err(format!("`{} {question}` failed: {}; {advice}", rustc.display(), said.trim()));
    }
    Ok(String::from_utf8_lossy(&out.stdout).into_owned())
}

/// The first program of that name on the path.
pub fn on_path(program: &str) -> Option<PathBuf> {
    let name = format!("{program}{}", std::env::consts::EXE_SUFFIX);
    std::env::split_paths(&std::env::var_os("PATH")?).map(|p| p.join(&name)).find(|p| p.is_file())
}
