//! The fold: events in, verdict out. The same events give the same verdict,
//! byte for byte, live or replayed.

use std::sync::Arc;

use trisect_measure::{Amount, Flags, combine};
use trisect_rules::{Drive, Format, Outcome, Phase};

use crate::assess::Assessment;
use crate::circumstances::Circumstances;
use crate::event::{Event, What};
use crate::finding::{Finding, Origin};
use crate::model::Model;
use crate::phase::PhaseTracker;
use crate::run::Run;
use crate::runs::{Counted, Runs};
use crate::stays::{CrankSummary, PhaseStay, Seen, Stays};
use crate::verdict::Verdict;
use crate::window::{Stay, Window};

/// How things stand: every part but the runs, which may be changed meanwhile.
macro_rules! circumstances {
    ($of:ident) => {
        Circumstances {
            model: &$of.model,
            phase: $of.phases.phase(),
            drive: $of.drive,
            latest: &$of.latest,
            stays: &$of.stays,
            now: $of.now,
        }
    };
}

/// What is known of one check.
#[derive(Clone, Debug, Default)]
pub(crate) struct CheckState {
    /// The newest window that has a usable reading.
    pub(crate) window: Option<Window>,
    /// The newest full one before it, which counts until the newest is full.
    pub(crate) before: Option<Window>,
    /// The stay of the window that is still to open.
    waiting: Option<Stay>,
    /// Count of events at its newest reading.
    pub(crate) touched: u64,
    /// A reading came that cannot be evidence, and none that can.
    pub(crate) spoiled: Option<(u64, Flags)>,
    /// An outcome stated from elsewhere, with the count of events.
    pub(crate) stated: Option<(u64, Outcome)>,
    /// The answer, with the count of events.
    pub(crate) answer: Option<(u64, u16)>,
}

/// The newest usable reading of a point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Latest {
    pub(crate) at: i64,
    pub(crate) amount: Amount,
    pub(crate) u: f64,
    pub(crate) entered: bool,
}

/// One job's diagnosis: a state machine that reads no clock.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    model: Arc<Model>,
    complaint: Option<usize>,
    phases: PhaseTracker,
    stays: Stays,
    drive: Drive,
    now: i64,
    events: u64,
    states: Vec<CheckState>,
    latest: Vec<Option<Latest>>,
    runs: Runs,
    verdict: Option<Arc<Verdict>>,
}

impl Diagnosis {
    /// A job that just opened: engine off, on its own harness. The complaint is
    /// an index into the rule set.
    pub fn new(model: Arc<Model>, complaint: Option<usize>) -> Diagnosis {
        let rules = model.rules();
        let states = vec![CheckState::default(); rules.checks.len()];
        let points = rules.test_points.len() + rules.derived.len();
        let runs = Runs::new(&model);
        let mut diagnosis = Diagnosis {
            model,
            runs,
            complaint,
            phases: PhaseTracker::new(),
            stays: Stays::new(),
            drive: Drive::Harness,
            now: 0,
            events: 0,
            states,
            latest: vec![None; points],
            verdict: None,
        };
        diagnosis.stays.enter(Phase::Off, 0, true);
        diagnosis.enter(0, None, true, true);
        diagnosis
    }

    /// Takes the next event. Indexes that are none of the rule set's are
    /// ignored: whoever turns names into indexes refuses unknown names.
    pub fn push(&mut self, event: &Event) {
        self.verdict = None;
        self.events += 1;
        self.now = self.now.max(event.at);
        match event.what {
            What::Reading {
                point,
                amount,
                u,
                flags,
                entered,
            } => {
                let reading = Latest {
                    at: event.at,
                    amount,
                    u,
                    entered,
                };
                self.reading(usize::from(point), reading, flags);
            }
            What::Phase(phase) => {
                let before = self.phases.phase();
                self.phases.say(phase);
                self.stays.enter(phase, event.at, true);
                // Said once more, the windows of the phase start anew.
                self.enter(event.at, Some(before), before == phase, true);
                self.with_runs(|runs, now| runs.entered(now, before == phase));
            }
            What::Drive(drive) => {
                let changed = self.drive != drive;
                self.drive = drive;
                self.enter(event.at, Some(self.phases.phase()), changed, true);
                self.with_runs(|runs, now| runs.entered(now, false));
            }
            What::Answer { check, answer } => self.answer(check, answer),
            What::Outcome { check, outcome } => self.settle(check, outcome),
            What::Window { point } => {
                self.anew(usize::from(point), event.at);
                self.with_runs(|runs, now| runs.probe(now, usize::from(point), true));
            }
            What::Lift { point } => {
                self.with_runs(|runs, now| runs.probe(now, usize::from(point), false));
            }
            What::Start { check } => self.with_runs(|runs, now| runs.start(now, check)),
            What::Stop { check } => self.with_runs(|runs, now| runs.stop(now, check)),
            What::Kept { check, kept } => self.with_runs(|runs, now| runs.kept(now, check, kept)),
            What::Withdraw { finding } => self.runs.withdraw(finding),
            What::Repair => self.with_runs(|runs, now| runs.repair(now)),
        }
    }

