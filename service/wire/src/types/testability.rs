//! What the checks of a rule set can tell apart, and what was searched to prove its gate.

use super::{Outcome, Side, wire};

wire! {
    /// What the checks of a rule set can tell apart, after IEEE 1522; faults weighted by their shares.
    pub struct Testability {
        /// Fraction of faults that some check detects.
        pub detected: f64,
        /// Fractions of the detected faults that all checks together isolate.
        pub isolated: IsolatedFractions,
        /// Suspects that cannot be told apart, in groups of two or more.
        pub ambiguity_groups: Vec<Vec<String>>,
        /// Suspects that no check detects.
        pub undetected: Vec<String>,
        /// Checks that say the same whatever is at fault.
        pub checks_that_decide_nothing: Vec<String>,
        /// Sides with suspects and without a proof that those could complete.
        pub sides_that_cannot_be_proven: Vec<Side>,
    }

    /// Fractions of the detected faults, by what they are isolated to.
    pub struct IsolatedFractions {
        /// To suspects of one side.
        pub to_side: f64,
        /// To a single suspect.
        pub to_1: f64,
        /// To at most two suspects.
        pub to_2: f64,
        /// To at most three suspects.
        pub to_3: f64,
    }

    /// What was searched for a side that is named without its proof.
    pub struct Proving {
        /// Whether everything was searched, and nothing found.
        pub proven: bool,
        /// Whether the search came to its end: it may have no more than `limits.compute_within`. What was not
        /// searched by then is not proven.
        pub finished: bool,
        /// Combinations of outcomes searched, of all sides and suspects together.
        pub combinations: u64,
        /// Sides with suspects, then suspects with a proof of their own.
        pub named: Vec<Naming>,
    }

    /// What was searched for one side, or for a suspect with a proof of its own.
    pub struct Naming {
        /// The side.
        pub side: Side,
        /// The suspect, if it is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub suspect: Option<String>,
        /// How many checks its proofs speak of.
        pub checks: u64,
        /// How many combinations of their outcomes (passed, failed, neither) there are.
        pub combinations: f64,
        /// How many were searched: all, or none where there are too many.
        pub searched: u64,
        /// Combinations under which it may be named.
        pub open: u64,
        /// Combinations that name it though its proof is missing, the first few.
        pub unproven: Vec<Vec<Stated>>,
        /// Combinations that complete its proof and do not let it be named, the first few.
        pub withheld: Vec<Vec<Stated>>,
        /// Combinations at the edge of its proofs that the whole diagnosis was run on.
        pub diagnosed: u64,
        /// The shortest set of tests that was found to name it, from nothing known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shortest: Option<ShortestTests>,
        /// Sets of tests that were tried to find it.
        pub tried: u64,
        /// The highest belief that any of them led to.
        pub highest_belief: f64,
    }

    /// What has to come of a check.
    pub struct Stated {
        /// The check.
        pub check: String,
        /// What comes of it.
        pub outcome: Outcome,
        /// The answer it comes about by, in a set of tests.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub answer: Option<String>,
    }

    /// A set of tests that names a side or a suspect.
    pub struct ShortestTests {
        /// The tests, with what has to come of them.
        pub tests: Vec<Stated>,
        /// How long they take together.
        pub minutes: f64,
        /// The belief they lead to.
        pub belief: f64,
        /// Every set that takes less time was tried; without, a shorter one may be there.
        pub exact: bool,
    }
}
