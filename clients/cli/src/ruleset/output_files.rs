//! Output files: that they can be written is tried before the long work whose outcome goes into them.

use crate::exit::CliError;
use std::fs::OpenOptions;
use std::path::Path;

/// Whether a file could be written; what is in it stays, and if there is none, none is left behind.
///
/// # Errors
/// [`CliError::File`], as writing it would give.
pub fn try_file(file: &Path) -> Result<(), CliError> {
    let mut options = OpenOptions::new();
    options.write(true);
    let tried = match std::fs::metadata(file) {
        // A pipe or device is there for the one that writes; who opens it twice may end it.
        Ok(known) if !known.is_file() && !known.is_dir() => Ok(()),
        Ok(_) => options.open(file).map(drop),
        // What is there and leads nowhere is made by writing to it.
        Err(_) if file.is_symlink() => options.create(true).open(file).map(drop),
        Err(_) => options
            .create_new(true)
            .open(file)
            .and_then(|_| std::fs::remove_file(file)),
    };
    tried.map_err(|source| unwritten(file, source))
}

/// Makes a directory, unless it is there, and tries whether a file can be made in it.
///
/// # Errors
/// [`CliError::File`].
pub fn try_directory(directory: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(directory).map_err(|source| unwritten(directory, source))?;
    let file = directory.join(format!(".trisect-{}", std::process::id()));
    try_file(&file).map_err(|fault| match fault {
        CliError::File { source, .. } => unwritten(directory, source),
        other => other,
    })
}

/// Writes a file.
///
/// # Errors
/// [`CliError::File`].
pub fn write(file: &Path, text: &str) -> Result<(), CliError> {
    std::fs::write(file, text).map_err(|source| unwritten(file, source))
}

fn unwritten(path: &Path, source: std::io::Error) -> CliError {
    CliError::File {
        what: "write",
        path: path.display().to_string(),
        source,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn trying_changes_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old.svg"), folder.path().join("new.svg"));
        std::fs::write(&old, "a picture").unwrap();
        try_file(&old).unwrap();
        try_file(&new).unwrap();
        assert_eq!(std::fs::read_to_string(&old).unwrap(), "a picture");
        assert!(!new.exists());
        let made = folder.path().join("a/b");
        try_directory(&made).unwrap();
        assert_eq!(std::fs::read_dir(&made).unwrap().count(), 0);
        try_directory(&made).unwrap();
    }

    #[test]
    fn what_cannot_be_written_is_said_before_anything_is_done() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, "").unwrap();
        let nowhere = folder.path().join("none/a.svg");
        for refused in [
            try_file(&nowhere),
            try_file(folder.path()),
            try_directory(&file),
            try_directory(&file.join("below")),
        ] {
            let said = refused.unwrap_err().to_string();
            assert!(said.starts_with("cannot write "), "{said}");
        }
    }

    #[test]
    fn a_device_is_not_opened_for_a_trial() {
        try_file(Path::new("/dev/null")).unwrap();
        write(Path::new("/dev/null"), "a picture").unwrap();
    }
}
