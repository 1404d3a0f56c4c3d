//! What the verdicts of one job isolated, from its first test to its last.

use trisect_diagnosis::Verdict;
use trisect_rules::{Side, Standing};

/// The side that a verdict isolates.
pub(crate) fn isolated(verdict: &Verdict) -> Option<Side> {
    verdict
        .side
        .filter(|_| verdict.standing == Standing::Isolated)
}

/// A verdict that isolated a side which the verdict before it did not isolate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Isolation {
    pub side: Side,
    /// Minutes of testing until then.
    pub minutes: f64,
    /// Belief in each side then.
    pub beliefs: [f64; 4],
}

/// What was isolated in a job. The verdicts that count are those after every
/// step: what is said in the middle of a test, nobody acts on.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Course {
    /// Every isolation, the first first.
    pub isolations: Vec<Isolation>,
    /// The side that the last verdict isolates.
    pub last: Option<Side>,
}

/// What became of an isolation that did not last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Recanted {
    /// Another side is isolated at the end.
    OtherSide,
    /// No side is isolated at the end.
    Open,
}

impl Course {
    /// Takes the next verdict; true if it isolates what the one before did not.
    pub(crate) fn see(&mut self, side: Option<Side>, minutes: f64, beliefs: [f64; 4]) -> bool {
        let before = std::mem::replace(&mut self.last, side);
        let Some(side) = side.filter(|side| before != Some(*side)) else {
            return false;
        };
        self.isolations.push(Isolation {
            side,
            minutes,
            beliefs,
        });
        true
    }

    /// The side that was isolated first.
    pub(crate) fn first(&self) -> Option<Side> {
        self.isolations.first().map(|one| one.side)
    }

    /// Whether any verdict isolated this side.
    pub(crate) fn ever(&self, side: Side) -> bool {
        self.isolations.iter().any(|one| one.side == side)
    }

    /// What became of the first isolation, if it is not the one of the end.
    pub(crate) fn recanted(&self) -> Option<Recanted> {
        match (self.first()?, self.last) {
            (first, Some(last)) if first == last => None,
            (_, Some(_)) => Some(Recanted::OtherSide),
            (_, None) => Some(Recanted::Open),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(sides: &[Option<Side>]) -> Course {
        let mut course = Course::default();
        for (minute, side) in sides.iter().enumerate() {
            course.see(*side, minute as f64, [0.0; 4]);
        }
        course
    }

    #[test]
    fn every_isolation_counts_and_the_last_verdict_says_what_became_of_the_first() {
        use Side::{Pump, Supply};
        let kept = course(&[None, Some(Supply), Some(Supply)]);
        assert_eq!((kept.isolations.len(), kept.recanted()), (1, None));
        assert!(kept.ever(Supply) && !kept.ever(Pump));
        assert_eq!(kept.isolations[0].minutes, 1.0);
        let other = course(&[Some(Supply), None, Some(Pump)]);
        assert_eq!(other.first(), Some(Supply));
        assert!(other.ever(Pump));
        assert_eq!(other.recanted(), Some(Recanted::OtherSide));
        let open = course(&[Some(Pump), None]);
        assert!(open.ever(Pump) && open.last.is_none());
        assert_eq!(open.recanted(), Some(Recanted::Open));
        // Given up in between, and found again.
        let again = course(&[Some(Pump), Some(Supply), Some(Pump)]);
        assert_eq!((again.isolations.len(), again.recanted()), (3, None));
        assert!(again.ever(Supply));
        assert_eq!(course(&[None]).recanted(), None);
    }
}
