//! Jobs, readings and verdicts as text for people.

use std::fmt::Write;
use trisect_wire::types::{
    Bay, Beyond, Counters, Evidence, Instrument, Job, JobDetail, Missing, NextTest, Outcome,
    Reading, Side, Standing, Verdict,
};

/// Evidence that moves no side by as much is left out of a summary, in decibans.
const NOTHING: f64 = 0.05;
/// So many suspects and tests are shown.
const SHOWN: usize = 5;

/// A job in one line.
pub fn job(job: &Job) -> String {
    let complaint = job.complaint.as_deref().unwrap_or("no complaint");
    let mut line = format!(
        "{}  {}  {}  {}  {complaint}  opened {}",
        job.job, job.state, job.bay, job.machine, job.opened
    );
    if let Some(closed) = &job.closed {
        let _ = write!(line, "  closed {closed}");
    }
    if let Some(confirmed) = &job.confirmed {
        let _ = write!(line, "  confirmed: {}", list(confirmed));
    }
    line + "\n"
}

/// A job that was just opened, and what to do with it.
pub fn opened(opened: &Job) -> String {
    format!(
        "{}rule set {} {}\nfollow it with: trisect watch --bay {}\n",
        job(opened),
        opened.ruleset.id,
        opened.ruleset.version,
        opened.bay
    )
}

/// Jobs, one a line.
pub fn jobs(jobs: &[Job]) -> String {
    match jobs {
        [] => "no jobs\n".to_owned(),
        jobs => jobs.iter().map(job).collect(),
    }
}

/// A job with its answers and verdict.
pub fn job_detail(detail: &JobDetail) -> String {
    let mut text = job(&detail.job);
    let _ = writeln!(text, "{} readings", detail.readings);
    for given in &detail.answers {
        let by = given
            .by
            .as_deref()
            .map(|by| format!(" ({by})"))
            .unwrap_or_default();
        let _ = writeln!(text, "answered {}: {}{by}", given.check, given.answer);
    }
    if let Some(note) = &detail.job.note {
        let _ = writeln!(text, "note: {note}");
    }
    text + &verdict(&detail.verdict)
}

/// A reading in one line.
pub fn reading(reading: &Reading) -> String {
    let from = match (&reading.instrument, &reading.by) {
        (Some(instrument), Some(by)) => format!("{instrument}, {by}"),
        (Some(one), None) | (None, Some(one)) => one.clone(),
        (None, None) => "submitted".to_owned(),
    };
    let flags = if reading.flags.is_empty() {
        String::new()
    } else {
        format!("  [{}]", reading.flags.join(" "))
    };
    let before = if reading.repeated {
        "  stored before under this key"
    } else {
        ""
    };
    format!(
        "{}  {}  {}  {}  ({from}){flags}{before}\n",
        reading.time,
        reading.bay,
        reading.point,
        value(
            reading.value,
            reading.beyond,
            &reading.unit,
            Some(reading.uncertainty)
        ),
    )
}

/// A verdict: its standing, the sides, and what carries it, is missing and comes next.
pub fn verdict(verdict: &Verdict) -> String {
    let mut text = standing(verdict) + "\n";
    let sides = Side::ALL
        .iter()
        .map(|side| format!("{side} {}", percent(*verdict.sides.of(*side))));
    let _ = writeln!(text, "  sides     {}", sides.collect::<Vec<_>>().join("  "));
    let suspects = verdict.suspects.iter().take(SHOWN);
    let suspects = suspects.map(|s| format!("{} {}", s.id, percent(s.probability)));
    let _ = writeln!(
        text,
        "  suspects  {}",
        suspects.collect::<Vec<_>>().join("  ")
    );
    for piece in verdict.evidence.iter().filter(|piece| tells(piece)) {
        text.push_str(&evidence(piece));
    }
    for lacking in &verdict.missing {
        text.push_str(&missing(lacking));
    }
    for test in verdict.next.iter().take(SHOWN) {
        text.push_str(&next(test));
    }
    text
}

