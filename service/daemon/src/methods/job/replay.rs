//! `job.replay` and `job.export`.

use std::sync::Arc;

use trisect_diagnosis::trial::{Exported, Exporting, Recording, export};
use trisect_diagnosis::{Event, Model, Verdict};
use trisect_journal::{Ids, Job, StoredVerdict};
use trisect_rules::case;
use trisect_wire::types::{
    self as wire, Difference, JobExported, JobReplayParams, LeftOut, Replay,
};
use trisect_wire::{ErrorKind, WireError};

use crate::computations::Computation;
use crate::context::Context;
use crate::convert::{self, internal, refusal, refused};
use trisect_bay::replay::{events, replay, replay_elsewhere, replay_until, rule_set};

/// Events of a job that is exported.
const MOST_EVENTS: usize = 100_000;
/// Bytes of a case and its stream: a reply has no more than ten mebibytes.
const MOST_BYTES: usize = 8 * 1024 * 1024;

impl Context {
    /// `job.replay`.
    pub(super) async fn replay(&self, params: JobReplayParams) -> Result<Replay, WireError> {
        let _place = self.computations.place(Computation::Replay)?;
        let id = params.job;
        let kept = self.kept_job(&id).await?;
        let recorded = self.journal.verdict(&id).await;
        let recorded = recorded.map_err(|error| refusal(&error))?.ok_or_else(|| {
            ErrorKind::Storage
                .because(format!("no verdict of job {id} was kept"))
                .at("job")
        })?;
        let said = StoredVerdict::from_bytes(&recorded.bytes).map_err(|error| internal(&error))?;
        let format = said.format;
        let said = convert::stored_verdict(said);
        let (verdict, left_out) = self
            .again(&kept, params.ruleset.as_deref(), recorded.seq)
            .await?;
        let replayed = convert::verdict(&verdict);
        Ok(Replay {
            job: id,
            // Held against each other as the one that recorded it would have stored it.
            same: StoredVerdict::from((*verdict).clone())
                .in_format(format)
                .to_bytes()
                == recorded.bytes,
            differences: differences(&said, &replayed),
            recorded: said,
            replayed,
            left_out,
        })
    }

    /// The verdict on a job's events up to one, by its own rule set or another.
    async fn again(
        &self,
        kept: &Job,
        ruleset: Option<&str>,
        until: Option<i64>,
    ) -> Result<(Arc<Verdict>, Vec<LeftOut>), WireError> {
        let Some(name) = ruleset else {
            let mut replayed = replay_until(&*self.journal, &self.catalog, kept, until)
                .await
                .map_err(refused)?;
            return Ok((replayed.diagnosis.verdict(), Vec::new()));
        };
        let rules = match self.rules(name) {
            Ok(rules) => rules,
            // It may be one that only old jobs used.
            Err(unknown) => rule_set(&*self.journal, &self.catalog, name)
                .await
                .map_err(|_| unknown)?,
        };
        let mut there = replay_elsewhere(&*self.journal, &rules, kept, until)
            .await
            .map_err(refused)?;
        let left_out = there.left_out.into_iter().map(|out| LeftOut {
            what: out.what.to_owned(),
            id: out.id,
            events: out.events,
        });
        Ok((there.diagnosis.verdict(), left_out.collect()))
    }

    /// `job.export`.
    pub(super) async fn export(&self, id: &str) -> Result<JobExported, WireError> {
        let place = self.computations.place(Computation::Export)?;
        let kept = self.kept_job(id).await?;
        let rules = rule_set(&*self.journal, &self.catalog, &kept.opened.rule_set)
            .await
            .map_err(refused)?;
        let stored = events(&*self.journal, &kept, None, MOST_EVENTS)
            .await
            .map_err(refused)?;
        if stored.len() > MOST_EVENTS {
            return Err(too_large(format!(
                "job {id} has more than {MOST_EVENTS} events"
            )));
        }
        let ids = Ids::new(rules.model.rules());
        let happened = stored.iter().filter_map(|e| ids.event(&e.row).transpose());
        let happened: Result<Vec<Event>, _> = happened.collect();
        let happened = happened.map_err(|error| internal(&error))?;
        let verdict = replay(&*self.journal, &self.catalog, &kept)
            .await
            .map_err(refused)?
            .diagnosis
            .verdict();
        let (model, id) = (Arc::clone(&rules.model), id.to_owned());
        let write = move || written(&model, &id, &kept, &happened, &verdict);
        self.computations.run(place, move |_| write()).await?
    }
}

