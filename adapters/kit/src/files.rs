//! Small files that somebody named.

use std::io::{self, Read as _};
use std::path::Path;

use rustix::fs::OFlags;

/// Reads a file whole, if it is a regular one of at most so many bytes. Nothing is waited for: a pipe that
/// nobody writes to would hold up whoever reads it, and a device may never end.
///
/// # Errors
/// What the system says; that it is no regular file, or longer.
pub fn read_file(path: &Path, longest: u64) -> io::Result<Vec<u8>> {
    let flags = OFlags::RDONLY | OFlags::NONBLOCK | OFlags::NOCTTY | OFlags::CLOEXEC;
    let file = rustix::fs::open(path, flags, rustix::fs::Mode::empty())?;
    let file = std::fs::File::from(file);
    // Of what was opened, not of the path: that may be another file by now.
    if !file.metadata()?.is_file() {
        return Err(io::Error::other("it is no regular file"));
    }
    let mut read = Vec::new();
    file.take(longest.saturating_add(1))
        .read_to_end(&mut read)?;
    if read.len() as u64 > longest {
        let why = format!("it has more than the {longest} bytes that are taken");
        return Err(io::Error::other(why));
    }
    Ok(read)
}

/// The same of a file that has to be text.
///
/// # Errors
/// As [`read_file`]; that it is not UTF-8.
pub fn read_text(path: &Path, longest: u64) -> io::Result<String> {
    String::from_utf8(read_file(path, longest)?)
        .map_err(|_| io::Error::new(io::ErrorKind::InvalidData, "it is not text in UTF-8"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn only_a_regular_file_of_the_size_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let check = |path: &Path, expected: &str| {
            let error = read_text(path, 8).unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        };
        std::fs::write(at("short"), "12345678").unwrap();
        assert_eq!(read_text(&at("short"), 8).unwrap(), "12345678");
        std::fs::write(at("long"), "123456789").unwrap();
        check(&at("long"), "more than the 8 bytes");
        std::fs::write(at("bytes"), [0xFF]).unwrap();
        check(&at("bytes"), "UTF-8");
        // None of these is waited for.
        rustix::fs::mknodat(
            rustix::fs::CWD,
            at("pipe"),
            rustix::fs::FileType::Fifo,
            rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR,
            0,
        )
        .unwrap();
        std::os::unix::fs::symlink(at("pipe"), at("link")).unwrap();
        for (path, why) in [
            (at("pipe"), "no regular file"),
            (at("link"), "no regular file"),
            (folder.path().to_owned(), "no regular file"),
            ("/dev/zero".into(), "no regular file"),
            (at("none"), "No such file"),
        ] {
            check(&path, why);
        }
    }
}
