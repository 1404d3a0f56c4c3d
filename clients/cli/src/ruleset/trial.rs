//! `trisect ruleset trial`.

use super::junit::{Test, junit};
use super::source::{Source, list_defects, read};
use crate::args;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::show;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use trisect_diagnosis::trial::{
    Change, Coverage, Difference, Reached, Recording, Slack, coverage, differences, sensitivity,
};
use trisect_diagnosis::{Model, Verdict};
use trisect_rules::case;
use trisect_wire::escape;

/// So much that no case reaches is named to people.
const NAMED: usize = 12;

/// What `--json` prints.
#[derive(Serialize)]
struct TrialReport<'a> {
    cases: Vec<CaseReport<'a>>,
    /// Of the one rule set the cases are for; by id and digest if they are for several.
    coverage: Covered,
    sensitivity: Vec<Slack>,
}

#[derive(Serialize)]
struct CaseReport<'a> {
    file: &'a Path,
    title: &'a str,
    ok: bool,
    differences: &'a [Difference],
    verdict: &'a Verdict,
}

#[derive(Serialize)]
#[serde(untagged)]
#[allow(
    clippy::large_enum_variant,
    reason = "one a trial: there is nothing to save"
)]
enum Covered {
    One(Coverage),
    Several(BTreeMap<String, Coverage>),
}

/// A case, run.
struct CaseRun {
    file: PathBuf,
    title: String,
    model: Arc<Model>,
    recording: Recording,
    verdict: Arc<Verdict>,
    differences: Vec<Difference>,
}

/// Runs cases against a rule set and tells what differs.
///
/// # Errors
/// A rule set, case or stream that cannot be read or has defects; nothing is run then.
pub fn trial(json: bool, what: &args::Trial, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let source = Source::open(&what.ruleset)?;
    let runs = run_all(&source, &what.cases)?;
    let sets = by_rule_set(&runs);
    let mut slack = Vec::new();
    if what.sensitivity {
        for (model, runs) in sets.values() {
            let recordings: Vec<&Recording> = runs.iter().map(|run| &run.recording).collect();
            slack.extend(sensitivity(model.rules(), &recordings));
        }
    }
    let covered = sets
        .iter()
        .map(|(id, (model, runs))| (id.clone(), covered(model, runs)))
        .collect();
    if let Some(file) = &what.junit {
        write_junit(file, &what.ruleset, &runs)?;
    }
    let ok = runs.iter().all(|run| run.differences.is_empty());
    if json {
        let cases = runs.iter().map(told).collect();
        io.json(&TrialReport {
            cases,
            coverage: one_or_several(covered),
            sensitivity: slack,
        })?;
    } else {
        io.say(&text(
            &runs,
            &covered,
            what.sensitivity.then_some(&slack[..]),
        ))?;
    }
    Ok(if ok {
        Ending::AsWished
    } else {
        Ending::FellShort
    })
}

/// Runs every case, or tells everything that keeps any of them from being run.
fn run_all(source: &Source, files: &[PathBuf]) -> Result<Vec<CaseRun>, CliError> {
    let mut runs = Vec::with_capacity(files.len());
    let mut faults = Vec::new();
    for file in files {
        match run(source, file) {
            Ok(run) => runs.push(run),
            Err(fault) => faults.push(fault.to_string()),
        }
    }
    if faults.is_empty() {
        return Ok(runs);
    }
    Err(CliError::Wrong(format!(
        "no case was run:\n{}",
        faults.join("\n")
    )))
}

fn run(source: &Source, file: &Path) -> Result<CaseRun, CliError> {
    let defects = |found: Vec<_>| CliError::Wrong(list_defects(file, &found).trim_end().to_owned());
    let case = case::parse(&read(file)?).map_err(defects)?;
    let model = source.of_case(file, &case.ruleset)?;
    let mut recording = Recording::of(&case, model.rules()).map_err(defects)?;
    if let Some(stream) = &case.stream {
        let path = file.parent().unwrap_or(Path::new("")).join(stream);
        recording = recording
            .with_stream(&read(&path)?, model.rules())
            .map_err(|error| CliError::Wrong(format!("{}: {error}", path.display())))?;
    }
    let verdict = recording.verdict(&model);
    let differences = differences(&recording.expect, &verdict);
    Ok(CaseRun {
        file: file.to_owned(),
        title: case.title,
        model,
        recording,
        verdict,
        differences,
    })
}

/// The runs of one rule set, by its id and digest.
type BySet<'a> = BTreeMap<String, (&'a Arc<Model>, Vec<&'a CaseRun>)>;

