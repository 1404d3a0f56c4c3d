//! The worst jobs as cases: what happened, and what was said of it.

use std::sync::Arc;

use trisect_diagnosis::Model;
use trisect_diagnosis::trial::{Exporting, export};

use crate::SurveyError;
use crate::draw::Lot;
use crate::job::tell;
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

/// Works the worst jobs of a report again, and writes them down.
///
/// # Errors
/// Suspects that the machine model does not have.
pub fn worst_cases(model: &Arc<Model>, report: &Report) -> Result<Vec<Case>, SurveyError> {
    let lot = Lot::new(model.rules())?;
    let cases = report.worst.iter().enumerate().map(|(rank, worst)| {
        let told = tell(model, &lot, report.seed, worst.machine);
        let name = format!("worst-{:02}-machine-{}", rank + 1, worst.machine);
        let stream = format!("{name}.senml.json");
        let truth = match told.drawn.words.as_str() {
            "" => "nothing wrong",
            faults => faults,
        };
        let exported = export(
            model.rules(),
            &Exporting {
                title: &format!("{}: {truth}; {}", worst.because, worst.said),
                source: &format!(
                    "simulated: survey of {} machines, seed {}, machine {}",
                    report.machines, report.seed, worst.machine
                ),
                complaint: told.drawn.complaint,
                events: &told.events,
                verdict: &told.verdict,
                stream: &stream,
            },
        );
        Case {
            name: format!("{name}.toml"),
            case: exported.case,
            stream: exported.stream.map(|text| (stream, text)),
        }
    });
    Ok(cases.collect())
}
