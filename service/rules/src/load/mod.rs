//! From text to a [`RuleSet`]: one file for each kind of table, each with the
//! defects that can be in it.

mod asked;
mod check;
mod complaint;
mod cycle;
mod effect;
mod header;
mod limit;
mod measured;
mod point;
mod proof;
mod row;
mod suspect;

pub(crate) use header::format_is_one;
use sha2::{Digest, Sha256};

use crate::read::{Findings, Names, Section, document};
use crate::{Defect, DefectKind, RuleSet};

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
    Examination { rule_set, defects: found.located(text) }
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
}

fn load(root: &Section<'_>, text: &str, found: &mut Findings) -> Option<RuleSet> {
    root.knows(&header::KEYS, found);
    let header = header::read(root, found);
    let mut tables = |key| root.sections(key, found);
    let test_points = tables("test_point");
    let derived = tables("derived");
    let suspects = tables("suspect");
    let links = tables("link");
    let checks = tables("check");
    let proofs = tables("proof");
    let complaints = tables("complaint");
    let cautions = tables("caution");
    for key in ["test_point", "suspect", "check"] {
        if !root.has(key) {
            found.error(
                &(0..0),
                DefectKind::MissingTable,
                format!("rule set: there is no `[[{key}]]`"),
                format!("add at least one `[[{key}]]`"),
            );
        }
    }

    let mut points = Names::collect("test point", &test_points, found);
    let read_points = point::read_all(&test_points, found);
    let quantities = point::quantities(&test_points);
    let read_derived = point::read_derived(&derived, &points, &quantities, found);
    points.extend(&derived, found);
    let ids = Ids {
        points,
        yields: point::yields(&quantities, &read_derived),
        suspects: Names::collect("suspect", &suspects, found),
        checks: Names::collect("check", &checks, found),
        measured: checks.iter().map(check::is_measured).collect(),
        cautions: Names::collect("caution", &cautions, found),
    };
    // Nothing refers to a complaint, but its id must be its own.
    Names::collect("complaint", &complaints, found);

    let read_suspects = suspect::read_all(&suspects, found);
    let read_links = suspect::read_links(&links, &ids, found);
    let limits = header.as_ref().map_or(2, |h| h.faults_at_once);
    let read_checks = check::read_all(&checks, &ids, limits, found);
    let read_proofs = proof::read_all(&proofs, &ids, found);
    let read_complaints = complaint::read_all(&complaints, &ids, found);
    let read_cautions = complaint::read_cautions(&cautions, found);
    header::weigh(root, suspects.len(), limits, found);

    let header = header?;
    let rule_set = RuleSet {
        id: header.id,
        version: header.version,
        title: header.title,
        digest: digest(text),
        isolate_at: header.isolate_at,
        also_at: header.also_at,
        faults_at_once: header.faults_at_once,
        none: header.none,
        coincidence: header.coincidence,
        links: all(read_links)?,
        test_points: all(read_points)?,
        derived: all(read_derived)?,
        suspects: all(read_suspects)?,
        checks: all(read_checks)?,
        proofs: all(read_proofs)?,
        complaints: all(read_complaints)?,
        cautions: all(read_cautions)?,
    };
    // Where something is wrong, what has no effect may only follow from it.
    if !found.has_errors() {
        effect::warn(&rule_set, &suspects, &checks, &cautions, found);
    }
    Some(rule_set)
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
