//! `trisect ruleset examine`.

use super::source::{list_defects, text_of};
use crate::ended::{Ended, Fault};
use crate::io::Io;
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use trisect_rules::testability::{Testability, testability};
use trisect_rules::{Defect, examine as examine_text};

/// What `--json` prints.
#[derive(Serialize)]
struct Answer {
    files: Vec<Examined>,
}

#[derive(Serialize)]
struct Examined {
    file: PathBuf,
    /// No defect is an error.
    ok: bool,
    defects: Vec<Defect>,
    /// Null for a rule set with errors.
    testability: Option<Testability>,
}

/// Says every defect of every file, and what their checks can tell apart.
///
/// # Errors
/// A file that cannot be read.
pub fn examine(json: bool, files: &[PathBuf], io: &mut Io<'_>) -> Result<Ended, Fault> {
    let files: Vec<Examined> = files
        .iter()
        .map(|file| one(file))
        .collect::<Result<_, _>>()?;
    let sound = files.iter().all(|examined| examined.ok);
    if json {
        io.json(&Answer { files })?;
    } else {
        for examined in &files {
            io.say(&text(examined))?;
        }
    }
    Ok(if sound {
        Ended::AsWished
    } else {
        Ended::FellShort
    })
}

fn one(file: &Path) -> Result<Examined, Fault> {
    let examination = examine_text(&text_of(file)?);
    Ok(Examined {
        file: file.to_owned(),
        ok: examination.rule_set.is_some(),
        testability: examination.rule_set.as_ref().map(testability),
        defects: examination.defects,
    })
}

fn text(examined: &Examined) -> String {
    let mut text = list_defects(&examined.file, &examined.defects);
    let file = examined.file.display();
    let Some(found) = &examined.testability else {
        let _ = writeln!(
            text,
            "{file}: {} defects; the rule set cannot be used",
            examined.defects.len()
        );
        return text;
    };
    let percent = |part: f64| format!("{:.1} %", part * 100.0);
    let _ = writeln!(
        text,
        "{file}: sound; detected {}, isolated to a side {}, to groups of at most 1, 2, 3: {}, {}, {}",
        percent(found.detected),
        percent(found.isolated.to_side),
        percent(found.isolated.to_1),
        percent(found.isolated.to_2),
        percent(found.isolated.to_3),
    );
    for group in &found.ambiguity_groups {
        let _ = writeln!(text, "{file}: cannot be told apart: {}", group.join(", "));
    }
    for (what, ids) in [
        ("not detected", &found.undetected),
        ("decides nothing", &found.checks_that_decide_nothing),
    ] {
        if !ids.is_empty() {
            let _ = writeln!(text, "{file}: {what}: {}", ids.join(", "));
        }
    }
    for side in &found.sides_that_cannot_be_proven {
        let _ = writeln!(text, "{file}: the side `{side}` cannot be proven");
    }
    text
}
