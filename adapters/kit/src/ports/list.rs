//! Which serial ports there are, and the path of each that stays.
//!
//! A node such as `/dev/ttyUSB0` may be another instrument's after the next
//! unplugging. The links in `/dev/serial/by-id` are named after the cable.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Where ports are looked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ports {
    /// The folder of the nodes.
    dev: PathBuf,
}

/// A serial port of this machine.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PortFound {
    /// The node, which may be another's after an unplugging.
    pub node: PathBuf,
    /// The link named after the cable, where there is one: best used in settings.
    pub stable: Option<PathBuf>,
}

/// How nodes begin that cables and boards make. `ttyS*` are left out: the kernel
/// makes them whether there is a port or not.
const NODES: [&str; 4] = ["ttyUSB", "ttyACM", "ttyAMA", "rfcomm"];

impl Ports {
    /// Those of this machine.
    pub fn system() -> Ports {
        Ports::under("/dev")
    }

    /// Those under another folder that is laid out as `/dev` is.
    pub fn under(dev: impl Into<PathBuf>) -> Ports {
        Ports { dev: dev.into() }
    }

    /// All ports, by node. None if there are none, or none may be looked at.
    pub fn list(&self) -> Vec<PortFound> {
        let mut links = self.links();
        let nodes = entries(&self.dev).into_iter().filter(|path| {
            let name = path.file_name().map(|name| name.to_string_lossy());
            name.is_some_and(|name| NODES.iter().any(|start| name.starts_with(start)))
        });
        let mut found: Vec<PortFound> = nodes
            .map(|node| PortFound {
                stable: links.remove(&resolved(&node)),
                node,
            })
            .collect();
        // Links to nodes of other names.
        found.extend(links.into_iter().map(|(node, link)| PortFound {
            node,
            stable: Some(link),
        }));
        found.sort();
        found
    }

    /// The path of a port that stays when the node's number changes: its link in
    /// `serial/by-id`. `None` where there is no such link, and for a path that is
    /// a link itself: whoever made that one wants it kept.
    pub fn stable(&self, path: &Path) -> Option<PathBuf> {
        let is_link = fs::symlink_metadata(path).is_ok_and(|node| node.is_symlink());
        if is_link {
            return None;
        }
        self.links().remove(&resolved(path))
    }

    /// By node, the link that leads to it; the first by name if there are several.
    fn links(&self) -> BTreeMap<PathBuf, PathBuf> {
        let mut by_node = BTreeMap::new();
        for link in entries(&self.dev.join("serial/by-id")) {
            if let Ok(node) = fs::canonicalize(&link) {
                by_node.entry(node).or_insert(link);
            }
        }
        by_node
    }
}

/// Whether two paths lead to the same port, now.
pub fn same_port(one: &Path, other: &Path) -> bool {
    resolved(one) == resolved(other)
}

fn resolved(path: &Path) -> PathBuf {
    fs::canonicalize(path).unwrap_or_else(|_| path.to_owned())
}

/// The paths in a folder, sorted; none if it cannot be read.
fn entries(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
    paths.sort();
    paths
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::os::unix::fs::symlink;

    /// A folder laid out as `/dev`, with one cable and one board's own port.
    fn dev(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("trisect-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(folder.join("serial/by-id")).unwrap();
        for node in ["ttyUSB0", "ttyAMA0", "ttyS0", "null"] {
            fs::write(folder.join(node), "").unwrap();
        }
        for link in ["usb-cable-if00-port0", "usb-cable-if00-port1"] {
            symlink("../../ttyUSB0", folder.join("serial/by-id").join(link)).unwrap();
        }
        symlink("../../ttyUSB9", folder.join("serial/by-id/usb-gone")).unwrap();
        fs::canonicalize(folder).unwrap()
    }

    #[test]
    fn ports_are_listed_with_the_path_that_stays() {
        let folder = dev("list");
        let cable = folder.join("serial/by-id/usb-cable-if00-port0");
        let found = Ports::under(&folder).list();
        let expected = [
            PortFound {
                node: folder.join("ttyAMA0"),
                stable: None,
            },
            PortFound {
                node: folder.join("ttyUSB0"),
                stable: Some(cable),
            },
        ];
        assert_eq!(found, expected);
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_node_is_named_by_its_cable_and_a_link_by_itself() {
        let folder = dev("stable");
        let ports = Ports::under(&folder);
        let cable = folder.join("serial/by-id/usb-cable-if00-port0");
        assert_eq!(ports.stable(&folder.join("ttyUSB0")), Some(cable.clone()));
        assert_eq!(ports.stable(&cable), None);
        assert_eq!(ports.stable(&folder.join("ttyAMA0")), None);
        assert_eq!(ports.stable(&folder.join("ttyUSB7")), None);
        assert!(same_port(&cable, &folder.join("ttyUSB0")));
        assert!(!same_port(&cable, &folder.join("ttyAMA0")));
        // The cable comes back under another number.
        fs::remove_file(&cable).unwrap();
        symlink("../../ttyUSB1", &cable).unwrap();
        assert!(!same_port(&cable, &folder.join("ttyUSB0")));
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_machine_without_ports_has_none() {
        assert_eq!(Ports::under("/no/such/folder").list(), []);
    }
}
