//! The notebooks that a command line names.

use railrise::notebook::Notebook;
use std::path::{Path, PathBuf};

/// A notebook to run.
pub struct Job {
    /// Where it is, as an absolute path.
    pub path: PathBuf,
    /// What it holds.
    pub notebook: Notebook,
}

impl Job {
    /// File name without its ending.
    pub fn stem(&self) -> String {
        self.path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
    }

    /// Folder that its cells run in.
    pub fn folder(&self) -> PathBuf {
        self.path.parent().unwrap_or(Path::new("/")).to_owned()
    }
}

/// Reads every notebook named, those of a folder in the order of their names.
pub fn read(paths: &[PathBuf]) -> Result<Vec<Job>, String> {
    let mut jobs = Vec::new();
    for path in paths {
        let absolute = std::path::absolute(path).map_err(|e| format!("{}: {e}", path.display()))?;
        if !absolute.exists() {
            return Err(format!("{}: there is no such file or folder", path.display()));
        }
        let files = if absolute.is_dir() {
            let entries = std::fs::read_dir(&absolute).map_err(|e| format!("{}: {e}", path.display()))?;
            let mut files: Vec<_> = entries.flatten().map(|e| e.path()).filter(|p| is_notebook(p)).collect();
            files.sort();
            if files.is_empty() {
                return Err(format!("{}: there is no notebook (.ipynb) in this folder", path.display()));
            }
            files
        } else {
            vec![absolute]
        };
        for path in files {
            let notebook = Notebook::read(&path).map_err(|e| e.to_string())?;
            jobs.push(Job { path, notebook });
        }
    }
    Ok(jobs)
}

fn is_notebook(path: &Path) -> bool {
    let hidden = path.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
    path.is_file() && !hidden && path.extension().is_some_and(|e| e == "ipynb")
}
