//! Where rule sets come from: shipped ones by id, files, directories of files.

use crate::exit::CliError;
use std::collections::HashMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use trisect_diagnosis::Model;
use trisect_rules::{Defect, Severity, examine, shipped};
use trisect_wire::escape;

/// The text of a file.
///
/// # Errors
/// [`CliError::File`]; text that is not UTF-8 is one.
pub fn read(path: &Path) -> Result<String, CliError> {
    std::fs::read_to_string(path).map_err(|source| CliError::File {
        what: "read",
        path: path.display().to_string(),
        source,
    })
}

/// The text of a rule set named by a file or by the id of a shipped one; a file comes first.
///
/// # Errors
/// That there is neither.
pub fn text_of(name: &Path) -> Result<String, CliError> {
    if name.exists() {
        return read(name);
    }
    match shipped_text(name) {
        Some(text) => Ok(text.to_owned()),
        None => Err(neither(name)),
    }
}

fn shipped_text(name: &Path) -> Option<&'static str> {
    let name = name.to_str()?;
    shipped()
        .iter()
        .find(|(id, _)| *id == name)
        .map(|(_, text)| *text)
}

fn neither(name: &Path) -> CliError {
    let ids: Vec<&str> = shipped().iter().map(|(id, _)| *id).collect();
    CliError::Wrong(format!(
        "there is no file `{}`, and no shipped rule set of that id; shipped are: {}",
        name.display(),
        ids.join(", ")
    ))
}

/// Defects as `file:line:column: …`, one a line.
pub fn list_defects(file: &Path, defects: &[Defect]) -> String {
    let mut text = String::new();
    for defect in defects {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{}:{}", file.display(), escape(&defect.to_string()));
    }
    text
}

/// A rule set from text that must have no errors.
fn sound(file: &Path, text: &str) -> Result<Arc<Model>, CliError> {
    let examined = examine(text);
    match examined.rule_set {
        Some(rules) => Ok(Arc::new(Model::new(Arc::new(rules)))),
        None => {
            let errors: Vec<Defect> = examined
                .defects
                .into_iter()
                .filter(|d| d.severity == Severity::Error)
                .collect();
            let list = list_defects(file, &errors);
            Err(CliError::Wrong(format!(
                "the rule set has defects:\n{}",
                list.trim_end()
            )))
        }
    }
}

/// The one rule set of a file or a shipped id.
///
/// # Errors
/// That it is not there, cannot be read, or has defects.
pub fn one(name: &Path) -> Result<Arc<Model>, CliError> {
    sound(name, &text_of(name)?)
}

/// The rule sets a trial may use.
pub enum Source {
    /// One, whichever way the cases name it.
    One(Arc<Model>),
    /// Those of a directory, by id.
    Directory {
        /// The directory.
        path: PathBuf,
        /// The rule sets in it.
        by_id: HashMap<String, Arc<Model>>,
        /// Its other files that look like rule sets, and what is wrong with them.
        defective: String,
    },
}

impl Source {
    /// Opens what the command line names.
    ///
    /// # Errors
    /// That it is not there, cannot be read, or has defects.
    pub fn open(name: &Path) -> Result<Self, CliError> {
        if name.is_dir() {
            return Self::directory(name);
        }
        Ok(Self::One(sound(name, &text_of(name)?)?))
    }

    fn directory(path: &Path) -> Result<Self, CliError> {
        let mut by_id = HashMap::new();
        let mut defective = String::new();
        for file in toml_files(path)? {
            let examined = examine(&read(&file)?);
            match examined.rule_set {
                Some(rules) => {
                    by_id.insert(rules.id.clone(), Arc::new(Model::new(Arc::new(rules))));
                }
                None => defective.push_str(&list_defects(&file, &examined.defects)),
            }
        }
        Ok(Self::Directory {
            path: path.to_owned(),
            by_id,
            defective,
        })
    }

