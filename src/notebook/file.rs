//! Writing a file whole or not at all.

use std::io::{self, Write};
use std::path::Path;

/// Writes `bytes` to a temporary name beside `path`, then renames it over `path`.
///
/// A reader sees the old file or the new one, never a part of either; on failure the old file stays and the temporary one
/// is removed.
///
/// # Errors
/// What the system reports while creating, writing or renaming.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> io::Result<()> {
    // A rename is only atomic within one file system, so the temporary file stands in the same folder.
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".railrise-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The file is for others too: the usual mode (less the umask) in place of a private 0600.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path).map(drop).map_err(|failed| failed.error)
}
