//! Which paths may be opened as a port.

use std::path::Path;

/// Names of terminals that a port can be: those of Linux's serial drivers, of radio links and pseudo-terminals.
const NAMES: [&str; 2] = ["tty", "rfcomm"];

/// Whether a path may be opened as a port: it leads to a terminal under `/dev`, or lies there and is not plugged in.
/// Another device may act as soon as it is opened (a watchdog resets the machine). Whether any other file is there
/// makes no difference to the answer.
pub fn may_be_port(path: &Path) -> bool {
    match std::fs::canonicalize(path) {
        Ok(found) => is_terminal(&found),
        // Not there: only where a port would turn up, and not by a way around.
        Err(_) => {
            path.starts_with("/dev") && path.components().all(|part| part.as_os_str() != "..")
        }
    }
}

fn is_terminal(node: &Path) -> bool {
    let Ok(below) = node.strip_prefix("/dev") else {
        return false;
    };
    let name = below.to_string_lossy();
    below.starts_with("pts") || NAMES.iter().any(|start| name.starts_with(start))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::conformance::Pty;

    #[tokio::test]
    async fn only_a_terminal_may_be_a_port() {
        let folder = tempfile::tempdir().unwrap();
        let pty = Pty::open().unwrap();
        let link = folder.path().join("meter");
        std::os::unix::fs::symlink(pty.path(), &link).unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, "").unwrap();
        let check = |path: &Path, expected: bool| {
            assert_eq!(may_be_port(path), expected, "{}", path.display());
        };
        check(pty.path(), true);
        check(&link, true);
        check(Path::new("/dev/serial/by-id/usb-not-plugged-in"), true);
        for path in [
            "/dev/zero",
            "/dev/watchdog0x/../zero",
            "/etc/passwd",
            "/etc/none",
            "/dev/../etc/none",
            "",
        ] {
            check(Path::new(path), false);
        }
        check(&file, false);
        check(&folder.path().join("none"), false);
    }
}
