//! From text to a [`RuleSet`]: one file for each kind of table, each with the
//! defects that can be in it.

mod asked;
mod check;
mod complaint;
mod condition;
mod cycle;
mod effect;
mod header;
mod limit;
mod measured;
mod point;
mod presumption;
mod probability;
mod proof;
mod reach;
mod row;
mod suspect;

pub(crate) use header::format;
use sha2::{Digest, Sha256};

use crate::read::{Findings, Item, Names, Section, document};
use crate::{Defect, DefectKind, Derived, Format, RuleSet};

/// What came of reading a text.
#[derive(Clone, Debug, PartialEq)]
pub struct Examination {
    /// The rule set, if the text has no errors (it may have warnings).
    pub rule_set: Option<RuleSet>,
    /// Everything found, in the order of the text.
    pub defects: Vec<Defect>,
}

/// Reads a rule set and finds every defect of it.
pub fn examine(text: &str) -> Examination {
    let mut found = Findings::default();
    let document = document(text, &mut found);
    let root = Section::new("rule set", 0..0, document.get_ref());
    let rule_set = load(&root, text, &mut found);
    let rule_set = rule_set.filter(|_| !found.has_errors());
    Examination {
        rule_set,
        defects: found.located(text),
    }
}

/// The ids that tables refer to one another by.
struct Ids<'a> {
    /// Test points, then derived points.
    points: Names<'a>,
    /// What each point yields; `None` where its table is defective.
    yields: Vec<Option<point::Yield>>,
    suspects: Names<'a>,
    checks: Names<'a>,
    /// Whether each check is measured.
    measured: Vec<bool>,
    cautions: Names<'a>,
    complaints: Names<'a>,
    /// Measured checks make findings without a run where they do not say otherwise.
    passive: bool,
}

/// The tables of a rule set, by kind and in the order of the text.
struct Tables<'a> {
    test_points: Vec<Section<'a>>,
    derived: Vec<Section<'a>>,
    suspects: Vec<Section<'a>>,
    links: Vec<Section<'a>>,
    checks: Vec<Section<'a>>,
    proofs: Vec<Section<'a>>,
    complaints: Vec<Section<'a>>,
    cautions: Vec<Section<'a>>,
}

impl<'a> Tables<'a> {
    fn of(root: &Section<'a>, found: &mut Findings) -> Tables<'a> {
        for key in ["test_point", "suspect", "check"] {
            let none = |item: &Item<'_>| item.get_ref().as_array().is_some_and(|a| a.is_empty());
            if root.item(key).is_none_or(none) {
                found.error(
                    &(0..0),
                    DefectKind::MissingTable,
                    format!("rule set: there is no `[[{key}]]`"),
                    format!("add at least one `[[{key}]]`"),
                );
            }
        }
        let mut tables = |key| root.sections(key, found);
        Tables {
            test_points: tables("test_point"),
            derived: tables("derived"),
            suspects: tables("suspect"),
            links: tables("link"),
            checks: tables("check"),
            proofs: tables("proof"),
            complaints: tables("complaint"),
            cautions: tables("caution"),
        }
    }
}

fn load(root: &Section<'_>, text: &str, found: &mut Findings) -> Option<RuleSet> {
    root.knows(&header::KEYS, found);
    let header = header::read(root, found);
    let tables = Tables::of(root, found);
    let test_points = point::read_all(&tables.test_points, found);
    let passive = header
        .as_ref()
        .is_some_and(|header| header.format == Format::One);
    let (ids, derived) = ids(&tables, passive, found);
    let at_once = header.as_ref().map_or(2, |h| h.faults_at_once);
    let at_once = header::weigh(root, tables.suspects.len(), at_once, found);
    let suspects = suspect::read_all(&tables.suspects, found);
    let links = suspect::read_links(&tables.links, &ids, found);
    let checks = check::read_all(&tables.checks, &ids, at_once, found);
    let proofs = proof::read_all(&tables.proofs, &ids, found);
    let complaints = complaint::read_all(&tables.complaints, &ids, found);
    let cautions = complaint::read_cautions(&tables.cautions, found);
    let header = header?;
    let rule_set = RuleSet {
        format: header.format,
        id: header.id,
        version: header.version,
        title: header.title,
        digest: digest(text),
        isolate_at: header.isolate_at,
        also_at: header.also_at,
        faults_at_once: header.faults_at_once,
        none: header.none,
        coincidence: header.coincidence,
        links: all(links)?,
        test_points: all(test_points)?,
        derived: all(derived)?,
        suspects: all(suspects)?,
        checks: all(checks)?,
        proofs: all(proofs)?,
        complaints: all(complaints)?,
        cautions: all(cautions)?,
    };
    // Where something is wrong, what has no effect may only follow from it.
    if !found.has_errors() {
        effect::warn(&rule_set, &tables, found);
        reach::warn(&rule_set, &tables, found);
    }
    Some(rule_set)
}

/// The ids, and the derived points, which need those of the test points first.
fn ids<'a>(
    tables: &Tables<'a>,
    passive: bool,
    found: &mut Findings,
) -> (Ids<'a>, Vec<Option<Derived>>) {
    let mut points = Names::collect("test point", &tables.test_points, found);
    let quantities = point::quantities(&tables.test_points);
    let derived = point::read_derived(&tables.derived, &points, &quantities, found);
    points.extend(&tables.derived, found);
    let ids = Ids {
        points,
        yields: point::yields(&quantities, &derived),
        suspects: Names::collect("suspect", &tables.suspects, found),
        checks: Names::collect("check", &tables.checks, found),
        measured: tables.checks.iter().map(check::is_measured).collect(),
        cautions: Names::collect("caution", &tables.cautions, found),
        complaints: Names::collect("complaint", &tables.complaints, found),
        passive,
    };
    (ids, derived)
}

fn all<T>(read: Vec<Option<T>>) -> Option<Vec<T>> {
    read.into_iter().collect()
}

fn digest(text: &str) -> String {
    let bytes = Sha256::digest(text.as_bytes());
    let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    format!("sha256:{hex}")
}

#[cfg(test)]
mod tests;
