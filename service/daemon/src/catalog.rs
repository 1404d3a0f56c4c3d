//! The rule sets that jobs can be opened with.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use trisect_diagnosis::Model;
use trisect_rules::{Defect, Severity, examine, shipped};

/// A rule set, ready to use, with the text it came from.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The compiled rule set.
    pub model: Arc<Model>,
    /// Its TOML text, kept with every job that uses it.
    pub text: Arc<str>,
}

/// A rule-set file that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum CatalogError {
    /// The file cannot be read.
    #[error("cannot read the rule set {}", path.display())]
    Read {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The rule set has defects.
    #[error("the rule set {name} has {} defects: {}", defects.len(), listed(defects))]
    Defects {
        /// The file, or the digest of a kept text.
        name: String,
        /// All of them.
        defects: Vec<Defect>,
    },
    /// Two rule sets with one id.
    #[error("{} has the id `{id}`, which another rule set has already", path.display())]
    Twice {
        /// The file.
        path: PathBuf,
        /// The id.
        id: String,
    },
}

fn listed(defects: &[Defect]) -> String {
    let line = |d: &Defect| format!("line {}, column {}: {}", d.line, d.column, d.message);
    defects.iter().map(line).collect::<Vec<_>>().join("; ")
}

/// All rule sets, by id.
#[derive(Clone, Debug)]
pub struct Catalog(BTreeMap<String, Entry>);

impl Catalog {
    /// The shipped rule sets and those of the files.
    ///
    /// # Errors
    /// A file that cannot be read or has defects, or an id that is there twice.
    pub fn load(files: &[PathBuf]) -> Result<Catalog, CatalogError> {
        let mut entries = BTreeMap::new();
        for (id, text) in shipped() {
            entries.insert((*id).to_owned(), compile(id, text)?);
        }
        for path in files {
            let entry = read(path)?;
            let id = entry.model.rules().id.clone();
            if entries.insert(id.clone(), entry).is_some() {
                return Err(CatalogError::Twice {
                    path: path.clone(),
                    id,
                });
            }
        }
        Ok(Catalog(entries))
    }

    /// The rule set of an id.
    pub fn get(&self, id: &str) -> Option<&Entry> {
        self.0.get(id)
    }

    /// All of them, by id.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.0.values()
    }

    /// All ids, in order.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// The rule set of a digest, if it is one of these.
    pub fn by_digest(&self, digest: &str) -> Option<&Entry> {
        self.0
            .values()
            .find(|entry| entry.model.rules().digest == digest)
    }
}

fn read(path: &Path) -> Result<Entry, CatalogError> {
    let text = std::fs::read_to_string(path).map_err(|source| CatalogError::Read {
        path: path.to_owned(),
        source,
    })?;
    compile(&path.display().to_string(), &text)
}

/// Examines a text and compiles it. `name` stands in messages.
///
/// # Errors
/// Its defects, if any is an error.
pub fn compile(name: &str, text: &str) -> Result<Entry, CatalogError> {
    let examined = examine(text);
    let Some(rules) = examined.rule_set else {
        let errors = examined
            .defects
            .into_iter()
            .filter(|d| d.severity == Severity::Error);
        return Err(CatalogError::Defects {
            name: name.to_owned(),
            defects: errors.collect(),
        });
    };
    Ok(Entry {
        model: Arc::new(Model::new(Arc::new(rules))),
        text: Arc::from(text),
    })
}
