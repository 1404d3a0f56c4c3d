//! A rule set that has no defects: every id resolved to an index, every amount
//! in SI.
//!
//! Indexes are places in the lists of [`RuleSet`]. Points share one index
//! space: the test points first, then the derived points.

use trisect_measure::{Amount, Quantity, Unit};

use crate::{Drive, Outcome, Phase, Side, Take};

/// The answer that every question takes besides its own: it weighs nothing.
pub const CANNOT_TELL: &str = "cannot-tell";

/// A whole rule set.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleSet {
    /// The format it is written in: 2, or 1 in journals of old.
    pub format: Format,
    /// Its id, such as `distributor-pump-12v`.
    pub id: String,
    /// Its version, as its author counts.
    pub version: String,
    /// What it is for.
    pub title: String,
    /// `sha256:` and the hexadecimal digest of the text's bytes.
    pub digest: String,
    /// Belief needed to name a side.
    pub isolate_at: f64,
    /// Belief above which another side is said to be not cleared.
    pub also_at: f64,
    /// How many suspects may be present at once (1 to 3).
    pub faults_at_once: usize,
    /// Weight of "nothing on the list" beside all single faults together.
    pub none: f64,
    /// How much rarer a second fault is than the shares alone would have it.
    pub coincidence: f64,
    /// Faults that go together.
    pub links: Vec<Link>,
    /// What can be measured.
    pub test_points: Vec<TestPoint>,
    /// What is computed from two test points.
    pub derived: Vec<Derived>,
    /// What may be at fault.
    pub suspects: Vec<Suspect>,
    /// What can be found out.
    pub checks: Vec<Check>,
    /// What must be shown before a side or suspect is named.
    pub proofs: Vec<Proof>,
    /// What the machine is brought in for.
    pub complaints: Vec<Complaint>,
    /// What to say before a test.
    pub cautions: Vec<Caution>,
}

/// The format a rule set is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Every reading in a fitting phase is evidence, and the newest finding of a check replaces
    /// those before it. Only jobs that were opened by such a rule set go on so.
    One,
    /// A finding is what a run found.
    Two,
}

/// Two suspects that go together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// One suspect.
    pub first: usize,
    /// The other.
    pub second: usize,
    /// How many times likelier both are than chance would have it.
    pub times: f64,
}

/// A place where a probe is put.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPoint {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// What is measured there.
    pub quantity: Quantity,
    /// The unit it is shown in.
    pub unit: Unit,
    /// The lowest and highest value that can be believed, in SI.
    pub plausible: Option<(f64, f64)>,
}

/// A difference of two test points of one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Derived {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// The test point that is taken from; its unit is the derived point's.
    pub minuend: usize,
    /// The test point that is taken away.
    pub subtrahend: usize,
    /// Readings further apart than this do not pair, in nanoseconds.
    pub within: i64,
}

/// Something that may be at fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// Its id.
    pub id: String,
    /// The side it belongs to.
    pub side: Side,
    /// What is wrong then, for people.
    pub title: String,
    /// How often it is the fault, relative to the others' shares.
    pub share: f64,
    /// What to do about it.
    pub remedy: Option<String>,
}

/// Something that can be found out.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Its id.
    pub id: String,
    /// What is good when it passes, for people.
    pub title: String,
    /// How long it takes.
    pub minutes: f64,
    /// Checks that must have passed, or this one is void.
    pub needs: Vec<usize>,
    /// Checks that must have passed before this one is advised; its evidence
    /// counts without them.
    pub advise_after: Vec<usize>,
    /// What has to have come of other checks for this one to mean anything: it can be started only
    /// then, and its findings count only as long as that stands.
    pub presumes: Vec<Presumption>,
    /// A repair cannot change what it found: its findings count in the rounds after as well.
    pub survives_repair: bool,
    /// What to say before it.
    pub cautions: Vec<usize>,
    /// Where its limit comes from, and how to do it well.
    pub note: Option<String>,
    /// Measured or asked.
    pub how: How,
}

/// What has to have come of another check.
#[derive(Clone, Debug, PartialEq)]
pub struct Presumption {
    /// The other check.
    pub check: usize,
    /// What has to have come of it: passed or failed.
    pub is: Outcome,
    /// Only with these complaints; with any, or none, where the list is empty.
    pub complaints: Vec<usize>,
}