/// Rows under their heads, in columns; nothing without rows.
pub fn columns<const N: usize>(heads: [&str; N], rows: &[[String; N]]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let heads = heads.map(str::to_owned);
    let all = || std::iter::once(&heads).chain(rows);
    let widths: [usize; N] = std::array::from_fn(|column| {
        all()
            .map(|row| row[column].chars().count())
            .max()
            .unwrap_or(0)
    });
    let line = |row: &[String; N]| {
        let cells = row.iter().zip(widths);
        let cells: Vec<String> = cells
            .map(|(cell, width)| format!("{cell:<width$}"))
            .collect();
        format!("    {}\n", cells.join("  ").trim_end())
    };
    all().map(line).collect()
}

/// An instrument with its channels, and where their probes are.
pub fn instrument(one: &Instrument) -> String {
    let Counters {
        samples,
        bad_frames,
        skipped_bytes,
        ..
    } = one.counters;
    let mut text = format!(
        "{}  {}  {}  {} since {}  {samples} samples, {bad_frames} bad frames, {skipped_bytes} bytes skipped\n",
        one.bay, one.instrument, one.adapter, one.state, one.since
    );
    if let Some(note) = &one.note {
        let _ = writeln!(text, "  note: {note}");
    }
    for channel in &one.channels {
        let at = channel.point.as_deref().unwrap_or("nowhere");
        let _ = writeln!(
            text,
            "  channel {} ({}): at {at}",
            channel.channel, channel.title
        );
    }
    text
}

/// A bay: its phase, drive and job.
pub fn bay(bay: &Bay) -> String {
    let phase = bay.phase.map_or("no job", |phase| phase.word());
    let drive = bay
        .drive
        .map_or(String::new(), |drive| format!("  on {drive}"));
    format!("{}  {phase}{drive}\n", bay.bay)
}

/// A verdict of the diagnosis as it travels; `None` only if the two crates disagree, which a test excludes.
pub fn wire_verdict(verdict: &trisect_diagnosis::Verdict) -> Option<Verdict> {
    serde_json::from_slice(&verdict.to_bytes()).ok()
}

/// The standing with the side it names: `isolated: supply (lift-pump-weak)`.
pub fn standing(verdict: &Verdict) -> String {
    let mut text = verdict.standing.to_string();
    if let Some(side) = verdict.side {
        let _ = write!(text, ": {side} {}", percent(*verdict.sides.of(side)));
    }
    if let Some(named) = &verdict.named {
        let _ = write!(text, " ({named})");
    }
    if !verdict.also.is_empty() {
        let also: Vec<&str> = verdict.also.iter().map(|side| side.word()).collect();
        let _ = write!(text, ", not cleared: {}", also.join(", "));
    }
    if verdict.standing == Standing::Leaning {
        text.push_str(", not proven");
    }
    text
}

fn tells(piece: &Evidence) -> bool {
    piece.outcome != Outcome::Void
        || piece.reason.is_some()
        || Side::ALL.iter().any(|side| {
            piece
                .decibans
                .of(*side)
                .is_none_or(|weight| weight.abs() > NOTHING)
        })
}

fn evidence(piece: &Evidence) -> String {
    let mut line = format!("  {:<9} {}", piece.outcome, piece.check);
    if let (Some(number), Some(unit)) = (piece.value, &piece.unit) {
        let _ = write!(
            line,
            ": {}",
            value(number, piece.bound, unit, piece.uncertainty)
        );
    }
    if let Some(limit) = &piece.limit {
        let _ = write!(line, ", limit {limit}");
    }
    if let Some(conformance) = piece.conformance {
        let _ = write!(line, ", conforms {}", percent(conformance));
    }
    if let Some(strongest) = &piece.line {
        let _ = write!(line, ", strongest at {} Hz", short(strongest.frequency, 3));
    }
    if let Some(answer) = &piece.answer {
        let _ = write!(line, ": {answer}");
    }
    if let Some(reason) = &piece.reason {
        let _ = write!(line, "; {reason}");
    }
    let weights: Vec<String> = Side::ALL
        .iter()
        .filter_map(|side| match piece.decibans.of(*side) {
            Some(weight) if weight.abs() <= NOTHING => None,
            Some(weight) => Some(format!("{side} {weight:+.1}")),
            None => Some(format!("{side} decisive")),
        })
        .collect();
    if !weights.is_empty() {
        let _ = write!(line, "  [dB {}]", weights.join(" "));
    }
    line + "\n"
}

