//! The two ways to work a job that measure: following the advice, and the
//! fixed checklist. Both end as soon as one side is isolated.

use std::collections::HashSet;
use std::sync::Arc;

use trisect_diagnosis::{NextTest, Verdict};
use trisect_rules::{RuleSet, Side};

use crate::bins::Bins;
use crate::course::{Course, isolated};
use crate::technician::Technician;

/// Steps after which a technician would go home.
const STEPS: usize = 45;
/// Information below which a test is not worth walking to the machine, bits.
const WORTH: f64 = 0.01;
/// The probability at which a suspect is sure enough to order its part.
const SURE: f64 = 0.9;

/// The usual order of a shop's checklist: look, listen, battery, fuel,
/// electrics, and what takes long last (common practice, no source).
const CHECKLIST: [&str; 33] = [
    "fuel-seen",
    "battery-rest",
    "lift-pump-runs",
    "controller-answers",
    "connector-pins",
    "battery-cranking",
    "cranking-speed",
    "smoke-cranking",
    "engine-speed-seen",
    "calm-on-harness",
    "inlet-pressure-cranking",
    "inlet-pressure-idle",
    "inlet-pressure-loaded",
    "air-seen",
    "inlet-pressure-ripple",
    "filter-drop",
    "tank-suction",
    "pressure-holds",
    "positive-cable",
    "ground-cable",
    "lift-pump-feed",
    "controller-feed",
    "controller-ground",
    "pump-feed",
    "pump-ground",
    "accelerator-sweep",
    "bus-termination",
    "bypass-click",
    "bypass-current",
    "bypass-start",
    "bypass-high-idle",
    "calm-on-bypass",
    "swap-back",
];

/// A job worked to its end.
pub(crate) struct WorkedJob {
    /// Tests and minutes until a side was isolated, or until the end.
    pub tests: u32,
    pub minutes: f64,
    /// The verdict when a side was isolated first, or at the end.
    pub verdict: Arc<Verdict>,
    /// What was isolated, from the first test to the last.
    pub course: Course,
    /// The verdict of every isolation of the course, and how many events it rests on.
    pub marks: Vec<(Arc<Verdict>, u64)>,
    /// Beliefs in the sides after every test, until a side was isolated.
    pub along: Bins,
    /// The last verdict, once it was also asked which suspect it is.
    pub last: Arc<Verdict>,
    /// Out of steps rather than of tests.
    pub out_of_steps: bool,
}

/// The best test that is worth it, or `None` when the job has come to its end.
fn choose<'a>(verdict: &'a Verdict, cannot: &HashSet<String>) -> Option<&'a NextTest> {
    let top = verdict.suspects.first().map_or(0.0, |s| s.probability);
    let unproven = verdict.missing.iter().any(|m| Some(m.side) == verdict.side);
    if isolated(verdict).is_some() && top >= SURE && !unproven {
        return None;
    }
    let mut doable = verdict.next.iter().filter(|t| !cannot.contains(&t.check));
    doable.find(|test| test.bits >= WORTH || test.advances_proof)
}

/// Belief in each side.
pub(crate) fn beliefs(verdict: &Verdict) -> [f64; 4] {
    Side::ALL.map(|side| verdict.sides.of(side))
}

/// Follows the advice until one side is isolated, then on to which suspect it is.
pub(crate) fn follow(rules: &RuleSet, technician: &mut Technician, truth: &[Side]) -> WorkedJob {
    let mut cannot = HashSet::new();
    let (mut tests, mut minutes) = (0, 0.0);
    let mut found: Option<(u32, f64)> = None;
    let (mut course, mut marks) = (Course::default(), Vec::new());
    let mut along = Bins::default();
    let mut out_of_steps = true;
    for _ in 0..STEPS {
        let verdict = technician.diagnosis.verdict();
        if course.see(isolated(&verdict), minutes, beliefs(&verdict)) {
            found.get_or_insert((tests, minutes));
            marks.push((Arc::clone(&verdict), technician.diagnosis.events()));
        }
        let Some(test) = choose(&verdict, &cannot) else {
            out_of_steps = false;
            break;
        };
        let Some(check) = rules.check_index(&test.check) else {
            break;
        };
        if !technician.carry_out(check) {
            cannot.insert(test.check.clone());
            continue;
        }
        tests += 1;
        minutes += rules.checks[check].minutes;
        let after = technician.diagnosis.verdict();
        if found.is_none() {
            along.sides(&after, truth);
        }
        if after.next.iter().any(|next| next.check == test.check) {
            // Measured as well as can be.
            cannot.insert(test.check.clone());
        }
    }
    let last = technician.diagnosis.verdict();
    // Out of steps, the last one's verdict has not been seen yet; seen twice, it counts once.
    if course.see(isolated(&last), minutes, beliefs(&last)) {
        marks.push((Arc::clone(&last), technician.diagnosis.events()));
    }
    let (tests, minutes) = found.unwrap_or((tests, minutes));
    let verdict = marks.first().map_or(&last, |(verdict, _)| verdict);
    WorkedJob {
        tests,
        minutes,
        verdict: Arc::clone(verdict),
        course,
        marks,
        along,
        last,
        out_of_steps,
    }
}

/// Goes down the checklist until one side is isolated.
pub(crate) fn checklist(
    rules: &RuleSet,
    technician: &mut Technician,
    complaint: Option<usize>,
) -> (u32, f64, Arc<Verdict>) {
    let (mut tests, mut minutes) = (0, 0.0);
    let left_out = complaint.map_or(&[][..], |c| &rules.complaints[c].leaves_out);
    let listed = CHECKLIST.iter().filter_map(|id| rules.check_index(id));
    let rest = (0..rules.checks.len())
        .filter(|check| !CHECKLIST.contains(&rules.checks[*check].id.as_str()));
    for check in listed.chain(rest) {
        if left_out.contains(&check) || !technician.carry_out(check) {
            continue;
        }
        tests += 1;
        minutes += rules.checks[check].minutes;
        let verdict = technician.diagnosis.verdict();
        if isolated(&verdict).is_some() {
            return (tests, minutes, verdict);
        }
    }
    (tests, minutes, technician.diagnosis.verdict())
}
