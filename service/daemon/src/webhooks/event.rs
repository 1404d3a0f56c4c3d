//! News as a CloudEvent 1.0 in structured mode (JSON).

use serde::Serialize;
use serde_json::Value;
use trisect_api::wire;
use trisect_journal::{self as journal, Content, Letter};

/// The content type of structured mode.
pub(super) const CONTENT_TYPE: &str = "application/cloudevents+json; charset=UTF-8";

#[derive(Serialize)]
struct CloudEvent<'a> {
    specversion: &'a str,
    id: String,
    source: &'a str,
    r#type: String,
    subject: &'a str,
    time: &'a str,
    datacontenttype: &'a str,
    data: Value,
}

/// The type of a letter's event.
pub(crate) fn kind(letter: &Letter) -> String {
    format!("trisect.{}.{}", letter.noun, letter.verb)
}

/// The id of a letter's event, which is that of its message too.
pub(crate) fn id(letter: &Letter) -> String {
    format!("msg_{}", letter.id)
}

/// The body of a letter: of one letter always the same bytes.
///
/// # Errors
/// A content that is not JSON, which means that the journal is damaged.
pub(super) fn body(
    letter: &Letter,
    content: &Content,
    source: &str,
) -> Result<Vec<u8>, serde_json::Error> {
    serde_json::to_vec(&CloudEvent {
        specversion: "1.0",
        id: id(letter),
        source,
        r#type: kind(letter),
        subject: &letter.lane,
        time: &letter.posted,
        datacontenttype: "application/json",
        data: data(letter, content)?,
    })
}

fn data(letter: &Letter, content: &Content) -> Result<Value, serde_json::Error> {
    match content {
        Content::Instrument(text) => serde_json::from_str(text),
        Content::Job { job, rule_set } => serde_json::to_value(shown(letter, job, rule_set)),
        Content::Verdict {
            job,
            bay,
            seq,
            wall,
            bytes,
        } => {
            let wall = wall.and_then(|wall| jiff::Timestamp::from_microsecond(wall).ok());
            serde_json::to_value(wire::JobVerdict {
                job: job.clone(),
                bay: bay.clone(),
                seq: seq.unsigned_abs(),
                // Before the first event: when it was said.
                time: wire::Time(
                    wall.map_or_else(|| letter.posted.clone(), |wall| wall.to_string()),
                ),
                verdict: serde_json::from_slice(bytes)?,
            })
        }
    }
}

/// A job as it was when it happened: one that was opened is open, even if it has been closed since.
fn shown(letter: &Letter, kept: &journal::Job, (id, version): &(String, String)) -> wire::Job {
    let closed = kept.closed_at.as_ref().filter(|_| letter.verb == "closed");
    let when_closed = |is: bool| is && closed.is_some();
    wire::Job {
        job: kept.opened.id.clone(),
        bay: kept.opened.bay.clone(),
        machine: kept.opened.machine.clone(),
        state: if closed.is_some() {
            wire::JobState::Closed
        } else {
            wire::JobState::Open
        },
        complaint: kept.opened.complaint.clone(),
        ruleset: wire::RulesetDigest {
            id: id.clone(),
            version: version.clone(),
            digest: kept.opened.rule_set.clone(),
        },
        by: kept.opened.opened_by.clone(),
        opened: wire::Time(kept.opened.opened_at.clone()),
        closed: closed.cloned().map(wire::Time),
        confirmed: when_closed(!kept.confirmed.is_empty()).then(|| kept.confirmed.clone()),
        note: kept.note.clone().filter(|_| closed.is_some()),
    }
}
