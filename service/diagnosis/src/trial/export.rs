//! A job written down as a case, so that trying it gives the job's verdict again.

use std::fmt::Write;

use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Unit, parse_entry, parse_span};
use trisect_rules::{CANNOT_TELL, RuleSet, Side, TestPoint};

use crate::{Event, Verdict, What};

/// What is written down.
#[derive(Clone, Copy, Debug)]
pub struct Exporting<'a> {
    /// What the job was.
    pub title: &'a str,
    /// Where the case comes from.
    pub source: &'a str,
    /// The complaint, an index into the rule set.
    pub complaint: Option<usize>,
    /// What happened, in order; indexes are those of the rule set.
    pub events: &'a [Event],
    /// What the job came to, which is what the case will expect.
    pub verdict: &'a Verdict,
    /// The name that the stream's file will have.
    pub stream: &'a str,
}

/// A case and its stream, as texts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exported {
    /// The case, TOML.
    pub case: String,
    /// What instruments streamed, SenML; `None` if nothing was.
    pub stream: Option<String>,
}

/// Writes a job down: what was said and entered as events, what was streamed as a stream beside them.
///
/// Times are kept to the nanosecond and values to the last bit: in the unit the test point is shown in
/// where that gives the value back, in SI where it does not. A case is in the order of time, so readings
/// that reached the job later than they were taken may change its verdict: try the case to know.
pub fn export(rules: &RuleSet, job: &Exporting<'_>) -> Exported {
    let stream = stream(rules, job.events);
    let mut case = String::new();
    let mut line = |text: String| {
        case.push_str(&text);
        case.push('\n');
    };
    line("format = 1".to_owned());
    line(format!("title = {}", quoted(job.title)));
    line(format!("source = {}", quoted(job.source)));
    line(format!("ruleset = {}", quoted(&rules.id)));
    line(format!(
        "# version {}, {}",
        rules.version.escape_debug(),
        rules.digest
    ));
    if let Some(complaint) = job.complaint.and_then(|c| rules.complaints.get(c)) {
        line(format!("complaint = {}", quoted(&complaint.id)));
    }
    if stream.is_some() {
        line(format!("stream = {}", quoted(job.stream)));
    }
    let ends = job.events.iter().map(|event| event.at).max().unwrap_or(0);
    line(format!("ends = {}", quoted(&seconds(ends))));
    for event in job.events {
        let what = said(rules, &event.what);
        if let Some(what) = what {
            line(format!(
                "\n[[event]]\nat = {}\n{what}",
                quoted(&seconds(event.at))
            ));
        }
    }
    line(format!("\n[expect]\n{}", expected(job.verdict).trim_end()));
    Exported { case, stream }
}

/// Text in quotes: what JSON escapes, TOML reads, but for one character.
fn quoted(text: &str) -> String {
    let json = serde_json::Value::from(text).to_string();
    json.replace('\u{7f}', "\\u007f")
}

/// A time on the bay's clock, to the nanosecond.
fn seconds(at: i64) -> String {
    let (whole, rest) = (at / NANOS_PER_SECOND, at % NANOS_PER_SECOND);
    let text = format!("{whole}.{rest:09}");
    format!("{} s", text.trim_end_matches('0').trim_end_matches('.'))
}

/// The keys of an event that was said or entered; `None` for one that was streamed.
fn said(rules: &RuleSet, what: &What) -> Option<String> {
    let check = |check: u16| rules.checks.get(usize::from(check));
    match *what {
        What::Phase(phase) => Some(format!("phase = \"{phase}\"")),
        What::Drive(drive) => Some(format!("drive = \"{drive}\"")),
        What::Window { point } => {
            let point = rules.test_points.get(usize::from(point))?;
            Some(format!("probe = \"{}\"", point.id))
        }
        What::Lift { point } => {
            let point = rules.test_points.get(usize::from(point))?;
            Some(format!("lift = \"{}\"", point.id))
        }
        What::Start { check: of } => Some(format!("test = \"{}\"", check(of)?.id)),
        What::Stop { check: of } => Some(format!("stop = \"{}\"", check(of)?.id)),
        What::Kept { check: of, kept } => Some(format!(
            "kept = {{ check = \"{}\", is = {kept} }}",
            check(of)?.id
        )),
        What::Withdraw { finding } => Some(format!("withdraw = {finding}")),
        // What was done is in the job's record; the reasoning knows that something was.
        What::Repair => Some("repair = \"done\"".to_owned()),
        What::Answer { check: of, answer } => {
            let answers = &check(of)?.asked()?.answers;
            let told = answers.get(usize::from(answer));
            let asked = told.map_or(CANNOT_TELL, String::as_str);
            Some(format!(
                "answer = {{ check = \"{}\", is = \"{asked}\" }}",
                check(of)?.id
            ))
        }
        What::Outcome { check: of, outcome } => Some(format!(
            "outcome = {{ check = \"{}\", is = \"{outcome}\" }}",
            check(of)?.id
        )),
        What::Reading {
            point,
            amount,
            u,
            flags,
            entered: true,
        } => Some(entered(
            rules.test_points.get(usize::from(point))?,
            amount,
            u,
            flags,
        )),
        What::Reading { .. } => None,
    }
}