fn too_large(why: String) -> WireError {
    ErrorKind::TooLarge
        .because(why)
        .at("job")
        .hint("export a shorter job, or copy the journal")
}

fn written(
    model: &Arc<Model>,
    id: &str,
    kept: &Job,
    events: &[Event],
    verdict: &Verdict,
) -> Result<JobExported, WireError> {
    let rules = model.rules();
    let complaint = kept.opened.complaint.as_deref();
    let stream_name = format!("{id}.senml.json");
    let source = format!(
        "job {id} in {}, opened {}",
        kept.opened.bay, kept.opened.opened_at
    );
    let source = match &kept.confirmed[..] {
        [] => source,
        confirmed => format!("{source}; found in the end: {}", confirmed.join(", ")),
    };
    let job = Exporting {
        title: &kept.opened.machine,
        source: &source,
        complaint: complaint.and_then(|id| rules.complaint_index(id)),
        events,
        verdict,
        stream: &stream_name,
    };
    let Exported { case, stream } = export(rules, &job);
    if case.len() + stream.as_ref().map_or(0, String::len) > MOST_BYTES {
        return Err(too_large(format!(
            "the case of job {id} has more than {MOST_BYTES} bytes"
        )));
    }
    let same = tried(model, &case, stream.as_deref()).as_deref() == Some(&verdict.to_bytes()[..]);
    Ok(JobExported {
        job: id.to_owned(),
        case,
        stream,
        stream_name,
        same,
    })
}

/// The verdict that trying a case comes to; `None` if it cannot be tried.
fn tried(model: &Arc<Model>, text: &str, stream: Option<&str>) -> Option<Vec<u8>> {
    let recording = Recording::of(&case::parse(text).ok()?, model.rules()).ok()?;
    let recording = match stream {
        Some(stream) => recording.with_stream(stream, model.rules()).ok()?,
        None => recording,
    };
    Some(recording.verdict(model).to_bytes())
}

/// What of a verdict came out otherwise, but for the advice.
fn differences(recorded: &wire::Verdict, replayed: &wire::Verdict) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut compare = |what: String, expected: String, now: String| {
        if expected != now {
            found.push(Difference {
                what,
                expected,
                found: now,
            });
        }
    };
    let none = || "none".to_owned();
    let side = |v: &wire::Verdict| v.side.map_or_else(none, |side| side.to_string());
    let also = |v: &wire::Verdict| {
        let sides: Vec<String> = v.also.iter().map(ToString::to_string).collect();
        if sides.is_empty() {
            none()
        } else {
            sides.join(", ")
        }
    };
    let top = |v: &wire::Verdict| v.suspects.first().map_or_else(none, |s| s.id.clone());
    let named = |v: &wire::Verdict| v.named.clone().unwrap_or_else(none);
    let standing = |v: &wire::Verdict| v.standing.to_string();
    type Told<'a> = &'a dyn Fn(&wire::Verdict) -> String;
    let plain: [(&str, Told<'_>); 5] = [
        ("standing", &standing),
        ("side", &side),
        ("also", &also),
        ("top_suspect", &top),
        ("named", &named),
    ];
    for (what, told) in plain {
        compare(what.to_owned(), told(recorded), told(replayed));
    }
    for side in wire::Side::ALL {
        // To a tenth of a per cent: less is no difference to anybody.
        let belief = |v: &wire::Verdict| format!("{:.3}", v.sides.of(*side));
        compare(format!("belief.{side}"), belief(recorded), belief(replayed));
    }
    let checks = recorded
        .evidence
        .iter()
        .chain(&replayed.evidence)
        .map(|e| &e.check);
    let mut seen: Vec<&String> = Vec::new();
    for check in checks {
        if seen.contains(&check) {
            continue;
        }
        seen.push(check);
        let outcome = |v: &wire::Verdict| {
            let piece = v.evidence.iter().find(|e| e.check == *check);
            piece.map_or_else(none, |e| e.outcome.to_string())
        };
        compare(
            format!("outcomes.{check}"),
            outcome(recorded),
            outcome(replayed),
        );
    }
    found
}