fn missing(lacking: &Missing) -> String {
    let lists = [
        ("passed", &lacking.passed),
        ("one passed of", &lacking.any_passed),
        ("failed", &lacking.failed),
        ("one failed of", &lacking.any_failed),
        ("one measured and failed of", &lacking.measured_failed),
    ];
    let wants = lists.iter().filter(|(_, checks)| !checks.is_empty());
    let wants: Vec<String> = wants
        .map(|(what, checks)| format!("{what} {}", list(checks)))
        .collect();
    let of = match &lacking.suspect {
        Some(suspect) => format!("{} ({suspect})", lacking.side),
        None => lacking.side.to_string(),
    };
    let because = lacking
        .because
        .as_deref()
        .map(|b| format!(": {b}"))
        .unwrap_or_default();
    format!("  unproven  {of} needs {}{because}\n", wants.join("; "))
}

fn next(test: &NextTest) -> String {
    let mut line = format!(
        "  next      {} ({}), {} min, {:.3} bit",
        test.check, test.title, test.minutes, test.bits
    );
    if !test.first.is_empty() {
        let _ = write!(line, ", after {}", list(&test.first));
    }
    if test.completes_proof {
        line.push_str(", completes a proof");
    } else if test.advances_proof {
        line.push_str(", needed for a proof");
    }
    if !test.cautions.is_empty() {
        let _ = write!(line, "; caution: {}", list(&test.cautions));
    }
    line + "\n"
}

/// A value with its standard uncertainty: `3.1 psi (u 0.2)`, `above 40000000 Ohm`.
fn value(value: f64, beyond: Option<Beyond>, unit: &str, uncertainty: Option<f64>) -> String {
    let beyond = beyond.map(|side| format!("{side} ")).unwrap_or_default();
    let uncertainty = match uncertainty {
        Some(u) if u > 0.0 => format!(" (u {})", short(u, 2)),
        _ => String::new(),
    };
    let unit = trisect_measure::after_number(unit);
    format!("{beyond}{}{unit}{uncertainty}", short(value, 5))
}

/// A number to so many significant digits, without needless zeros.
fn short(value: f64, digits: usize) -> f64 {
    trisect_measure::significant(value, digits)
}

fn percent(probability: f64) -> String {
    format!("{:.1} %", probability * 100.0)
}

fn list(names: &[String]) -> String {
    names.join(", ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn example() -> Verdict {
        let text = include_str!("../../../service/wire/examples/job.verdict.json");
        let mut example: serde_json::Value = serde_json::from_str(text).unwrap();
        serde_json::from_value(example["result"].take()).unwrap()
    }

    #[test]
    fn a_verdict_says_what_carries_it_and_what_is_missing() {
        let text = verdict(&example());
        for line in [
            "leaning: supply 97.1 %, not cleared: pump, not proven\n",
            "  sides     supply 97.1 %  controller 1.2 %  pump 14.1 %  outside 0.3 %\n",
            "  failed    inlet-pressure-cranking: 3.1 psi (u 0.2), limit >= 5 psi, conforms 0.0 %  [dB supply +14.2 controller -3.1 pump -4.0 outside -2.2]\n",
            "  void      pressure-holds; the reading is marked hold: put that right and read again  [dB outside decisive]\n",
            "  failed    harness-continuity: above 40000000 Ohm, limit <= 5 Ohm",
            "  unproven  supply needs one measured and failed of filter-drop, tank-suction: Hearsay does not name a side.\n",
            "  next      filter-drop (Pressure drop across the filter), 6 min, 0.310 bit, after battery-cranking, completes a proof; caution: fuel-spray\n",
        ] {
            assert!(text.contains(line), "{line:?} is not in\n{text}");
        }
    }

    #[test]
    fn no_jobs_are_said_to_be_none() {
        assert_eq!(jobs(&[]), "no jobs\n");
    }
}