impl Presumption {
    /// Whether it is asked for in a job with this complaint.
    pub fn applies(&self, complaint: Option<usize>) -> bool {
        self.complaints.is_empty() || complaint.is_some_and(|c| self.complaints.contains(&c))
    }
}

/// The two kinds of check.
#[derive(Clone, Debug, PartialEq)]
pub enum How {
    /// A reading held against a limit.
    Measured(Measured),
    /// A question with a closed list of answers.
    Asked(Asked),
}

/// A reading held against a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// The point it reads.
    pub point: usize,
    /// The phases in which a reading counts, at least one.
    pub phases: Vec<Phase>,
    /// The drive that must be connected; `None` for any.
    pub drive: Option<Drive>,
    /// The feature that is held against the limit.
    pub take: Take,
    /// How long after entering a phase the window opens, in nanoseconds.
    pub after: i64,
    /// How long the window lasts, in nanoseconds; `None` until the phases are left.
    pub over: Option<i64>,
    /// How long after entering a phase a reading can still belong to the window, in nanoseconds;
    /// `None`: as long as the phase lasts.
    pub within: Option<i64>,
    /// What has to hold at other points while readings are taken.
    pub conditions: Vec<Condition>,
    /// What whoever does the test has to keep to; asked when the run ends.
    pub keep: Option<String>,
    /// Findings are made from the stream without a run, while everything was measured to hold.
    pub passive: bool,
    /// The lower limit. At least one of the two is there.
    pub at_least: Option<Bound>,
    /// The upper limit.
    pub at_most: Option<Bound>,
    /// The risk of a wrong decision that is accepted (0 to 0.5, both excluded).
    pub risk: f64,
    /// P(fails) with no fault present.
    pub otherwise: f64,
    /// P(fails) with only this suspect present, by suspect.
    pub fails: Vec<(usize, f64)>,
}

/// What has to hold at a point while a check's readings are taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// The point.
    pub point: usize,
    /// The lowest value, in SI. At least one of the two is there.
    pub at_least: Option<f64>,
    /// The highest value, in SI.
    pub at_most: Option<f64>,
}

impl Condition {
    /// Whether it holds at a value, in SI.
    pub fn holds(&self, x: f64) -> bool {
        self.at_least.is_none_or(|low| x >= low) && self.at_most.is_none_or(|high| x <= high)
    }
}

/// One end of a limit, in SI of what [`Take`] yields: a ratio for ripple and
/// decay, a time for rise-time, else the point's quantity (a difference of it
/// for peak-to-peak and for derived points).
#[derive(Clone, Debug, PartialEq)]
pub enum Bound {
    /// The same always.
    Fixed(f64),
    /// By another point's value: interpolated between rows, held beyond them.
    Table {
        /// The point it goes by.
        by: usize,
        /// Value of that point and the limit there, both SI, ascending by the former.
        rows: Vec<(f64, f64)>,
    },
}

impl Bound {
    /// The lowest it can be, in SI.
    pub fn least(&self) -> f64 {
        match self {
            Bound::Fixed(value) => *value,
            Bound::Table { rows, .. } => rows.iter().map(|r| r.1).fold(f64::INFINITY, f64::min),
        }
    }