fn by_rule_set(runs: &[CaseRun]) -> BySet<'_> {
    let mut sets = BySet::new();
    for run in runs {
        let rules = run.model.rules();
        let set = sets.entry(format!("{} {}", rules.id, rules.digest));
        set.or_insert_with(|| (&run.model, Vec::new())).1.push(run);
    }
    sets
}

fn covered(model: &Model, runs: &[&CaseRun]) -> Coverage {
    let runs: Vec<(&Recording, &Verdict)> = runs
        .iter()
        .map(|run| (&run.recording, run.verdict.as_ref()))
        .collect();
    coverage(model.rules(), &runs)
}

fn one_or_several(mut covered: BTreeMap<String, Coverage>) -> Covered {
    match covered.pop_first() {
        Some((_, only)) if covered.is_empty() => Covered::One(only),
        Some((id, first)) => {
            covered.insert(id, first);
            Covered::Several(covered)
        }
        None => Covered::Several(covered),
    }
}

fn told(run: &CaseRun) -> CaseReport<'_> {
    CaseReport {
        file: &run.file,
        title: &run.title,
        ok: run.differences.is_empty(),
        differences: &run.differences,
        verdict: &run.verdict,
    }
}

fn write_junit(file: &Path, suite: &Path, runs: &[CaseRun]) -> Result<(), CliError> {
    let tests: Vec<Test<'_>> = runs
        .iter()
        .map(|run| Test {
            file: run.file.display().to_string(),
            title: &run.title,
            differences: run
                .differences
                .iter()
                .map(|d| line(d) + "\n")
                .collect::<String>()
                .trim_end()
                .to_owned(),
        })
        .collect();
    let xml = junit(&suite.display().to_string(), &tests);
    std::fs::write(file, xml).map_err(|source| CliError::File {
        what: "write",
        path: file.display().to_string(),
        source,
    })
}

fn line(difference: &Difference) -> String {
    let Difference {
        what,
        expected,
        found,
    } = difference;
    format!("{what}: expected {expected}, found {found}")
}

fn text(runs: &[CaseRun], covered: &BTreeMap<String, Coverage>, slack: Option<&[Slack]>) -> String {
    let mut text = String::new();
    for run in runs {
        let word = if run.differences.is_empty() {
            "ok    "
        } else {
            "DIFFERS"
        };
        let standing =
            show::wire_verdict(&run.verdict).map_or_else(String::new, |v| show::standing(&v));
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "{word} {}  {}: {standing}",
            run.file.display(),
            escape(&run.title)
        );
        text.push_str(&side_by_side(&run.differences));
    }
    for (rules, coverage) in covered {
        let id = rules.split(' ').next().unwrap_or_default();
        let kinds = [
            ("limits", &coverage.limits),
            ("answers", &coverage.answers),
            ("proofs", &coverage.proofs),
            ("outcomes", &coverage.outcomes),
            ("suspects", &coverage.suspects),
            ("complaints", &coverage.complaints),
        ];
        for (kind, reached) in kinds {
            text.push_str(&coverage_line(id, kind, reached));
        }
    }
    for slack in slack.unwrap_or_default() {
        let of = match &slack.of {
            Change::Limit { check, end } => format!("the limit {check} {end}"),
            Change::Need { check } => format!("what {check} needs,"),
            Change::Row { of, suspect } => format!("the row of {suspect} in {of}"),
            Change::Proof { proof } => format!("the proof {proof}"),
        };
        let _ = writeln!(text, "no case notices: {of} {}", slack.change);
    }
    let differing = runs
        .iter()
        .filter(|run| !run.differences.is_empty())
        .count();
    let _ = writeln!(text, "{} cases, {differing} differ", runs.len());
    text
}

/// What was expected beside what was found.
fn side_by_side(differences: &[Difference]) -> String {
    let row = |d: &Difference| [&d.what, &d.expected, &d.found].map(|s| escape(s).into_owned());
    let rows: Vec<_> = differences.iter().map(row).collect();
    show::columns(["", "expected", "found"], &rows)
}

fn coverage_line(id: &str, kind: &str, reached: &Reached) -> String {
    let mut line = format!(
        "{id}: {} of {} {kind} reached",
        reached.reached, reached.all
    );
    let shown = reached.unreached.get(..NAMED).unwrap_or(&reached.unreached);
    if !shown.is_empty() {
        let _ = write!(line, "; not: {}", shown.join(", "));
    }
    if shown.len() < reached.unreached.len() {
        let _ = write!(
            line,
            " and {} more (--json names them)",
            reached.unreached.len() - shown.len()
        );
    }
    line + "\n"
}

#[cfg(test)]
mod tests;
