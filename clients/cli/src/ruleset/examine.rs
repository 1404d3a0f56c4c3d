//! `trisect ruleset examine`.

use super::source::{list_defects, text_of};
use crate::exit::{CliError, Ending};
use crate::io::Io;
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use trisect_diagnosis::trial::{Naming, Proving, Stated, prove};
use trisect_rules::testability::{Testability, testability};
use trisect_rules::{Defect, examine as examine_text};

/// What `--json` prints.
#[derive(Serialize)]
struct ExamineReport {
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
    /// Only with `--prove`, and of a sound rule set.
    #[serde(skip_serializing_if = "Option::is_none")]
    proving: Option<Proving>,
}

/// Says every defect of every file, and what their checks can tell apart.
///
/// # Errors
/// A file that cannot be read.
pub fn examine(
    json: bool,
    files: &[PathBuf],
    prove: bool,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let files: Vec<Examined> = files
        .iter()
        .map(|file| one(file, prove))
        .collect::<Result<_, _>>()?;
    let proven = |examined: &Examined| examined.proving.as_ref().is_none_or(|p| p.proven);
    let sound = files.iter().all(|examined| examined.ok && proven(examined));
    if json {
        io.json(&ExamineReport { files })?;
    } else {
        for examined in &files {
            io.say(&text(examined))?;
        }
    }
    Ok(if sound {
        Ending::AsWished
    } else {
        Ending::FellShort
    })
}

fn one(file: &Path, search: bool) -> Result<Examined, CliError> {
    let examination = examine_text(&text_of(file)?);
    Ok(Examined {
        file: file.to_owned(),
        ok: examination.rule_set.is_some(),
        testability: examination.rule_set.as_ref().map(testability),
        proving: examination
            .rule_set
            .as_ref()
            .filter(|_| search)
            .map(|rules| prove(rules, &|| true)),
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
    if let Some(proving) = &examined.proving {
        text.push_str(&proof(&examined.file, proving));
    }
    text
}

/// What was searched, and what came of it.
fn proof(file: &Path, proving: &Proving) -> String {
    let file = file.display();
    let mut text = String::new();
    for naming in &proving.named {
        let what = match &naming.suspect {
            Some(suspect) => format!("the suspect `{suspect}`"),
            None => format!("the side `{}`", naming.side),
        };
        let _ = writeln!(text, "{file}: {what}: {}", searched(naming));
        for found in &naming.unproven {
            let _ = writeln!(
                text,
                "{file}: {what} is named without its proof by {}",
                stated(found)
            );
        }
        for found in &naming.withheld {
            let _ = writeln!(
                text,
                "{file}: {what} is proven, and not named, by {}",
                stated(found)
            );
        }
        let _ = match &naming.shortest {
            Some(shortest) => writeln!(
                text,
                "{file}: {what}: {}, {} min, belief {:.1} %: {}",
                if shortest.exact {
                    "shortest"
                } else {
                    "short (a shorter one may be there)"
                },
                shortest.minutes,
                shortest.belief * 100.0,
                stated(&shortest.tests)
            ),
            None => writeln!(
                text,
                "{file}: {what}: no set of tests was found that names it, of {} tried; \
                 the highest belief was {:.1} %",
                naming.tried,
                naming.highest_belief * 100.0
            ),
        };
    }
    let _ = if proving.proven {
        writeln!(
            text,
            "{file}: proven: none of {} combinations of outcomes names a side whose proof is missing",
            proving.combinations
        )
    } else {
        writeln!(
            text,
            "{file}: not proven; {} combinations searched",
            proving.combinations
        )
    };
    text
}

fn searched(naming: &Naming) -> String {
    if naming.searched == 0 {
        return format!(
            "its proofs speak of {} checks; {:e} combinations are too many to search",
            naming.checks, naming.combinations
        );
    }
    format!(
        "all {} combinations of {} checks searched, {} of them name it; {} at the edge of its proofs \
         diagnosed whole",
        naming.searched, naming.checks, naming.open, naming.diagnosed
    )
}

fn stated(outcomes: &[Stated]) -> String {
    let stated = outcomes.iter().map(|s| match &s.answer {
        Some(answer) => format!("{} {answer}", s.check),
        None => format!("{} {}", s.check, s.outcome),
    });
    stated.collect::<Vec<_>>().join(", ")
}
