//! From text to a [`Case`].

use toml::Spanned;
use trisect_measure::{Accuracy, Flags, Quantity, parse_entry};

use super::{Case, CaseEvent, CaseReading, CaseWhat, Doubt, expect};
use crate::read::{Findings, Section, Span, document, duration, entry_hint, entry_kind, places};
use crate::{Defect, DefectKind, Drive, Outcome, Phase};

const KEYS: [&str; 9] = [
    "format",
    "title",
    "source",
    "ruleset",
    "complaint",
    "stream",
    "ends",
    "event",
    "expect",
];
const OF_READING: [&str; 4] = ["value", "uncertainty", "accuracy", "flags"];
const SUBJECTS: [&str; 12] = [
    "phase", "drive", "probe", "lift", "test", "stop", "kept", "withdraw", "repair", "point",
    "answer", "outcome",
];

/// Reads a case.
///
/// # Errors
/// Every defect of the text, in its order.
pub fn parse(text: &str) -> Result<Case, Vec<Defect>> {
    let mut found = Findings::default();
    let document = document(text, &mut found);
    let root = Section::new("case", 0..0, document.get_ref());
    match read(&root, text, &mut found) {
        Some(case) if !found.has_errors() => Ok(case),
        _ => Err(found.located(text)),
    }
}

fn read(root: &Section<'_>, text: &str, found: &mut Findings) -> Option<Case> {
    root.knows(&KEYS, found);
    crate::load::format(root, found);
    let title = root.required_text("title", found);
    let source = root.required_text("source", found);
    let ruleset = root.required_text("ruleset", found);
    let complaint = root.text("complaint", found);
    let stream = root.words("stream", found);
    let ends = root.item("ends");
    let ends = ends.map(|item| duration(item, "case: `ends`", found));
    let sections = root.sections("event", found);
    let read: Vec<_> = sections
        .iter()
        .map(|section| event(section, found))
        .collect();
    let mut events: Vec<CaseEvent> = read.into_iter().collect::<Option<_>>().unwrap_or_default();
    let expect = match root.section("expect", found) {
        Some(section) => expect::read(&section, found),
        None => super::Expect::default(),
    };
    let starts = sections.iter().map(|section| section.span.start);
    for (event, (line, column)) in events.iter_mut().zip(places(text, starts)) {
        (event.line, event.column) = (line, column);
    }
    Some(Case {
        title: title?.into_inner().to_owned(),
        source: source?.into_inner().to_owned(),
        ruleset: ruleset?.into_inner().to_owned(),
        complaint_at: complaint.as_ref().map_or(0..0, Spanned::span),
        complaint: complaint.map(|c| c.into_inner().to_owned()),
        stream,
        ends: ends.unwrap_or_default(),
        events,
        expect,
        text: text.to_owned(),
    })
}

fn event(section: &Section<'_>, found: &mut Findings) -> Option<CaseEvent> {
    section.knows(&[&["at"], &OF_READING[..], &SUBJECTS[..]].concat(), found);
    let at = section.required("at", found);
    let at = at.and_then(|item| duration(item, &format!("{}: `at`", section.name), found));
    let subject = subject(section, found)?;
    if subject != "point" {
        stray(section, subject, found);
    }
    let what = what(section, subject, found);
    let place = |keys: &[&str]| {
        let item = keys.iter().find_map(|key| section.item(key));
        item.map_or(section.span.clone(), Spanned::span)
    };
    Some(CaseEvent {
        at: at?,
        what: what?,
        // Filled in for all events in one walk through the text.
        line: 0,
        column: 0,
        subject_at: place(&[subject]),
        value_at: place(&["value", subject]),
        doubt_at: place(&["uncertainty", "accuracy", "value"]),
    })
}

