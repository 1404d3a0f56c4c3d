//! The rule sets that jobs can be opened with, every version of each.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use trisect_diagnosis::Model;
use trisect_kit::read_text;
use trisect_rules::{Defect, Format, Severity, examine, shipped};

/// A rule set, ready to use, with the text it came from.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The compiled rule set.
    pub model: Arc<Model>,
    /// Its TOML text, kept with every job that uses it.
    pub text: Arc<str>,
    /// Where it comes from.
    pub origin: Origin,
    /// What may not be meant, though it can be used.
    pub warnings: Arc<[Defect]>,
}

/// Where a rule set comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It came with the program.
    Shipped,
    /// The configuration names its file.
    File,
    /// It was installed while the service ran.
    Installed {
        /// When, RFC 3339 in UTC.
        at: String,
    },
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
    /// Its tests are runs, which no bay can start.
    #[error(
        "the rule set {name} has format 2: its tests are runs, and a bay has no way to start one; `trisect ruleset trial` tries it on cases, a service takes format 1"
    )]
    Runs {
        /// The file, or what the text is called.
        name: String,
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

/// By id, the versions from the oldest to the one that new jobs use.
type Versions = BTreeMap<String, Vec<Entry>>;

/// All rule sets. Installing one changes what is found from then on, never what
/// somebody holds: an open job keeps its own.
#[derive(Debug)]
pub struct Catalog(RwLock<Versions>);

impl Catalog {
    /// The shipped rule sets and those of the files.
    ///
    /// # Errors
    /// A file that cannot be read or has defects, or an id that is there twice.
    pub fn load(files: &[PathBuf]) -> Result<Catalog, CatalogError> {
        let mut versions = Versions::new();
        for (id, text) in shipped() {
            versions.insert((*id).to_owned(), vec![compile(id, text, Origin::Shipped)?]);
        }
        for path in files {
            let entry = for_bays(read(path)?, &path.display().to_string())?;
            let id = entry.model.rules().id.clone();
            if versions.insert(id.clone(), vec![entry]).is_some() {
                return Err(CatalogError::Twice {
                    path: path.clone(),
                    id,
                });
            }
        }
        Ok(Catalog(RwLock::new(versions)))
    }

    /// The rule set that new jobs of an id use.
    pub fn get(&self, id: &str) -> Option<Entry> {
        self.with(|versions| versions.get(id)?.last().cloned())
    }

    /// The rule set of an id, or of a digest.
    pub fn find(&self, name: &str) -> Option<Entry> {
        self.get(name).or_else(|| self.by_digest(name))
    }

    /// All of them, by id and then by age; and whether new jobs use it.
    pub fn entries(&self) -> Vec<(Entry, bool)> {
        self.with(|versions| {
            let of_id = |of_id: &Vec<Entry>| {
                let last = of_id.len();
                let current = move |place: usize| place + 1 == last;
                let entries = of_id.iter().cloned().enumerate();
                entries
                    .map(|(place, entry)| (entry, current(place)))
                    .collect::<Vec<_>>()
            };
            versions.values().flat_map(of_id).collect()
        })
    }

    /// All ids, in order.
    pub fn ids(&self) -> Vec<String> {
        self.with(|versions| versions.keys().cloned().collect())
    }

    /// The rule set of a digest, if it is one of these.
    pub fn by_digest(&self, digest: &str) -> Option<Entry> {
        self.with(|versions| {
            let mut all = versions.values().flatten();
            all.find(|entry| entry.model.rules().digest == digest)
                .cloned()
        })
    }

    /// Has new jobs use a rule set from now on; the one they used before.
    pub fn install(&self, entry: Entry) -> Option<Entry> {
        let rules = Arc::clone(entry.model.rules());
        let mut versions = self.0.write().unwrap_or_else(PoisonError::into_inner);
        let of_id = versions.entry(rules.id.clone()).or_default();
        let before = of_id.last().cloned();
        of_id.retain(|known| known.model.rules().digest != rules.digest);
        of_id.push(entry);
        before
    }

    fn with<T>(&self, look: impl FnOnce(&Versions) -> T) -> T {
        // Nothing in here panics half way through a change.
        look(&self.0.read().unwrap_or_else(PoisonError::into_inner))
    }
}

/// A rule set, if bays can work by it.
///
/// # Errors
/// [`CatalogError::Runs`].
pub fn for_bays(entry: Entry, name: &str) -> Result<Entry, CatalogError> {
    match entry.model.rules().format {
        Format::One => Ok(entry),
        Format::Two => Err(CatalogError::Runs {
            name: name.to_owned(),
        }),
    }
}

/// The longest rule set that is read from a file.
pub const LONGEST_FILE: u64 = 16 << 20;

fn read(path: &Path) -> Result<Entry, CatalogError> {
    let text = read_text(path, LONGEST_FILE).map_err(|source| CatalogError::Read {
        path: path.to_owned(),
        source,
    })?;
    compile(&path.display().to_string(), &text, Origin::File)
}

/// Examines a text and compiles it. `name` stands in messages.
///
/// # Errors
/// All its defects, if any is an error.
pub fn compile(name: &str, text: &str, origin: Origin) -> Result<Entry, CatalogError> {
    let examined = examine(text);
    let Some(rules) = examined.rule_set else {
        return Err(CatalogError::Defects {
            name: name.to_owned(),
            defects: examined.defects,
        });
    };
    debug_assert!(
        examined
            .defects
            .iter()
            .all(|d| d.severity == Severity::Warning)
    );
    Ok(Entry {
        model: Arc::new(Model::new(Arc::new(rules))),
        text: Arc::from(text),
        origin,
        warnings: Arc::from(examined.defects),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ID: &str = "distributor-pump-12v";

    fn version(version: &str) -> Entry {
        let text = shipped()[0]
            .1
            .replace("version = \"1.2.0\"", &format!("version = \"{version}\""));
        let at = "2026-11-24T10:00:00Z".to_owned();
        compile("test", &text, Origin::Installed { at }).unwrap()
    }

    #[test]
    fn the_newest_version_is_used_and_all_stay_listed() {
        let catalog = Catalog::load(&[]).unwrap();
        let first = catalog.get(ID).unwrap();
        let before = catalog.install(version("2")).unwrap();
        assert_eq!(before.model.rules().digest, first.model.rules().digest);
        catalog.install(version("3"));
        let listed = |catalog: &Catalog| -> Vec<(String, bool)> {
            let all = catalog.entries().into_iter();
            all.map(|(entry, current)| (entry.model.rules().version.clone(), current))
                .collect()
        };
        let told = |list: &[(&str, bool)]| -> Vec<(String, bool)> {
            list.iter()
                .map(|(version, current)| ((*version).to_owned(), *current))
                .collect()
        };
        assert_eq!(
            listed(&catalog),
            told(&[("1.2.0", false), ("2", false), ("3", true)])
        );
        // Installed once more, an old one is the newest.
        catalog.install(version("2"));
        assert_eq!(
            listed(&catalog),
            told(&[("1.2.0", false), ("3", false), ("2", true)])
        );
        let digest = &first.model.rules().digest;
        assert_eq!(catalog.find(digest).unwrap().model.rules().version, "1.2.0");
        assert_eq!(catalog.find(ID).unwrap().model.rules().version, "2");
        assert!(catalog.find("none").is_none());
    }

    #[test]
    fn every_defect_is_told_warnings_too() {
        let text = shipped()[0]
            .1
            .replace("isolate_at = 0.95", "isolate_at = 1.95");
        let error =
            compile("x", &text.replace("share = 80", "share = 0"), Origin::File).unwrap_err();
        let CatalogError::Defects { defects, .. } = error else {
            panic!("{error}")
        };
        assert_eq!(defects.len(), 3, "{defects:#?}");
    }
}
