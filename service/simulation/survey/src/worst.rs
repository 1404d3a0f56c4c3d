//! The worst jobs as cases: what happened until the mistake was made, and what was
//! said of it then. A case that went on would lose the mistake where a later test
//! sets it right, and it is the mistake that a rule set is to be tried with.

use std::sync::Arc;

use trisect_diagnosis::Model;
use trisect_diagnosis::trial::{Exporting, export};

use crate::SurveyError;
use crate::draw::Population;
use crate::job::replay;
use crate::report::Report;

/// A case and its stream, with the names their files should have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// The case's file name.
    pub name: String,
    /// The case, TOML.
    pub case: String,
    /// The stream's file name and text, if anything was streamed.
    pub stream: Option<(String, String)>,
}

/// Works the worst jobs of a report again, and writes each of them down until the
/// verdict that makes it one of the worst, which is what the case expects. `done` is
/// called with the number of jobs written so far.
///
/// # Errors
/// Suspects that the machine model does not have.
pub fn worst_cases(
    model: &Arc<Model>,
    report: &Report,
    done: &dyn Fn(u64),
) -> Result<Vec<Case>, SurveyError> {
    let population = Population::new(model.rules())?;
    let cases = report.worst.iter().enumerate().map(|(rank, worst)| {
        let told = replay(
            model,
            &population,
            report.seed,
            worst.machine,
            worst.isolation,
        );
        let name = format!("worst-{:02}-machine-{}", rank + 1, worst.machine);
        let stream = format!("{name}.senml.json");
        let truth = match told.drawn.words.as_str() {
            "" => "nothing wrong",
            faults => faults,
        };
        let exported = export(
            model.rules(),
            &Exporting {
                title: &format!("{}: {truth}; {}", worst.because, worst.told()),
                source: &format!(
                    "simulated: survey of {} machines, seed {}, machine {}, {}",
                    report.machines,
                    report.seed,
                    worst.machine,
                    if worst.isolation.is_some() {
                        "until that side was isolated"
                    } else {
                        "to its end"
                    }
                ),
                complaint: told.drawn.complaint,
                events: &told.events,
                verdict: &told.verdict,
                stream: &stream,
            },
        );
        done(rank as u64 + 1);
        Case {
            name: format!("{name}.toml"),
            case: exported.case,
            stream: exported.stream.map(|text| (stream, text)),
        }
    });
    Ok(cases.collect())
}
