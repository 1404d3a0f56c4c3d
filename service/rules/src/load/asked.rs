//! A question with a closed list of answers.

use super::{Ids, check, row};
use crate::read::{Findings, Section, check_id};
use crate::{Asked, CANNOT_TELL, DefectKind, Drive};

const KEYS: [&str; 3] = ["ask", "answers", "expect"];

pub(super) fn read(
    section: &Section<'_>,
    ids: &Ids<'_>,
    at_once: usize,
    found: &mut Findings,
) -> Option<Asked> {
    section.knows(&[&check::COMMON[..], &KEYS].concat(), found);
    let ask = section.words("ask", found);
    let drive = section.word::<Drive>("drive", found);
    let answers = answers(section, found);
    let expect = section.required_section("expect", found);
    // Without sound answers the length of a row says nothing.
    let answers = answers?;
    let rows = row::rows_by_suspect(&expect?, &answers, ids, at_once, found)?;
    Some(Asked {
        ask: ask?,
        answers,
        otherwise: rows.otherwise,
        expect: rows.by_suspect,
        drive,
    })
}

fn answers(section: &Section<'_>, found: &mut Findings) -> Option<Vec<String>> {
    let item = section.required("answers", found)?;
    let texts = section.texts("answers", found);
    let mut answers: Vec<String> = Vec::with_capacity(texts.len());
    for text in &texts {
        check_id(
            text.get_ref(),
            &text.span(),
            &format!("{}: `answers`", section.name),
            found,
        );
        if answers.iter().any(|known| known == text.get_ref()) {
            found.error(
                &text.span(),
                DefectKind::RepeatedEntry,
                format!(
                    "{}: `answers` lists `{}` twice",
                    section.name,
                    text.get_ref()
                ),
                "give each answer its own word",
            );
        }
        if *text.get_ref() == CANNOT_TELL {
            found.error(
                &text.span(),
                DefectKind::RepeatedEntry,
                format!(
                    "{}: every question takes `{CANNOT_TELL}` besides its own answers",
                    section.name
                ),
                "leave it out",
            );
        }
        answers.push(text.get_ref().to_string());
    }
    let written = item.get_ref().as_array()?.len();
    if written < 2 {
        found.error(
            &item.span(),
            DefectKind::OutOfRange,
            format!(
                "{}: `answers` has {written} entries, so nothing is decided",
                section.name
            ),
            "list at least two answers, from healthy to worst",
        );
    }
    (answers.len() == written && written >= 2).then_some(answers)
}
