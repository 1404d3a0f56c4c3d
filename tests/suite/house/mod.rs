//! The house rules: what has to be absent, held against the sources as they lie there.

mod arrows;
mod documents;
mod layout;
mod named;
mod pure;
mod sources;
mod supply;

use trisect_tests::repository::{files, text};

/// A line of a source.
struct Line {
    path: &'static str,
    number: usize,
    /// The line without its comment.
    code: String,
    /// The line as it stands.
    text: String,
    /// Compiled for tests only.
    test: bool,
}

impl std::fmt::Display for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}: {}", self.path, self.number, self.text.trim())
    }
}

/// The Rust sources below a folder.
fn rust_files(under: &str) -> impl Iterator<Item = &'static str> {
    files()
        .iter()
        .map(String::as_str)
        .filter(move |path| path.starts_with(under) && path.ends_with(".rs"))
}

/// The lines of a Rust source.
fn lines(path: &'static str) -> Vec<Line> {
    let source = text(path);
    let all: Vec<&str> = source.lines().collect();
    let mut test = only_for_tests(path);
    let mut found = Vec::with_capacity(all.len());
    for (index, line) in all.iter().enumerate() {
        // Test modules come last in their file.
        test |= for_tests(&all[index..]).is_some_and(|item| item.ends_with('{'));
        found.push(Line {
            path,
            number: index + 1,
            code: line.split("//").next().unwrap_or_default().to_owned(),
            text: (*line).to_owned(),
            test,
        });
    }
    found
}

/// The item that is compiled for tests only, if the first of these lines says so.
fn for_tests<'a>(lines: &[&'a str]) -> Option<&'a str> {
    let (first, rest) = lines.split_first()?;
    let item = rest
        .iter()
        .map(|line| line.trim())
        .find(|line| !line.starts_with("#["));
    item.filter(|_| first.trim() == "#[cfg(test)]")
}

/// Whether a whole file is compiled for tests only: it lies among tests, or a module declares it so.
fn only_for_tests(path: &str) -> bool {
    if path.starts_with("tests/") || path.contains("/tests/") || path.ends_with("/tests.rs") {
        return true;
    }
    let Some((folder, file)) = path.rsplit_once('/') else {
        return false;
    };
    let module = format!("mod {};", file.trim_end_matches(".rs"));
    let mut parents = vec![format!("{folder}.rs")];
    parents.extend(["lib.rs", "main.rs", "mod.rs"].map(|name| format!("{folder}/{name}")));
    parents
        .iter()
        .filter(|parent| files().contains(parent))
        .any(|parent| {
            let source = text(parent);
            let all: Vec<&str> = source.lines().collect();
            (0..all.len()).any(|index| for_tests(&all[index..]) == Some(&module))
        })
}

/// Fails with every breach on a line of its own.
fn none(breaches: &[String]) {
    assert!(
        breaches.is_empty(),
        "{} breaches:\n{}",
        breaches.len(),
        breaches.join("\n")
    );
}
