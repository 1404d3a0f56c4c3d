//! One machine, worked in all three ways.

use std::sync::Arc;

use trisect_diagnosis::{Event, Model, Verdict};
use trisect_machine::Random;
use trisect_rules::{Side, Standing};

use crate::advice::{WorkedJob, beliefs, checklist, follow};
use crate::bins::Bins;
use crate::course::{Course, isolated};
use crate::draw::{DrawnMachine, Population};
use crate::substitution::{Substituted, substitute};
use crate::technician::Technician;

/// What a job came to.
#[derive(Clone, Debug)]
pub(crate) struct Outcome {
    /// The job's number in the survey.
    pub index: u64,
    /// The suspects that were present.
    pub faults: Vec<usize>,
    /// The same with degrees, for people.
    pub words: String,
    pub vague: bool,
    /// Every side that was isolated, and the one of the end.
    pub course: Course,
    /// How the job stood at the end.
    pub end: Standing,
    /// Belief in each side when one was isolated first, or at the end.
    pub beliefs: [f64; 4],
    /// The likeliest suspect at the end, and whether it may be named.
    pub top: Option<usize>,
    pub named: Option<usize>,
    /// Why no side was isolated.
    pub why: Option<String>,
    pub tests: u32,
    pub minutes: f64,
    pub along: Bins,
    /// The same by checklist: was a side isolated, was it right, tests, minutes.
    pub listed: (bool, bool, u32, f64),
    pub substituted: Substituted,
}

impl Outcome {
    /// The sides that have a fault.
    pub(crate) fn truth(&self, sides: &[Side]) -> Vec<Side> {
        self.faults.iter().map(|fault| sides[*fault]).collect()
    }

    /// The side that was isolated first.
    pub(crate) fn first(&self) -> Option<Side> {
        self.course.first()
    }

    pub(crate) fn isolated(&self) -> bool {
        self.first().is_some()
    }
}

/// A stream of chance for each job and purpose.
fn stream(seed: u64, index: u64, purpose: u64) -> Random {
    // Spread over all bits, so that neighbouring jobs have nothing in common.
    let job = index.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    Random::new(seed ^ job.rotate_left(17), purpose)
}

const DRAWN: u64 = 1;
const ADVISED: u64 = 2;
const LISTED: u64 = 3;

fn advised(
    model: &Arc<Model>,
    drawn: &DrawnMachine,
    seed: u64,
    index: u64,
    keep: bool,
) -> (Technician, WorkedJob) {
    let rules = model.rules();
    let sides: Vec<Side> = drawn
        .faults
        .iter()
        .map(|f| rules.suspects[*f].side)
        .collect();
    let random = stream(seed, index, ADVISED);
    let mut technician =
        Technician::new(model, drawn.machine.clone(), drawn.complaint, random, keep);
    let worked = follow(rules, &mut technician, &sides);
    (technician, worked)
}

/// Draws the machine of this number and works it.
pub(crate) fn work(model: &Arc<Model>, population: &Population, seed: u64, index: u64) -> Outcome {
    let rules = model.rules();
    let drawn = population.machine(rules, &mut stream(seed, index, DRAWN));
    let (_, worked) = advised(model, &drawn, seed, index, false);
    let sides: Vec<Side> = drawn
        .faults
        .iter()
        .map(|f| rules.suspects[*f].side)
        .collect();
    let random = stream(seed, index, LISTED);
    let mut by_list = Technician::new(model, drawn.machine.clone(), drawn.complaint, random, false);
    let (tests, minutes, listed) = checklist(rules, &mut by_list, drawn.complaint);
    let listed_right = listed.side.is_some_and(|side| sides.contains(&side));
    let listed_isolated = isolated(&listed).is_some();
    let verdict = &worked.verdict;
    let suspect = |id: &String| rules.suspect_index(id);
    let leading = worked.last.suspects.iter().find(|s| match verdict.side {
        Some(side) => s.side == side,
        None => true,
    });
    Outcome {
        index,
        vague: drawn.vague,
        end: worked.last.standing,
        beliefs: beliefs(verdict),
        top: leading.and_then(|s| suspect(&s.id)),
        named: worked.last.named.as_ref().and_then(suspect),
        why: why_not(&worked),
        tests: worked.tests,
        minutes: worked.minutes,
        course: worked.course,
        along: worked.along,
        listed: (listed_isolated, listed_right, tests, minutes),
        substituted: substitute(rules, &drawn.faults),
        faults: drawn.faults,
        words: drawn.words,
    }
}

/// Why a job did not come to an isolated side.
fn why_not(worked: &WorkedJob) -> Option<String> {
    let verdict = &worked.verdict;
    match verdict.standing {
        Standing::Isolated => None,
        Standing::Contradicted => Some("contradicted".to_owned()),
        _ if worked.out_of_steps => Some("out of steps".to_owned()),
        Standing::Leaning => {
            let side = verdict.side.map_or("none", Side::word);
            let lacks = verdict
                .missing
                .iter()
                .find(|m| Some(m.side) == verdict.side)
                .map(|m| {
                    let all = [&m.passed, &m.failed, &m.any_failed, &m.measured_failed];
                    let first = all.into_iter().flatten().next();
                    first.map_or("a proof", String::as_str).to_owned()
                });
            let lacks = lacks.unwrap_or_default();
            Some(format!("proof of {side} lacks {lacks}"))
        }
        Standing::Open => {
            let mut by_belief = Side::ALL;
            let belief = |side: &Side| verdict.sides.of(*side);
            by_belief.sort_by(|a, b| belief(b).total_cmp(&belief(a)));
            let [first, second, ..] = by_belief;
            if belief(&first) < 0.5 {
                return Some("nothing believed".to_owned());
            }
            Some(format!("belief short: {first} or {second}"))
        }
    }
}

/// What a job was, told again with everything that happened.
pub(crate) struct ReplayedJob {
    pub drawn: DrawnMachine,
    pub events: Vec<Event>,
    pub verdict: Arc<Verdict>,
}

/// Works a job again by the advice, and keeps all of it, or what the isolation
/// of this number rests on: what came later may have set it right.
pub(crate) fn replay(
    model: &Arc<Model>,
    population: &Population,
    seed: u64,
    index: u64,
    isolation: Option<usize>,
) -> ReplayedJob {
    let drawn = population.machine(model.rules(), &mut stream(seed, index, DRAWN));
    let (mut technician, worked) = advised(model, &drawn, seed, index, true);
    let mut events = technician.log.take().unwrap_or_default();
    let mark = isolation.and_then(|number| worked.marks.get(number));
    let verdict = match mark {
        Some((verdict, count)) => {
            events.truncate(usize::try_from(*count).unwrap_or(usize::MAX));
            Arc::clone(verdict)
        }
        None => worked.last,
    };
    ReplayedJob {
        drawn,
        events,
        verdict,
    }
}