fn entered(point: &TestPoint, amount: Amount, u: f64, flags: Flags) -> String {
    let sign = match amount {
        Amount::Exactly(_) => "",
        Amount::Above(_) => "> ",
        Amount::Below(_) => "< ",
    };
    let (shown, si) = (point.unit, point.quantity.si_unit());
    let value = |x: f64, unit: Unit| format!("{sign}{x} {}", unit.symbol());
    let reads = |text: &String| {
        let read = parse_entry(text).and_then(|entry| entry.to_si(text, point.quantity, None));
        read.is_ok_and(|(read, _)| read == amount)
    };
    let doubt = |x: f64, unit: Unit| format!("{x} {}", unit.symbol());
    let doubts = |text: &String| parse_span(text, point.quantity).is_ok_and(|read| read == u);
    let mut text = format!(
        "point = \"{}\"\nvalue = \"{}\"\nuncertainty = \"{}\"",
        point.id,
        exact(
            value(shown.from_si(amount.edge()), shown),
            reads,
            value(amount.edge(), si)
        ),
        exact(doubt(shown.span_from_si(u), shown), doubts, doubt(u, si)),
    );
    if !flags.is_empty() {
        let words: Vec<String> = flags
            .words()
            .iter()
            .map(|word| format!("\"{word}\""))
            .collect();
        // Writing to a String cannot fail.
        let _ = write!(text, "\nflags = [{}]", words.join(", "));
    }
    text
}

/// What was written in the unit the point is shown in, if that reads back to the same; else in SI.
fn exact(shown: String, reads_back: impl Fn(&String) -> bool, si: String) -> String {
    if reads_back(&shown) { shown } else { si }
}

