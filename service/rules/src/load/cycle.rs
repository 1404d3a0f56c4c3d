//! Checks that wait for one another, by `needs` and `advise_after` together.

use crate::DefectKind;
use crate::read::{Findings, Section, Span};

/// Notes each reference that closes a cycle. `waits` lists, for each check, the
/// checks that it waits for. The walk keeps its own stack.
pub(super) fn note(sections: &[Section<'_>], waits: &[Vec<(usize, Span)>], found: &mut Findings) {
    #[derive(Clone, Copy, PartialEq)]
    enum Mark {
        New,
        Open,
        Done,
    }
    let mut marks = vec![Mark::New; waits.len()];
    for start in 0..waits.len() {
        if marks[start] != Mark::New {
            continue;
        }
        marks[start] = Mark::Open;
        let mut path = vec![(start, waits[start].iter())];
        while let Some((check, rest)) = path.last_mut() {
            let Some((next, span)) = rest.next() else {
                marks[*check] = Mark::Done;
                path.pop();
                continue;
            };
            match marks[*next] {
                Mark::Done => {}
                Mark::New => {
                    marks[*next] = Mark::Open;
                    path.push((*next, waits[*next].iter()));
                }
                Mark::Open => {
                    let first = path
                        .iter()
                        .position(|(check, _)| check == next)
                        .unwrap_or(0);
                    let round: Vec<&str> = path[first..]
                        .iter()
                        .chain(path.get(first))
                        .filter_map(|(check, _)| sections.get(*check))
                        .map(|section| section.name.as_str())
                        .collect();
                    found.error(
                        span,
                        DefectKind::Cycle,
                        format!("checks wait for one another: {}", round.join(" → ")),
                        "take one of them out of `needs` or `advise_after`",
                    );
                }
            }
        }
    }
}
