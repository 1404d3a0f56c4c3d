//! `trisect job …`.

use crate::args::{Job, JobAnswer, JobClose, JobList, JobOpen};
use crate::exit::{CliError, Ending};
use crate::io::{Io, plain};
use crate::server::{Server, call};
use crate::show;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::Path;
use trisect_wire::{table, types as wire};

/// Carries out one of the job commands.
///
/// # Errors
/// That the service refused or could not be reached, or the answer could not be written.
pub fn job(server: &Server, json: bool, what: Job, io: &mut Io<'_>) -> Result<Ending, CliError> {
    match what {
        Job::Open(open) => {
            let job = call::<table::JobOpen>(server, &open.into())?;
            tell(json, &job, show::opened, io)
        }
        Job::List(list) => {
            let jobs = call::<table::JobList>(server, &list.into())?;
            tell(json, &jobs, listed, io)
        }
        Job::Show { job } => {
            let detail = whole(server, job)?;
            tell(json, &detail, show::job_detail, io)
        }
        Job::Answer(answer) => {
            let verdict = call::<table::JobAnswer>(server, &answer.into())?;
            tell(
                json,
                &verdict,
                |verdict| show::verdict(&verdict.verdict),
                io,
            )
        }
        Job::Close(close) => {
            let job = call::<table::JobClose>(server, &close.into())?;
            tell(json, &job, show::job, io)
        }
        Job::Replay { job, ruleset } => {
            let replay = call::<table::JobReplay>(server, &wire::JobReplayParams { job, ruleset })?;
            tell(json, &replay, replayed, io)
        }
        Job::Verify { job, digest } => {
            let verified = call::<table::JobVerify>(server, &wire::JobName { job })?;
            let same = digest
                .as_ref()
                .is_none_or(|noted| noted.eq_ignore_ascii_case(&verified.digest));
            tell(
                json,
                &verified,
                |verified| told(verified, digest.as_deref()),
                io,
            )?;
            Ok(if verified.sound && same {
                Ending::AsWished
            } else {
                Ending::FellShort
            })
        }
        Job::Export { job, output } => {
            let exported = call::<table::JobExport>(server, &wire::JobName { job })?;
            let written = write(&exported, &output)?;
            tell(json, &exported, |_| written, io)
        }
    }
}

/// A job with all of its answers, which the service tells a page at a time.
fn whole(server: &Server, job: String) -> Result<wire::JobDetail, CliError> {
    let mut params = wire::JobShowParams::of(job);
    let mut detail = call::<table::JobShow>(server, &params)?;
    while detail.more
        && let Some(last) = detail.answers.last()
    {
        params.after_seq = Some(last.seq);
        let next = call::<table::JobShow>(server, &params)?;
        detail.more = next.more && !next.answers.is_empty();
        detail.answers.extend(next.answers);
    }
    Ok(detail)
}

fn listed(page: &wire::Jobs) -> String {
    let mut text = show::jobs(&page.jobs);
    for job in &page.unreadable {
        text += &format!("left out: {job} cannot be read; trisect job verify {job}\n");
    }
    if let Some(next) = &page.next {
        text += &format!("there are older ones: --before {next}\n");
    }
    text
}

fn told(verified: &wire::JobVerified, noted: Option<&str>) -> String {
    let mut text = format!("job {}: {} events\n", verified.job, verified.events);
    for finding in &verified.findings {
        text += &format!("altered: {finding}\n");
    }
    if let Some(after) = verified.chained_after {
        text += &format!(
            "events up to number {after} are older than the chain: alterations before it was begun do not show\n"
        );
    }
    text += &match noted {
        Some(noted) if !noted.eq_ignore_ascii_case(&verified.digest) => {
            format!(
                "altered: the digest is {}, not the one that was noted\n",
                verified.digest
            )
        }
        _ => format!("digest {}\n", verified.digest),
    };
    if verified.sound {
        text += "as it was stored\n";
    }
    text
}

fn replayed(replay: &wire::Replay) -> String {
    let mut text = String::new();
    for left in &replay.left_out {
        text += &format!(
            "left out: {} events about the {} `{}`, which the rule set does not have\n",
            left.events, left.what, left.id
        );
    }
    let differences: Vec<_> = replay
        .differences
        .iter()
        .map(|d| [d.what.clone(), d.expected.clone(), d.found.clone()])
        .collect();
    let set = &replay.replayed.ruleset;
    text += &match (replay.same, differences.is_empty()) {
        (true, _) => "the same verdict, byte for byte\n".to_owned(),
        (false, true) => format!(
            "by {} {} nothing that matters would have been said differently\n",
            set.id, set.version
        ),
        (false, false) => format!(
            "by {} {} would have been said differently:\n",
            set.id, set.version
        ),
    };
    text += &show::columns(["", "recorded", "replayed"], &differences);
    text + &show::verdict(&replay.replayed)
}

/// Writes the case and its stream; what to tell about it.
fn write(exported: &wire::JobExported, directory: &Path) -> Result<String, CliError> {
    let case = directory.join(format!("{}.toml", exported.job));
    let mut files = vec![(case, &exported.case)];
    if let Some(stream) = &exported.stream {
        // The service names it, but where it goes is decided here.
        let name = Path::new(&exported.stream_name)
            .file_name()
            .unwrap_or_default();
        files.push((directory.join(name), stream));
    }
    let mut text = String::new();
    for (path, content) in files {
        std::fs::write(&path, content).map_err(|source| CliError::File {
            what: "write",
            path: path.display().to_string(),
            source,
        })?;
        text += &format!("wrote {}\n", path.display());
    }
    if !exported.same {
        text += "tried, it does not give the job's verdict: readings reached the job in another order than that of their times\n";
    }
    Ok(text)
}

/// Writes an answer for programs as it is, or for people as a text that is made of [`plain`] fields.
pub fn tell<T: Serialize + DeserializeOwned>(
    json: bool,
    answer: &T,
    text: impl FnOnce(&T) -> String,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    if json {
        io.json(answer)?;
    } else {
        io.say(&text(&plain(answer)?))?;
    }
    Ok(Ending::AsWished)
}

impl From<JobOpen> for wire::JobOpenParams {
    fn from(open: JobOpen) -> Self {
        let JobOpen {
            bay,
            machine,
            complaint,
            ruleset,
            by,
        } = open;
        Self {
            bay,
            machine,
            complaint,
            ruleset,
            by,
        }
    }
}

impl From<JobList> for wire::JobListParams {
    fn from(list: JobList) -> Self {
        let JobList {
            bay,
            state,
            before,
            limit,
        } = list;
        Self {
            bay,
            state,
            before,
            limit,
        }
    }
}

impl From<JobAnswer> for wire::JobAnswerParams {
    fn from(answer: JobAnswer) -> Self {
        let JobAnswer {
            job,
            check,
            answer,
            by,
        } = answer;
        Self {
            job,
            check,
            answer,
            by,
        }
    }
}

impl From<JobClose> for wire::JobCloseParams {
    fn from(close: JobClose) -> Self {
        let JobClose {
            job,
            confirmed,
            note,
        } = close;
        // Nothing confirmed means that it is not known what it was, not that it was nothing.
        Self {
            job,
            confirmed: (!confirmed.is_empty()).then_some(confirmed),
            note,
        }
    }
}