    /// The rule set of a case: `named` is an id, or a path relative to the case's file.
    ///
    /// # Errors
    /// That it is another one than the one given, or not there.
    pub fn of_case(&self, case: &Path, named: &str) -> Result<Arc<Model>, CliError> {
        let by_path = is_path(named);
        match self {
            Self::One(model) if by_path || model.rules().id == named => Ok(Arc::clone(model)),
            Self::One(model) => Err(CliError::Wrong(format!(
                "{}: the case is for the rule set `{named}`, not for `{}`; \
                 give that rule set, or a directory that has it",
                case.display(),
                model.rules().id
            ))),
            Self::Directory { .. } if by_path => {
                let file = case.parent().unwrap_or(Path::new("")).join(named);
                sound(&file, &read(&file)?)
            }
            Self::Directory {
                path,
                by_id,
                defective,
            } => by_id.get(named).cloned().ok_or_else(|| {
                let mut known: Vec<&str> = by_id.keys().map(String::as_str).collect();
                known.sort_unstable();
                CliError::Wrong(format!(
                    "{}: {} has no rule set `{named}`; it has: {}\n{}",
                    case.display(),
                    path.display(),
                    if known.is_empty() {
                        "none".to_owned()
                    } else {
                        known.join(", ")
                    },
                    defective.trim_end()
                ))
            }),
        }
    }
}

/// A path has a separator or the file's ending; an id has neither.
fn is_path(named: &str) -> bool {
    named.contains(['/', '\\']) || named.ends_with(".toml")
}

/// The `.toml` files of a directory, by name.
fn toml_files(path: &Path) -> Result<Vec<PathBuf>, CliError> {
    let unreadable = |source| CliError::File {
        what: "read",
        path: path.display().to_string(),
        source,
    };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(path).map_err(unreadable)? {
        let file = entry.map_err(unreadable)?.path();
        if file.extension().is_some_and(|ending| ending == "toml") {
            files.push(file);
        }
    }
    files.sort();
    Ok(files)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ID: &str = "distributor-pump-12v";

    fn fault<T>(result: Result<T, CliError>) -> String {
        result.err().unwrap().to_string()
    }

    #[test]
    fn a_shipped_rule_set_goes_by_its_id_and_a_file_by_its_path() {
        let directory = tempfile::tempdir().unwrap();
        let file = directory.path().join("copy.toml");
        std::fs::write(&file, text_of(Path::new(ID)).unwrap()).unwrap();
        for name in [Path::new(ID), &file] {
            let source = Source::open(name).unwrap();
            assert_eq!(
                source
                    .of_case(Path::new("case.toml"), ID)
                    .unwrap()
                    .rules()
                    .id,
                ID
            );
            assert_eq!(
                source
                    .of_case(Path::new("case.toml"), "../x/y.toml")
                    .unwrap()
                    .rules()
                    .id,
                ID
            );
            let other = fault(source.of_case(Path::new("case.toml"), "other"));
            assert!(
                other.contains("case.toml: the case is for the rule set `other`"),
                "{other}"
            );
        }
        let none = fault(Source::open(Path::new("no-such")));
        assert!(none.contains("shipped are: distributor-pump-12v"), "{none}");
    }

    #[test]
    fn a_directory_gives_each_case_its_own() {
        let directory = tempfile::tempdir().unwrap();
        let write =
            |name: &str, text: &str| std::fs::write(directory.path().join(name), text).unwrap();
        write("set.toml", &text_of(Path::new(ID)).unwrap());
        write("broken.toml", "format = 1\nid = \n");
        write("notes.txt", "no rule set");
        let source = Source::open(directory.path()).unwrap();
        let case = directory.path().join("case.toml");
        assert_eq!(source.of_case(&case, ID).unwrap().rules().id, ID);
        assert_eq!(source.of_case(&case, "./set.toml").unwrap().rules().id, ID);
        let none = fault(source.of_case(&case, "other"));
        assert!(
            none.contains("has no rule set `other`; it has: distributor-pump-12v"),
            "{none}"
        );
        assert!(none.contains("broken.toml:2:"), "{none}");
        let broken = fault(source.of_case(&case, "broken.toml"));
        assert!(broken.contains("broken.toml:2:"), "{broken}");
    }
}
