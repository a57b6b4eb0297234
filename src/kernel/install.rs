//! Making the kernel known to notebook programs, and forgetting it again.
//!
//! Source: "Kernel specs" in the documentation of the Jupyter client: folders by platform, and the
//! file `kernel.json`.

use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Where a kernel is made known.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// For this user.
    User,
    /// Below a folder such as a virtual environment's.
    Prefix(PathBuf),
}

impl Place {
    /// The folder that holds one folder a kernel.
    ///
    /// # Errors
    /// When there is no home folder.
    pub fn kernels(&self) -> Result<PathBuf, String> {
        match self {
            Place::Prefix(prefix) => Ok(prefix.join("share/jupyter/kernels")),
            Place::User => Ok(user_data()?.join("kernels")),
        }
    }
}

fn user_data() -> Result<PathBuf, String> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(folder) = set("JUPYTER_DATA_DIR") {
        return Ok(folder);
    }
    let home = std::env::home_dir().ok_or("there is no home folder; use --prefix")?;
    Ok(if cfg!(target_os = "macos") {
        home.join("Library/Jupyter")
    } else if cfg!(windows) {
        set("APPDATA").unwrap_or(home).join("jupyter")
    } else {
        set("XDG_DATA_HOME").unwrap_or_else(|| home.join(".local/share")).join("jupyter")
    })
}

/// Checks a kernel's name: what a folder and an address may hold everywhere.
///
/// # Errors
/// With what is allowed.
pub fn check_name(name: &str) -> Result<(), String> {
    let fine = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-');
    match !name.is_empty() && name.chars().all(fine) && !name.starts_with('.') {
        true => Ok(()),
        false => Err(format!("`{name}` cannot be a kernel's name; letters, digits, `.`, `_` and `-` can")),
    }
}

/// Makes the kernel known; returns its folder.
///
/// # Errors
/// When the folder cannot be written.
pub fn install(place: &Place, name: &str) -> Result<PathBuf, String> {
    check_name(name)?;
    let exe = std::env::current_exe().map_err(|e| format!("this program cannot find itself: {e}"))?;
    let folder = place.kernels()?.join(name);
    // What the user chose for building and caching must hold in the kernel too, wherever it is started from.
    let kept = ["RAILRISE_CACHE", "RAILRISE_SOURCE"];
    let env: serde_json::Map<String, Value> =
        kept.iter().filter_map(|k| Some(((*k).to_owned(), std::env::var(k).ok()?.into()))).collect();
    let display = if name == "railrise" { "Railrise".to_owned() } else { format!("Railrise ({name})") };
    let spec = json!({
        "argv": [exe, "kernel", "serve", "{connection_file}"],
        "display_name": display,
        "language": "rust",
        "interrupt_mode": "message",
        "env": env,
        "metadata": {"debugger": false},
    });
    let text = serde_json::to_string_pretty(&spec).map_err(|e| e.to_string())? + "\n";
    let file = folder.join("kernel.json");
    std::fs::create_dir_all(&folder)
        .and_then(|()| railrise::notebook::write_atomically(&file, text.as_bytes()))
        .map_err(|e| format!("{}: {e}", file.display()))?;
    Ok(folder)
}

/// Kernels of this program that are known at a place: name and folder.
///
/// # Errors
/// When there is no home folder.
pub fn list(place: &Place) -> Result<Vec<(String, PathBuf)>, String> {
    let Ok(entries) = std::fs::read_dir(place.kernels()?) else { return Ok(Vec::new()) };
    let mut found: Vec<_> = entries
        .flatten()
        .filter(|e| is_ours(&e.path()))
        .map(|e| (e.file_name().to_string_lossy().into_owned(), e.path()))
        .collect();
    found.sort();
    Ok(found)
}

/// Forgets a kernel of this program.
///
/// # Errors
/// When there is none of that name, or it belongs to another program.
pub fn remove(place: &Place, name: &str) -> Result<PathBuf, String> {
    check_name(name)?;
    let folder = place.kernels()?.join(name);
    if !folder.exists() {
        return Err(format!("there is no kernel `{name}` at {}", folder.display()));
    }
    if !is_ours(&folder) {
        return Err(format!("{} was not installed by this program and is left alone", folder.display()));
    }
    std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    Ok(folder)
}

fn is_ours(folder: &Path) -> bool {
    let spec = std::fs::read_to_string(folder.join("kernel.json")).ok();
    let spec: Option<Value> = spec.and_then(|t| serde_json::from_str(&t).ok());
    spec.is_some_and(|s| {
        let program = s["argv"][0].as_str().map(Path::new).and_then(Path::file_stem);
        program.is_some_and(|p| p == "railrise") && s["argv"][1] == "kernel"
    })
}