    /// The runs of the job, the oldest first.
    pub fn runs(&self) -> &[Run] {
        &self.runs.all
    }

    /// What was found, the oldest first.
    pub fn findings(&self) -> &[Finding] {
        &self.runs.findings
    }

    /// The round, from one: a repair begins the next.
    pub fn round(&self) -> u32 {
        self.runs.round
    }

    /// What the newest reading counted for, and what it might have been meant for and did not.
    pub fn counted(&self) -> &[Counted] {
        &self.runs.counted
    }

    /// What an open run lacks before its readings count, in words.
    pub fn lacks(&self, run: &Run) -> Vec<String> {
        self.runs.lacks(&self.circumstances(), run)
    }

    fn circumstances(&self) -> Circumstances<'_> {
        circumstances!(self)
    }

    /// Does something with the runs; a job by a rule set of format 1 has none.
    fn with_runs(&mut self, work: impl FnOnce(&mut Runs, &Circumstances<'_>)) {
        if self.model.rules.format == Format::One {
            return;
        }
        let now = circumstances!(self);
        work(&mut self.runs, &now);
    }

    fn answer(&mut self, check: u16, answer: u16) {
        let known = self.model.rules.checks.get(usize::from(check));
        let Some(asked) = known.and_then(|check| check.asked()) else {
            return;
        };
        let assessment = match asked.answers.get(usize::from(answer)) {
            Some(_) => Assessment::answered(answer),
            None => Assessment::untold(),
        };
        if self.model.rules.format == Format::Two {
            self.runs.told(self.now, check, Origin::Answer, assessment);
        } else if let Some(state) = self.states.get_mut(usize::from(check)) {
            state.answer = Some((self.events, answer));
        }
    }

    fn settle(&mut self, check: u16, outcome: Outcome) {
        let Some(state) = self.states.get_mut(usize::from(check)) else {
            return;
        };
        if self.model.rules.format == Format::Two {
            let assessment = Assessment::stated(outcome);
            self.runs.told(self.now, check, Origin::Stated, assessment);
        } else {
            state.stated = Some((self.events, outcome));
        }
    }

    /// The verdict on everything so far; computed when asked for, and kept
    /// until the next event.
    pub fn verdict(&mut self) -> Arc<Verdict> {
        if let Some(verdict) = &self.verdict {
            return Arc::clone(verdict);
        }
        let job = crate::reason::Job {
            model: &self.model,
            complaint: self.complaint,
            states: &self.states,
            runs: &self.runs,
            latest: &self.latest,
            now: self.now,
            phase: self.phases.phase(),
            crank: self.stays.last_crank(self.now),
        };
        let found = crate::reason::reason(&job);
        let verdict = Arc::new(found);
        self.verdict = Some(Arc::clone(&verdict));
        verdict
    }

    /// The phase of the engine.
    pub fn phase(&self) -> Phase {
        self.phases.phase()
    }

    /// The newest phases that the engine was in, the oldest first, each with what
    /// was read in it. No more than [`crate::KEPT_STAYS`] are kept.
    pub fn phases(&self) -> impl Iterator<Item = &PhaseStay> {
        self.stays.all()
    }

    /// The newest times that the engine was cranked, the oldest first. No more
    /// than [`crate::KEPT_STAYS`] are kept.
    pub fn cranks(&self) -> Vec<CrankSummary> {
        self.stays.cranks(self.now)
    }

    /// The drive on the pump's connector.
    pub fn drive(&self) -> Drive {
        self.drive
    }

    /// The model this reasons by.
    pub fn model(&self) -> &Arc<Model> {
        &self.model
    }

    /// How many events it has taken.
    pub fn events(&self) -> u64 {
        self.events
    }

    fn reading(&mut self, point: usize, reading: Latest, flags: Flags) {
        if point >= self.latest.len() {
            return;
        }
        if flags.spoiled() {
            self.spoil(point, reading.at, flags);
            self.with_runs(|runs, now| runs.flagged(now, point, flags));
            return;
        }
        // The phase first: the reading that begins a phase already counts in that phase's windows.
        self.follow(point, reading);
        self.count(point, reading);
        self.latest[point] = Some(reading);
        self.with_runs(|runs, now| runs.reading(now, point, reading));
        self.derive(point, reading);
    }

    /// Reads the phase off the engine speed or, while nobody reads that, off the
    /// battery; and sums up what is worth telling of a phase.
    fn follow(&mut self, point: usize, reading: Latest) {
        let model = &self.model;
        let seen = [
            (model.battery, Seen::Battery),
            (model.engine_speed, Seen::Speed),
            (model.inlet_pressure, Seen::InletPressure),
        ];
        let seen = seen.into_iter().find(|(known, _)| *known == Some(point));
        let Some(((_, seen), x)) = seen.zip(reading.amount.exact()) else {
            return;
        };
        let before = self.phases.phase();
        let changed = match seen {
            Seen::Speed => self.phases.speed(reading.at, x),
            // What a person enters has no rate, so it shows no sag.
            Seen::Battery if !reading.entered => self.phases.voltage(reading.at, x),
            Seen::Battery | Seen::InletPressure => false,
        };
        if changed {
            self.stays.enter(self.phases.phase(), reading.at, false);
            self.enter(reading.at, Some(before), false, false);
            self.with_runs(|runs, now| runs.entered(now, false));
        }
        self.stays.read(seen, reading.at, x, reading.entered);
    }

    /// Adds a reading to the windows of the checks that look at its point.
    fn count(&mut self, point: usize, reading: Latest) {
        for &check in &self.model.by_point[point] {
            let state = &mut self.states[usize::from(check)];
            let Some(measured) = self.model.measured(usize::from(check)) else {
                continue;
            };
            if let Some(stay) = state.waiting {
                // What a person says together with its phase is about the whole of it.
                let with_phase = reading.entered && reading.at == stay.from;
                let after = if with_phase { 0 } else { measured.after };
                if reading.at < stay.from.saturating_add(after) {
                    continue;
                }
                state.waiting = None;
                let fresh = Window::new(reading.at, stay, measured);
                let last = state.window.replace(fresh);
                // Until the new window is full, the last full one remains the evidence.
                if let Some(last) = last.filter(|last| last.full(measured, self.now).is_ok()) {
                    state.before = Some(last);
                }
                state.spoiled = None;
            }
            let Some(window) = &mut state.window else {
                continue;
            };
            if window.takes(measured, reading.at) {
                let (at, over) = (reading.at, measured.over);
                window.add(at, reading.amount, reading.u, reading.entered, over);
                state.touched = self.events;
            }
        }
    }

    fn spoil(&mut self, point: usize, at: i64, flags: Flags) {
        for &check in &self.model.by_point[point] {
            let state = &mut self.states[usize::from(check)];
            // Where a usable reading stands, an unusable one after it takes nothing away.
            if state.window.is_none() && state.waiting.is_some_and(|stay| at >= stay.from) {
                state.spoiled = Some((self.events, flags));
            }
        }
    }

    /// Pairs a reading with the newest one of the other point, if that is near
    /// enough in time (both test points; a derived point pairs with nothing).
    fn derive(&mut self, point: usize, reading: Latest) {
        let model = Arc::clone(&self.model);
        for (index, derived) in model.rules.derived.iter().enumerate() {
            let other = match point {
                p if p == derived.minuend => derived.subtrahend,
                p if p == derived.subtrahend => derived.minuend,
                _ => continue,
            };
            let Some(partner) = self.latest[other] else {
                continue;
            };
            let (Some(x), Some(y)) = (reading.amount.exact(), partner.amount.exact()) else {
                continue;
            };
            // Two pressures from different moments differ by what the engine did in between.
            if (reading.at - partner.at).abs() > derived.within {
                continue;
            }
            let difference = if point == derived.minuend {
                x - y
            } else {
                y - x
            };
            let pair = Latest {
                // There was no pair before the second of them was read.
                at: reading.at.max(partner.at),
                amount: Amount::Exactly(difference),
                u: combine(&[reading.u, partner.u]),
                entered: reading.entered && partner.entered,
            };
            let place = model.rules.test_points.len() + index;
            self.count(place, pair);
            self.latest[place] = Some(pair);
            self.with_runs(|runs, now| runs.pair(now, place, pair));
        }
    }

    /// The phase or the drive is now what it is: closes the windows of checks
    /// that have no place here, and lets those of the others open.
    fn enter(&mut self, at: i64, before: Option<Phase>, again: bool, said: bool) {
        let now = self.phases.phase();
        let stay = Stay {
            from: at,
            detected: !said,
        };
        for (check, state) in self.states.iter_mut().enumerate() {
            let Some(measured) = self.model.measured(check) else {
                continue;
            };
            let drive = measured.drive.is_none_or(|drive| drive == self.drive);
            let here = drive && measured.phases.contains(&now);
            let was = before.is_some_and(|phase| measured.phases.contains(&phase));
            if here && (again || !was) {
                state.waiting = Some(stay);
            }
            if let Some(window) = &mut state.window {
                if !here || again {
                    window.close(at);
                } else if before != Some(now) {
                    window.restart(at.saturating_add(measured.after));
                }
            }
            // Passed through on the way to another phase: it was none.
            if !here && !said && state.window.as_ref().is_some_and(|w| w.passing(at)) {
                state.window = state.before.take();
            }
            if !here {
                state.waiting = None;
            }
        }
    }

    fn anew(&mut self, point: usize, at: i64) {
        let now = self.phases.phase();
        let Some(checks) = self.model.by_point.get(point) else {
            return;
        };
        for &check in checks {
            let Some(measured) = self.model.measured(usize::from(check)) else {
                continue;
            };
            let drive = measured.drive.is_none_or(|drive| drive == self.drive);
            let state = &mut self.states[usize::from(check)];
            if let Some(window) = &mut state.window {
                window.close(at);
            }
            if drive && measured.phases.contains(&now) {
                let fresh = Stay {
                    from: at,
                    detected: false,
                };
                let later = state.waiting.filter(|stay| stay.from > at);
                state.waiting = Some(later.unwrap_or(fresh));
            }
        }
    }
}
