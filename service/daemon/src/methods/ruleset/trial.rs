//! `ruleset.trial`.

use std::sync::Arc;

use trisect_diagnosis::trial::{Recording, coverage, differences, sensitivity};
use trisect_diagnosis::{Model, Verdict};
use trisect_rules::{Defect, case};
use trisect_wire::types::{CaseText, CaseTried, RulesetTrialParams, RulesetTried};
use trisect_wire::{ErrorKind, WireError};

use super::{install, not_too_long};
use crate::computations::{Computation, Going};
use crate::context::Context;
use crate::convert;
use crate::convert::internal;
use trisect_bay::catalog::{CatalogError, Origin, compile};

/// Cases of one trial.
const MOST_CASES: usize = 200;
/// Bytes of all of them together, their streams included; a request has no more either.
const MOST_BYTES: usize = 4 * 1024 * 1024;

pub(super) async fn trial(
    context: &Context,
    params: RulesetTrialParams,
) -> Result<RulesetTried, WireError> {
    bounded(&params.cases)?;
    let place = context.computations.place(Computation::Trial)?;
    let known = known(context, &params)?;
    let work = move |going: &Going| {
        let model = match known {
            Some(model) => model,
            None => compiled(params.text.as_deref().unwrap_or_default())?,
        };
        run_all(&model, &params.cases, params.sensitivity, going)
    };
    context.computations.run(place, work).await?
}

fn bounded(cases: &[CaseText]) -> Result<(), WireError> {
    let refused = |why: String| {
        Err(ErrorKind::TooLarge
            .because(why)
            .at("cases")
            .hint("try fewer at a time, or with `trisect ruleset trial`, which needs no service"))
    };
    if cases.len() > MOST_CASES {
        return refused(format!("{} cases are more than {MOST_CASES}", cases.len()));
    }
    let bytes = |case: &CaseText| case.text.len() + case.stream.as_ref().map_or(0, String::len);
    let all: usize = cases.iter().map(bytes).sum();
    if all > MOST_BYTES {
        return refused(format!("cases of {all} bytes are more than {MOST_BYTES}"));
    }
    Ok(())
}

/// The rule set that is named, if it is named and not sent as a text.
fn known(context: &Context, params: &RulesetTrialParams) -> Result<Option<Arc<Model>>, WireError> {
    match (&params.ruleset, &params.text) {
        (Some(name), None) => Ok(Some(context.rules(name)?.model)),
        (None, Some(text)) => {
            not_too_long(text)?;
            Ok(None)
        }
        _ => Err(ErrorKind::InvalidParams
            .because("a trial is on one rule set: give either `ruleset` or `text`")
            .at("ruleset")
            .hint("`ruleset` is an id or a digest, `text` a rule set as TOML")),
    }
}

fn compiled(text: &str) -> Result<Arc<Model>, WireError> {
    let compiled = compile("text", text, Origin::File).map(|entry| entry.model);
    compiled.map_err(|error| match error {
        CatalogError::Defects { defects, .. } => install::refused(&defects),
        other => internal(&other),
    })
}

/// A case that was run, with what came of it.
struct CaseRun {
    recording: Recording,
    verdict: Arc<Verdict>,
    tried: CaseTried,
}

fn run_all(
    model: &Arc<Model>,
    cases: &[CaseText],
    slack: bool,
    going: &Going,
) -> Result<RulesetTried, WireError> {
    let runs = cases
        .iter()
        .enumerate()
        .map(|(place, case)| match going.on() {
            true => run(model, case, place),
            false => Err(out_of_time()),
        });
    let runs: Vec<CaseRun> = runs.collect::<Result<_, _>>()?;
    let reached: Vec<_> = runs
        .iter()
        .map(|run| (&run.recording, run.verdict.as_ref()))
        .collect();
    let rules = model.rules();
    let covered = coverage(rules, &reached);
    let recordings: Vec<&Recording> = runs.iter().map(|run| &run.recording).collect();
    let unnoticed = if slack {
        sensitivity(rules, &recordings, &|| going.on())
    } else {
        Vec::new()
    };
    if !going.on() {
        return Err(out_of_time());
    }
    Ok(RulesetTried {
        ok: runs.iter().all(|run| run.tried.ok),
        ruleset: convert::digest(rules),
        coverage: convert::coverage(covered),
        sensitivity: unnoticed.into_iter().map(convert::slack).collect(),
        cases: runs.into_iter().map(|run| run.tried).collect(),
    })
}

fn run(model: &Arc<Model>, text: &CaseText, place: usize) -> Result<CaseRun, WireError> {
    let defective = |defects: Vec<Defect>| {
        let count = defects.len();
        refused(
            &text.name,
            format!("has {count} defects"),
            &format!("cases[{place}].text"),
        )
        .listing(convert::defects(&defects))
    };
    let parsed = case::parse(&text.text).map_err(defective)?;
    let rules = model.rules();
    let mut recording = Recording::of(&parsed, rules).map_err(defective)?;
    match (&parsed.stream, &text.stream) {
        (_, Some(stream)) => {
            recording = recording.with_stream(stream, rules).map_err(|error| {
                refused(
                    &text.name,
                    error.to_string(),
                    &format!("cases[{place}].stream"),
                )
            })?;
        }
        (Some(name), None) => {
            let why = format!("names the stream `{name}`, which was not sent");
            return Err(refused(&text.name, why, &format!("cases[{place}].stream")));
        }
        (None, None) => {}
    }
    let verdict = recording.verdict(model);
    let differences = differences(&recording.expect, &verdict);
    let tried = CaseTried {
        name: text.name.clone(),
        title: parsed.title,
        ok: differences.is_empty(),
        differences: differences.into_iter().map(convert::difference).collect(),
        verdict: convert::verdict(&verdict),
    };
    Ok(CaseRun {
        recording,
        verdict,
        tried,
    })
}

fn out_of_time() -> WireError {
    ErrorKind::TooLarge
        .because("the trial takes longer than `[limits] compute_within`")
        .at("cases")
        .hint("try fewer at a time, or with `trisect ruleset trial`, which needs no service")
}

fn refused(name: &str, why: String, field: &str) -> WireError {
    ErrorKind::DefectiveCase
        .because(format!("{name}: {why}"))
        .at(field)
        .hint("mend it; no case was run")
}
