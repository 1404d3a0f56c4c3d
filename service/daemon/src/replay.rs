//! A job folded anew from what the journal keeps.

use std::sync::Arc;

use trisect_api::{ErrorKind, WireError};
use trisect_diagnosis::Diagnosis;
use trisect_journal::{Happened, Ids, Job, Journal, Probe};

use crate::bay::{internal, refusal};
use crate::catalog::{Catalog, Entry, compile};

/// Events read in one go.
const PAGE: usize = 10_000;

/// What a job's events come to.
pub(crate) struct Replayed {
    /// The rule set the job was opened with.
    pub(crate) rules: Entry,
    /// The fold, all events taken.
    pub(crate) diagnosis: Diagnosis,
    /// The newest event, and when it was in nanoseconds since the job opened.
    pub(crate) seq: u64,
    pub(crate) newest: i64,
    /// Where the probes are after the last event.
    pub(crate) placed: Vec<Probe>,
}

/// Folds all events of a job, with the rule set it was opened with.
///
/// # Errors
/// When the journal cannot be read, or its events do not fit the rule set.
pub(crate) async fn replay(
    journal: &dyn Journal,
    catalog: &Catalog,
    job: &Job,
) -> Result<Replayed, WireError> {
    replay_until(journal, catalog, job, None).await
}

/// Folds the events of a job up to and with one.
///
/// # Errors
/// As [`replay`].
pub(crate) async fn replay_until(
    journal: &dyn Journal,
    catalog: &Catalog,
    job: &Job,
    until: Option<i64>,
) -> Result<Replayed, WireError> {
    let rules = rule_set(journal, catalog, &job.opened.rule_set).await?;
    let set = Arc::clone(rules.model.rules());
    let complaint = job
        .opened
        .complaint
        .as_deref()
        .and_then(|id| set.complaint_index(id));
    let ids = Ids::new(&set);
    let mut diagnosis = Diagnosis::new(Arc::clone(&rules.model), complaint);
    let (mut seq, mut newest, mut placed) = (0, 0, Vec::new());
    loop {
        let page = journal.events(&job.opened.id, seq, PAGE).await;
        let page = page.map_err(|error| refusal(&error))?;
        let wanted = page
            .iter()
            .take_while(|event| until.is_none_or(|last| event.seq <= last));
        for event in wanted {
            if let Some(event) = ids.event(&event.row).map_err(|error| internal(&error))? {
                diagnosis.push(&event);
            }
            follow(&mut placed, &event.row.what);
            (seq, newest) = (event.seq, event.row.at);
        }
        if page.len() < PAGE || until.is_some_and(|last| seq >= last) {
            return Ok(Replayed {
                rules,
                diagnosis,
                seq: seq.unsigned_abs(),
                newest,
                placed,
            });
        }
    }
}

/// Follows the probes along the timeline. Events that do not say the instrument
/// are of an older service, and place nothing.
fn follow(placed: &mut Vec<Probe>, what: &Happened) {
    let (Happened::Window(probe) | Happened::Lifted(probe)) = what else {
        return;
    };
    placed.retain(|one| (&one.instrument, one.channel) != (&probe.instrument, probe.channel));
    if matches!(what, Happened::Window(_)) && probe.instrument.is_some() {
        placed.push(probe.clone());
    }
}

/// The rule set of a digest: from the catalog, or from the text that was kept.
///
/// # Errors
/// When the journal does not have it or cannot be read.
pub(crate) async fn rule_set(
    journal: &dyn Journal,
    catalog: &Catalog,
    digest: &str,
) -> Result<Entry, WireError> {
    if let Some(known) = catalog.by_digest(digest) {
        return Ok(known.clone());
    }
    let kept = journal
        .rule_set(digest)
        .await
        .map_err(|error| refusal(&error))?;
    let kept = kept.ok_or_else(|| {
        ErrorKind::Storage
            .because(format!("the journal has lost the rule set {digest}"))
            .hint("restore a copy of the journal")
    })?;
    compile(digest, &kept.text).map_err(|error| internal(&error))
}
