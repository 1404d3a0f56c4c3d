//! `[[complaint]]` and `[[caution]]`.

use super::check::indexes;
use super::{Ids, probability};
use crate::read::{Findings, Section};
use crate::{Caution, Complaint};

pub(super) fn read_all(
    sections: &[Section<'_>],
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Vec<Option<Complaint>> {
    sections
        .iter()
        .map(|section| read(section, ids, found))
        .collect()
}

fn read(section: &Section<'_>, ids: &Ids<'_>, found: &mut Findings) -> Option<Complaint> {
    section.knows(&["id", "title", "given", "leaves_out"], found);
    let id = section.id();
    let title = section.words("title", found);
    let leaves_out = ids.checks.find_all(section, "leaves_out", found);
    let given = section.required_section("given", found);
    let (otherwise, given) = given.and_then(|given| probability::by_suspect(&given, ids, found))?;
    let id = id?;
    Some(Complaint {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        otherwise,
        given,
        leaves_out: indexes(&leaves_out),
    })
}

pub(super) fn read_cautions(
    sections: &[Section<'_>],
    found: &mut Findings,
) -> Vec<Option<Caution>> {
    let read = |section: &Section<'_>| {
        section.knows(&["id", "text"], found);
        let text = section.required_text("text", found)?;
        Some(Caution {
            id: section.id()?,
            text: text.into_inner().to_owned(),
        })
    };
    sections.iter().map(read).collect()
}
