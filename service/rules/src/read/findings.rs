//! The defects found so far, before they are given their lines and columns.

use super::names::nearest;
use super::{Span, places};
use crate::{Defect, DefectKind, Severity};

/// Defects in the order they were found, each with its offset.
#[derive(Default)]
pub(crate) struct Findings {
    found: Vec<Finding>,
}

struct Finding {
    offset: usize,
    kind: DefectKind,
    severity: Severity,
    message: String,
    hint: String,
}

impl Findings {
    /// Notes something that keeps the text from being used.
    pub fn error(
        &mut self,
        span: &Span,
        kind: DefectKind,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.note(
            span.start,
            kind,
            Severity::Error,
            message.into(),
            hint.into(),
        );
    }

    /// Notes something that has no effect.
    pub fn warning(
        &mut self,
        span: &Span,
        kind: DefectKind,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.note(
            span.start,
            kind,
            Severity::Warning,
            message.into(),
            hint.into(),
        );
    }

    /// Notes text that is not TOML.
    pub fn syntax(&mut self, error: &toml::de::Error, end: usize) {
        let offset = error.span().map_or(end, |span| span.start);
        let message = error.message();
        let (kind, hint) = if message.starts_with("duplicate key") {
            (DefectKind::DuplicateKey, "keep one of the two")
        } else {
            (
                DefectKind::Syntax,
                "write `key = value`, text in double quotes, tables as `[name]` or `[[name]]`",
            )
        };
        self.note(
            offset,
            kind,
            Severity::Error,
            message.to_owned(),
            hint.to_owned(),
        );
    }

    /// Whether something was found that keeps the text from being used.
    pub fn has_errors(&self) -> bool {
        self.found.iter().any(|f| f.severity == Severity::Error)
    }

    /// The known word most like `word`, to offer in a hint. After the first two
    /// hundred findings nothing is offered, nor for a word or beside a list out
    /// of proportion: a hostile text must not make this slow.
    pub fn nearest<'k>(&self, word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
        if self.found.len() >= 200 || word.len() > 64 {
            return None;
        }
        nearest(word, known.take(1000).filter(|k| k.len() <= 64))
    }

    fn note(
        &mut self,
        offset: usize,
        kind: DefectKind,
        severity: Severity,
        message: String,
        hint: String,
    ) {
        self.found.push(Finding {
            offset,
            kind,
            severity,
            message,
            hint,
        });
    }

    /// The defects in the order of the text. Where text was lost to a syntax
    /// error, what may only be its consequence is left out.
    pub fn located(mut self, text: &str) -> Vec<Defect> {
        self.found.sort_by_key(|f| f.offset);
        let placed = places(text, self.found.iter().map(|f| f.offset));
        let lost: Vec<usize> = (self.found.iter().zip(&placed))
            .filter(|(f, _)| f.kind == DefectKind::Syntax)
            .map(|(_, (line, _))| *line)
            .collect();
        let mut said_at = None;
        let mut defects = Vec::with_capacity(self.found.len());
        for (finding, (line, column)) in self.found.into_iter().zip(placed) {
            let Finding {
                kind,
                severity,
                message,
                hint,
                ..
            } = finding;
            let syntax = kind == DefectKind::Syntax;
            let consequence = !syntax
                && !lost.is_empty()
                && (lost.binary_search(&line).is_ok() || may_follow_from_lost_text(kind));
            // One broken line makes the parser stumble several times.
            let again = syntax && said_at == Some(line);
            if syntax {
                said_at = Some(line);
            }
            if !(consequence || again) {
                defects.push(Defect {
                    kind,
                    severity,
                    line,
                    column,
                    message,
                    hint,
                });
            }
        }
        defects
    }
}

fn may_follow_from_lost_text(kind: DefectKind) -> bool {
    matches!(
        kind,
        DefectKind::MissingTable
            | DefectKind::MissingKey
            | DefectKind::UnresolvedId
            | DefectKind::MixedTable
            | DefectKind::UnknownKey
            | DefectKind::LimitMissing
            | DefectKind::ProofEmpty
            | DefectKind::RowLength
    )
}
