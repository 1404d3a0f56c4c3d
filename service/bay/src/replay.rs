//! A job folded anew from what the journal keeps.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use trisect_diagnosis::Diagnosis;
use trisect_journal::{Happened, Ids, Job, Journal, Probe, StoredEvent, UnknownId};

use crate::catalog::{Catalog, Entry, Origin, compile};
use crate::record::{internal, refusal};

/// Events read in one go: a few milliseconds of a thread, after which others have their turn.
const PAGE: usize = 1000;

/// What a job's events come to.
pub struct Replayed {
    /// The rule set the job was opened with.
    pub rules: Entry,
    /// The fold, all events taken.
    pub diagnosis: Diagnosis,
    /// The newest event.
    pub seq: u64,
    /// The latest time of any event, in nanoseconds since the job opened.
    pub newest: i64,
    /// Where the probes are after the last event.
    pub placed: Vec<Probe>,
}

/// Folds all events of a job, with the rule set it was opened with.
///
/// # Errors
/// When the journal cannot be read, or its events do not fit the rule set.
pub async fn replay(
    journal: &dyn Journal,
    catalog: &Catalog,
    job: &Job,
) -> Result<Replayed, BayError> {
    replay_until(journal, catalog, job, None).await
}

/// Folds the events of a job up to and with one.
///
/// # Errors
/// As [`replay`].
pub async fn replay_until(
    journal: &dyn Journal,
    catalog: &Catalog,
    job: &Job,
    until: Option<i64>,
) -> Result<Replayed, BayError> {
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
            (seq, newest) = (event.seq, newest.max(event.row.at));
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
    // A channel is in one place: an older service may not have said that it was lifted before.
    placed.retain(|one| (&one.instrument, one.channel) != (&probe.instrument, probe.channel));
    if matches!(what, Happened::Window(_)) && probe.instrument.is_some() {
        placed.push(probe.clone());
    }
}

/// Events that another rule set has no place for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// What it does not have: `point`, `check`, `answer` or `complaint`.
    pub what: &'static str,
    /// Its id.
    pub id: String,
    /// How many events were left out for it.
    pub events: u64,
}

/// What a job's events come to by another rule set.
pub struct Elsewhere {
    /// The fold, all events taken.
    pub diagnosis: Diagnosis,
    /// What the rule set has no place for.
    pub left_out: Vec<LeftOut>,
}

/// Folds the events of a job, up to and with one, with another rule set. What that
/// does not have is left out, and counted.
///
/// # Errors
/// When the journal cannot be read.
pub async fn replay_elsewhere(
    journal: &dyn Journal,
    rules: &Entry,
    job: &Job,
    until: Option<i64>,
) -> Result<Elsewhere, BayError> {
    let set = Arc::clone(rules.model.rules());
    let mut left_out: BTreeMap<(&'static str, String), u64> = BTreeMap::new();
    let mut complaint = None;
    if let Some(id) = &job.opened.complaint {
        complaint = set.complaint_index(id);
        if complaint.is_none() {
            left_out.insert(("complaint", id.clone()), 1);
        }
    }
    let ids = Ids::new(&set);
    let mut diagnosis = Diagnosis::new(Arc::clone(&rules.model), complaint);
    for event in events(journal, job, until, usize::MAX).await? {
        match ids.event(&event.row) {
            Ok(Some(event)) => diagnosis.push(&event),
            // Nothing that a diagnosis weighs.
            Ok(None) => {}
            Err(UnknownId { what, id, .. }) => *left_out.entry((what, id)).or_default() += 1,
        }
    }
    let left_out = left_out
        .into_iter()
        .map(|((what, id), events)| LeftOut { what, id, events });
    Ok(Elsewhere {
        diagnosis,
        left_out: left_out.collect(),
    })
}

/// The events of a job, up to and with one, at most so many and a page more.
///
/// # Errors
/// When the journal cannot be read.
pub async fn events(
    journal: &dyn Journal,
    job: &Job,
    until: Option<i64>,
    most: usize,
) -> Result<Vec<StoredEvent>, BayError> {
    let (mut found, mut after) = (Vec::new(), 0);
    loop {
        let page = journal.events(&job.opened.id, after, PAGE).await;
        let page = page.map_err(|error| refusal(&error))?;
        let last = page.len() < PAGE;
        after = page.last().map_or(after, |event| event.seq);
        let wanted = |event: &StoredEvent| until.is_none_or(|last| event.seq <= last);
        found.extend(page.into_iter().filter(wanted));
        if last || found.len() > most || until.is_some_and(|until| after >= until) {
            return Ok(found);
        }
    }
}

/// The rule set of a digest: from the catalog, or from the text that was kept.
///
/// # Errors
/// When the journal does not have it or cannot be read.
pub async fn rule_set(
    journal: &dyn Journal,
    catalog: &Catalog,
    digest: &str,
) -> Result<Entry, BayError> {
    if let Some(known) = catalog.by_digest(digest) {
        return Ok(known);
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
    let entry = compile(digest, &kept.text, Origin::File).map_err(|error| internal(&error))?;
    // Whoever altered the text would say what comes of every job that rests on it.
    if entry.model.rules().digest != digest {
        return Err(ErrorKind::Storage
            .because(format!(
                "the text of the rule set {digest} was altered in the journal"
            ))
            .hint("restore a copy of the journal; job.verify names what was altered"));
    }
    Ok(entry)
}
