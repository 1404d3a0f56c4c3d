//! How sources are written: short files, nothing left undone, no panic without a proof.

use super::{Line, lines, none, rust_files};

/// A file past this asks what its second subject is.
const LONGEST_FILE: usize = 500;

#[test]
fn no_file_is_longer_than_one_sitting() {
    let breaches: Vec<String> = rust_files("")
        .map(|path| (path, lines(path).len()))
        .filter(|(_, length)| *length > LONGEST_FILE)
        .map(|(path, length)| format!("{path}: {length} lines, at most {LONGEST_FILE}"))
        .collect();
    none(&breaches);
}

/// Words are put together here so that this file does not breach its own rule.
fn undone() -> [String; 6] {
    [
        ("tod", "o!"),
        ("unimpl", "emented!"),
        ("#[ig", "nore"),
        ("TO", "DO"),
        ("FIX", "ME"),
        ("dbg", "!("),
    ]
    .map(|(head, tail)| format!("{head}{tail}"))
}

#[test]
fn nothing_is_left_undone() {
    let words = undone();
    let mut breaches = Vec::new();
    for line in rust_files("").flat_map(lines) {
        if let Some(word) = words.iter().find(|word| line.text.contains(*word)) {
            breaches.push(format!("{line}: `{word}`"));
        }
    }
    none(&breaches);
}

/// Tests wait on conditions; nothing anywhere stops a thread and hopes.
#[test]
fn no_thread_sleeps() {
    let word = ["thread::", "sleep"].concat();
    let breaches: Vec<String> = rust_files("")
        .flat_map(lines)
        .filter(|line| line.code.contains(&word))
        .map(|line| line.to_string())
        .collect();
    none(&breaches);
}

/// Whether a line ends the program if something is not as it should be.
fn may_panic(line: &Line) -> bool {
    [".unwrap()", ".expect(", "panic!(", "unreachable!("]
        .iter()
        .any(|call| line.code.contains(call))
}

/// A proof: a comment just before or on the line, or an allowance that says why.
fn is_proven(before: &[Line], line: &Line) -> bool {
    let near = before.iter().rev().take(3);
    let comment = near.chain([line]).any(|line| line.text.contains("//"));
    let allowed = before
        .iter()
        .rev()
        .take(8)
        .any(|line| line.text.contains("reason ="));
    comment || allowed
}

#[test]
fn no_panic_outside_tests_without_a_proof() {
    let mut breaches = Vec::new();
    for path in rust_files("") {
        let lines = lines(path);
        for (index, line) in lines
            .iter()
            .enumerate()
            .filter(|(_, line)| !line.test && may_panic(line))
        {
            if !is_proven(&lines[..index], line) {
                breaches.push(format!(
                    "{line}: say why this cannot fail, or return an error"
                ));
            }
        }
    }
    none(&breaches);
}

#[test]
fn every_module_says_what_it_is_about() {
    let breaches: Vec<String> = rust_files("")
        .filter(|path| !super::only_for_tests(path))
        .filter(|path| {
            !lines(path)
                .first()
                .is_some_and(|first| first.text.starts_with("//!"))
        })
        .map(|path| format!("{path}: begin with a `//!` line"))
        .collect();
    none(&breaches);
}
