//! Who has a port open.

use std::fs;
use std::path::Path;

/// The processes that have a port open, as far as this one may know: of other
/// users only a privileged service sees the open files.
pub(super) fn holders(port: &Path) -> Vec<String> {
    let Ok(port) = fs::canonicalize(port) else {
        return Vec::new();
    };
    let processes = fs::read_dir("/proc").into_iter().flatten().flatten();
    processes
        .filter_map(|process| {
            let name = process.file_name();
            let id: u32 = name.to_str()?.parse().ok()?;
            holds(&process.path(), &port).then(|| named(id, &process.path()))
        })
        .collect()
}

fn holds(process: &Path, port: &Path) -> bool {
    let open = fs::read_dir(process.join("fd")).into_iter().flatten();
    open.flatten()
        .any(|file| fs::read_link(file.path()).is_ok_and(|target| target == port))
}

fn named(id: u32, process: &Path) -> String {
    if id == std::process::id() {
        return "this service".to_owned();
    }
    let command = fs::read_to_string(process.join("comm")).unwrap_or_default();
    format!("`{}` (process {id})", command.trim())
}