/// The one key that says what happened.
fn subject(section: &Section<'_>, found: &mut Findings) -> Option<&'static str> {
    let mut there = SUBJECTS.into_iter().filter(|key| section.has(key));
    let (first, second) = (there.next(), there.next());
    let has = match (first, second) {
        (Some(subject), None) => return Some(subject),
        (Some(first), Some(second)) => format!("both `{first}` and `{second}`"),
        (None, _) => "nothing happen".to_owned(),
    };
    found.error(
        &section.span,
        DefectKind::MixedTable,
        format!("{} has {has}", section.name),
        "write one of `phase`, `drive`, `probe`, `lift`, `test`, `stop`, `kept`, `withdraw`, `repair`, `point` with `value`, `answer`, `outcome` for each event",
    );
    None
}

/// Notes keys of a reading on an event that is none.
fn stray(section: &Section<'_>, subject: &str, found: &mut Findings) {
    for key in OF_READING {
        if let Some(item) = section.item(key) {
            found.error(
                &item.span(),
                DefectKind::MixedTable,
                format!(
                    "{}: `{key}` belongs to a reading, not to `{subject}`",
                    section.name
                ),
                format!("take `{key}` out, or add `point`"),
            );
        }
    }
}

fn what(section: &Section<'_>, subject: &str, found: &mut Findings) -> Option<CaseWhat> {
    match subject {
        "phase" => section.word::<Phase>("phase", found).map(CaseWhat::Phase),
        "drive" => section.word::<Drive>("drive", found).map(CaseWhat::Drive),
        "probe" => {
            let point = section.words("probe", found)?;
            Some(CaseWhat::Probe { point })
        }
        "lift" => {
            let point = section.words("lift", found)?;
            Some(CaseWhat::Lift { point })
        }
        "test" => {
            let check = section.words("test", found)?;
            Some(CaseWhat::Start { check })
        }
        "stop" => {
            let check = section.words("stop", found)?;
            Some(CaseWhat::Stop { check })
        }
        "kept" => {
            let (check, inner) = about(section, subject, found)?;
            inner.required("is", found)?;
            let kept = inner.flag("is", found)??;
            Some(CaseWhat::Kept { check, kept })
        }
        "withdraw" => finding(section, found).map(|finding| CaseWhat::Withdraw { finding }),
        "repair" => {
            let done = section.words("repair", found)?;
            Some(CaseWhat::Repair { done })
        }
        "point" => reading(section, found).map(CaseWhat::Reading),
        "answer" => {
            let (check, inner) = about(section, subject, found)?;
            let is = inner.required_text("is", found)?.into_inner().to_owned();
            Some(CaseWhat::Answer { check, is })
        }
        _ => {
            let (check, inner) = about(section, subject, found)?;
            Some(CaseWhat::Outcome {
                check,
                is: inner.required_word::<Outcome>("is", found)?,
            })
        }
    }
}

/// The number of the finding that is withdrawn.
fn finding(section: &Section<'_>, found: &mut Findings) -> Option<u32> {
    let number = section.number("withdraw", found)?;
    let whole = *number.get_ref();
    if whole >= 1.0 && whole.fract() == 0.0 && whole <= f64::from(u32::MAX) {
        return Some(whole as u32);
    }
    found.error(
        &number.span(),
        DefectKind::OutOfRange,
        format!("{}: `withdraw` is {whole}", section.name),
        "write the number of a finding: the first one of the job is 1",
    );
    None
}

/// The check that `{ check = …, is = … }` is about.
fn about<'a>(
    section: &Section<'a>,
    key: &str,
    found: &mut Findings,
) -> Option<(String, Section<'a>)> {
    let inner = section.section(key, found)?;
    inner.knows(&["check", "is"], found);
    Some((
        inner.required_text("check", found)?.into_inner().to_owned(),
        inner,
    ))
}

fn reading(section: &Section<'_>, found: &mut Findings) -> Option<CaseReading> {
    let point = section.text("point", found);
    let value = section.required_text("value", found);
    let entry = value
        .as_ref()
        .and_then(|value| match parse_entry(value.get_ref()) {
            Ok(entry) => Some(entry),
            Err(error) => {
                let message = format!("{}: `value`: {error}", section.name);
                found.error(
                    &value.span(),
                    entry_kind(&error),
                    message,
                    entry_hint(Quantity::Pressure),
                );
                None
            }
        });
    let doubt = doubt(section, found);
    let flags = flags(section, found);
    Some(CaseReading {
        point: point?.into_inner().to_owned(),
        value: value?.into_inner().to_owned(),
        entry: entry?,
        doubt: doubt?,
        flags,
    })
}

fn doubt(section: &Section<'_>, found: &mut Findings) -> Option<Doubt> {
    let standard = section.text("uncertainty", found);
    let accuracy = section.text("accuracy", found);
    match (standard, accuracy) {
        (Some(_), Some(accuracy)) => {
            found.error(
                &accuracy.span(),
                DefectKind::MixedTable,
                format!("{} has both `uncertainty` and `accuracy`", section.name),
                "keep the one that is known",
            );
            None
        }
        (Some(standard), None) => Some(Doubt::Standard(standard.into_inner().to_owned())),
        (None, Some(text)) => match Accuracy::parse(text.get_ref()) {
            Ok(accuracy) => Some(Doubt::Accuracy(accuracy)),
            Err(error) => {
                found.error(
                    &text.span(),
                    DefectKind::BadValue,
                    format!("{}: `accuracy`: {error}", section.name),
                    "write it as the data sheet does, such as `0.5 % rdg + 3 dgt`",
                );
                None
            }
        },
        (None, None) => Some(Doubt::Digits),
    }
}

fn flags(section: &Section<'_>, found: &mut Findings) -> Flags {
    let mut flags = Flags::default();
    for text in section.texts("flags", found) {
        match Flags::from_word(text.get_ref()) {
            Some(flag) => flags |= flag,
            None => {
                let span: Span = text.span();
                let known = Flags::all().words();
                let near = found.nearest(text.get_ref(), known.iter().copied());
                found.error(
                    &span,
                    DefectKind::UnknownWord,
                    format!("{}: `{}` is no flag", section.name, text.get_ref()),
                    near.map_or_else(
                        || format!("use one of {}", known.join(", ")),
                        |near| format!("did you mean `{near}`?"),
                    ),
                );
            }
        }
    }
    flags
}