/// What was streamed, a record a line; how a reading is to be taken is said when that changes.
fn stream(rules: &RuleSet, events: &[Event]) -> Option<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut said = vec![(0.0f64.to_bits(), Flags::empty(), ""); rules.test_points.len()];
    for event in events {
        let What::Reading {
            point: place,
            amount,
            u,
            flags,
            entered: false,
        } = event.what
        else {
            continue;
        };
        let place = usize::from(place);
        let (Some(point), Some(said)) = (rules.test_points.get(place), said.get_mut(place)) else {
            continue;
        };
        let (id, t) = (&point.id, event.at as f64 / NANOS_PER_SECOND as f64);
        let unit = senml_unit(point.quantity.si_unit());
        let beyond = match amount {
            Amount::Exactly(_) => "",
            Amount::Above(_) => "above",
            Amount::Below(_) => "below",
        };
        if said.0 != u.to_bits() {
            lines.push(format!(
                r#"{{"n":"{id}/uncertainty","u":"{unit}","t":{t},"v":{}}}"#,
                number(u)
            ));
        }
        if said.1 != flags {
            let words = flags.words().join(" ");
            lines.push(format!(r#"{{"n":"{id}/flags","t":{t},"vs":"{words}"}}"#));
        }
        if said.2 != beyond {
            lines.push(format!(r#"{{"n":"{id}/beyond","t":{t},"vs":"{beyond}"}}"#));
        }
        *said = (u.to_bits(), flags, beyond);
        lines.push(format!(
            r#"{{"n":"{id}","u":"{unit}","t":{t},"v":{}}}"#,
            number(amount.edge())
        ));
    }
    (!lines.is_empty()).then(|| format!("[\n{}\n]\n", lines.join(",\n")))
}

/// A number that reads back to the same bits.
fn number(x: f64) -> String {
    serde_json::Value::from(x).to_string()
}

/// The unit as SenML registers it (RFC 8428, 12.1).
fn senml_unit(unit: Unit) -> &'static str {
    match unit {
        unit if unit == Unit::RATIO => "/",
        unit => unit.symbol(),
    }
}

/// What the case will expect: what the job came to, but for the advice.
fn expected(verdict: &Verdict) -> String {
    let mut text = String::new();
    let mut key = |key: &str, value: String| {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{key} = {value}");
    };
    let side = |side: &Side| format!("\"{side}\"");
    key("standing", format!("\"{}\"", verdict.standing));
    if let Some(named) = &verdict.side {
        key("side", side(named));
    }
    let also: Vec<String> = verdict.also.iter().map(side).collect();
    key("also", format!("[{}]", also.join(", ")));
    if let Some(top) = verdict.suspects.first() {
        key("top_suspect", format!("\"{}\"", top.id));
    }
    let named = verdict.named.as_ref().map(|id| format!("\"{id}\""));
    key("named", named.unwrap_or_else(|| "false".to_owned()));
    let beliefs: Vec<String> = Side::ALL
        .iter()
        .map(|side| {
            let belief = verdict.sides.of(*side);
            let (low, high) = ((belief - 0.005).max(0.0), (belief + 0.005).min(1.0));
            format!("{side} = [{low:.3}, {high:.3}]")
        })
        .collect();
    key("belief", format!("{{ {} }}", beliefs.join(", ")));
    let outcomes: Vec<String> = verdict
        .evidence
        .iter()
        .map(|piece| format!("{} = \"{}\"", piece.check, piece.outcome))
        .collect();
    if !outcomes.is_empty() {
        key("outcomes", format!("{{ {} }}", outcomes.join(", ")));
    }
    text
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::sync::Arc;

    use proptest::prelude::*;
    use trisect_rules::{Drive, Outcome, Phase, case, shipped_rule_set};

    use super::*;
    use crate::trial::{Recording, differences};
    use crate::{Diagnosis, Model};

    fn rules() -> RuleSet {
        shipped_rule_set("distributor-pump-12v").unwrap()
    }

    /// Exported and read again.
    fn round(rules: &RuleSet, events: &[Event], verdict: &Verdict) -> (Recording, String) {
        let job = Exporting {
            title: "Unit 14 \"cold\"\n",
            source: "a test \u{7f}",
            complaint: Some(0),
            events,
            verdict,
            stream: "job.senml.json",
        };
        let Exported { case: text, stream } = export(rules, &job);
        let parsed = case::parse(&text).unwrap_or_else(|defects| panic!("{defects:#?}\n{text}"));
        assert_eq!(
            (parsed.title.as_str(), parsed.source.as_str()),
            (job.title, job.source)
        );
        let recording = Recording::of(&parsed, rules).unwrap();
        let recording = match stream {
            Some(stream) => recording.with_stream(&stream, rules).unwrap(),
            None => recording,
        };
        (recording, text)
    }

    fn verdict(model: &Arc<Model>, events: &[Event]) -> Arc<Verdict> {
        let mut diagnosis = Diagnosis::new(Arc::clone(model), Some(0));
        events.iter().for_each(|event| diagnosis.push(event));
        diagnosis.verdict()
    }

    fn amount() -> impl Strategy<Value = Amount> {
        let value = prop_oneof![0.0..20.0, -3e5..3e5, 250.0..330.0, 0.0..1e8];
        (value, 0..8u8).prop_map(|(x, kind)| match kind {
            0 => Amount::Above(x),
            1 => Amount::Below(x),
            _ => Amount::Exactly(x),
        })
    }

    fn what() -> impl Strategy<Value = What> {
        let reading = (0u16..20, amount(), 0.0..10.0, any::<bool>(), 0..6u8).prop_map(
            |(point, amount, u, entered, flag)| What::Reading {
                point,
                amount,
                u,
                flags: if flag == 0 {
                    Flags::HOLD
                } else {
                    Flags::empty()
                },
                entered,
            },
        );
        prop_oneof![
            6 => reading,
            2 => (0usize..7).prop_map(|phase| What::Phase(Phase::ALL[phase])),
            1 => any::<bool>().prop_map(|b| What::Drive(if b { Drive::Bypass } else { Drive::Harness })),
            1 => (0u16..20).prop_map(|point| What::Window { point }),
            1 => Just(What::Answer { check: 0, answer: 1 }),
            1 => Just(What::Outcome { check: 1, outcome: Outcome::Failed }),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]

        /// Whatever happened in a job, in the order of time: its case gives the same bytes.
        #[test]
        fn a_job_comes_back_from_its_case(
            steps in proptest::collection::vec((1i64..3_000_000_000, what()), 0..60),
        ) {
            let rules = rules();
            let mut at = 0;
            let events: Vec<Event> = steps.into_iter().map(|(step, mut what)| {
                at += step;
                // As the bay does with what cannot be true.
                if let What::Reading { point, amount: Amount::Exactly(x), flags, .. } = &mut what {
                    let plausible = rules.test_points[usize::from(*point)].plausible;
                    if plausible.is_some_and(|(low, high)| !(low..=high).contains(x)) {
                        *flags |= Flags::IMPLAUSIBLE;
                    }
                }
                Event { at, what }
            }).collect();
            let model = Arc::new(Model::new(Arc::new(rules.clone())));
            let live = verdict(&model, &events);
            let (recording, text) = round(&rules, &events, &live);
            let tried = recording.verdict(&model);
            let told = |verdict: &Verdict| String::from_utf8(verdict.to_bytes()).unwrap();
            prop_assert!(told(&tried) == told(&live), "{}\n{:?}", text, events);
            prop_assert_eq!(differences(&recording.expect, &tried), vec![]);
        }
    }

    #[test]
    fn what_a_person_entered_stays_readable() {
        let rules = rules();
        let model = Arc::new(Model::new(Arc::new(rules.clone())));
        let pressure = rules.point_index("pump-inlet-pressure").unwrap();
        let unit = rules.point_unit(pressure);
        let events = [Event {
            at: 1_250_000_000,
            what: What::Reading {
                point: pressure as u16,
                amount: Amount::Exactly(unit.to_si(3.1)),
                u: unit.span_to_si(0.2),
                flags: Flags::empty(),
                entered: true,
            },
        }];
        let (_, text) = round(&rules, &events, &verdict(&model, &events));
        let event = "[[event]]\nat = \"1.25 s\"\npoint = \"pump-inlet-pressure\"\nvalue = \"3.1 psi\"\nuncertainty = \"0.2 psi\"\n";
        assert!(text.contains(event), "{text}");
    }
}