    /// The highest it can be, in SI.
    pub fn most(&self) -> f64 {
        match self {
            Bound::Fixed(value) => *value,
            Bound::Table { rows, .. } => rows.iter().map(|r| r.1).fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

/// A question with a closed list of answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The question.
    pub ask: String,
    /// The answers, from healthy to worst, at least two.
    pub answers: Vec<String>,
    /// P(answer) with no fault present.
    pub otherwise: Vec<f64>,
    /// P(answer) with only this suspect present, by suspect.
    pub expect: Vec<(usize, Vec<f64>)>,
    /// The drive to connect before asking; `None` for any. The question says so
    /// itself, so an answer counts whatever drive was said to be connected.
    pub drive: Option<Drive>,
}

/// What must be shown before its target is named. Of several proofs of one
/// side, any complete one suffices.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// What it allows to be named.
    pub target: ProofTarget,
    /// All of these have passed.
    pub passed: Vec<usize>,
    /// At least one of these has passed, if any are listed.
    pub any_passed: Vec<usize>,
    /// All of these have failed.
    pub failed: Vec<usize>,
    /// At least one of these has failed, if any are listed.
    pub any_failed: Vec<usize>,
    /// Measured checks of which at least one has failed, if any are listed.
    pub measured_failed: Vec<usize>,
    /// Why, for people.
    pub because: Option<String>,
}

/// What a proof allows to be named.
#[derive(Clone, Debug, PartialEq)]
pub enum ProofTarget {
    /// A side.
    Side(Side),
    /// Suspects that are named, rather than others of their side, only when
    /// this proof is complete.
    Suspects(Vec<usize>),
}

/// What the machine is brought in for.
#[derive(Clone, Debug, PartialEq)]
pub struct Complaint {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// P(this complaint) with no fault present.
    pub otherwise: f64,
    /// P(this complaint) with only this suspect present, by suspect.
    pub given: Vec<(usize, f64)>,
    /// Checks that cannot or should not be carried out on such a machine.
    pub leaves_out: Vec<usize>,
}

/// What to say before a test.
#[derive(Clone, Debug, PartialEq)]
pub struct Caution {
    /// Its id.
    pub id: String,
    /// The words.
    pub text: String,
}

impl TestPoint {
    /// Whether a reading cannot be true here: outside what is plausible by more
    /// than three standard uncertainties `u` (both SI). An overload is not
    /// implausible: an open circuit is one.
    pub fn implausible(&self, amount: Amount, u: f64) -> bool {
        match (amount, self.plausible) {
            (Amount::Exactly(x), Some((low, high))) => x + 3.0 * u < low || x - 3.0 * u > high,
            _ => false,
        }
    }
}

impl RuleSet {
    /// The index of a test point or derived point.
    pub fn point_index(&self, id: &str) -> Option<usize> {
        self.point_ids().position(|known| known == id)
    }

    /// Every point's id, in index order.
    pub fn point_ids(&self) -> impl Iterator<Item = &str> {
        let test_points = self.test_points.iter().map(|p| p.id.as_str());
        test_points.chain(self.derived.iter().map(|d| d.id.as_str()))
    }

    /// The id of a point; empty for an index that is none.
    pub fn point_id(&self, point: usize) -> &str {
        self.point_ids().nth(point).unwrap_or_default()
    }

    /// The title of a point; empty for an index that is none.
    pub fn point_title(&self, point: usize) -> &str {
        match self.test_points.get(point) {
            Some(p) => &p.title,
            None => self.derived_at(point).map_or("", |d| &d.title),
        }
    }

    /// The unit a point is shown in; a derived point has its minuend's. The
    /// plain ratio for an index that is none.
    pub fn point_unit(&self, point: usize) -> Unit {
        let source = self.derived_at(point).map_or(point, |d| d.minuend);
        self.test_points.get(source).map_or(Unit::RATIO, |p| p.unit)
    }

    /// The derived point of an index, if it is one. Its values are differences:
    /// convert them as spans.
    pub fn derived_at(&self, point: usize) -> Option<&Derived> {
        self.derived.get(point.checked_sub(self.test_points.len())?)
    }

    /// The index of a check.
    pub fn check_index(&self, id: &str) -> Option<usize> {
        self.checks.iter().position(|c| c.id == id)
    }

    /// The index of a suspect.
    pub fn suspect_index(&self, id: &str) -> Option<usize> {
        self.suspects.iter().position(|s| s.id == id)
    }

    /// The index of a complaint.
    pub fn complaint_index(&self, id: &str) -> Option<usize> {
        self.complaints.iter().position(|c| c.id == id)
    }

    /// The index of a caution.
    pub fn caution_index(&self, id: &str) -> Option<usize> {
        self.cautions.iter().position(|c| c.id == id)
    }
}

impl Check {
    /// How it is measured, if it is.
    pub fn measured(&self) -> Option<&Measured> {
        match &self.how {
            How::Measured(measured) => Some(measured),
            How::Asked(_) => None,
        }
    }

    /// What is asked, if it is.
    pub fn asked(&self) -> Option<&Asked> {
        match &self.how {
            How::Measured(_) => None,
            How::Asked(asked) => Some(asked),
        }
    }
}
