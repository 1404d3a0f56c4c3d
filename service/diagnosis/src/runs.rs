//! All runs of a job, and what they found.

use trisect_measure::Flags;
use trisect_rules::Measured;

use crate::assess::{Assessment, judge_finding};
use crate::circumstances::{Circumstances, Lacking, words};
use crate::finding::{Finding, Origin};
use crate::fold::Latest;
use crate::model::Model;
use crate::run::{NotTaken, Run, Stage, Taking};

/// What a reading counted for, or why it did not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counted {
    /// The check.
    pub check: u16,
    /// The run; `None` for a passive finding.
    pub run: Option<u32>,
    /// Why it did not count; `None` if it did.
    pub not: Option<NotTaken>,
}

/// The runs, passive findings in the making, and findings of a job.
#[derive(Clone, Debug)]
pub(crate) struct Runs {
    pub(crate) all: Vec<Run>,
    /// Places in `all` of those that are open.
    open: Vec<usize>,
    /// One for each passive check.
    pub(crate) passive: Vec<Run>,
    pub(crate) findings: Vec<Finding>,
    pub(crate) round: u32,
    /// By point: a probe is there.
    placed: Vec<bool>,
    /// What the newest reading counted for.
    pub(crate) counted: Vec<Counted>,
}

impl Runs {
    pub(crate) fn new(model: &Model) -> Runs {
        let points = model.rules.test_points.len() + model.rules.derived.len();
        let passive = model.passive.iter();
        Runs {
            all: Vec::new(),
            open: Vec::new(),
            passive: passive.map(|check| Run::new(0, *check, 1, 0)).collect(),
            findings: Vec::new(),
            round: 1,
            placed: vec![false; points],
            counted: Vec::new(),
        }
    }

    /// The open run of a check.
    pub(crate) fn open_run(&self, check: u16) -> Option<&Run> {
        let place = self
            .open
            .iter()
            .find(|place| self.all[**place].check == check)?;
        self.all.get(*place)
    }

    pub(crate) fn start(&mut self, now: &Circumstances<'_>, check: u16) {
        if now.measured(check).is_none() || self.open_run(check).is_some() {
            return;
        }
        let number = self.all.len() as u32 + 1;
        self.open.push(self.all.len());
        self.all.push(Run::new(number, check, self.round, now.now));
        self.follow(now);
    }

    pub(crate) fn stop(&mut self, now: &Circumstances<'_>, check: u16) {
        for place in self.open.clone() {
            let run = &mut self.all[place];
            if run.check == check {
                run.stage = Stage::Stopped;
                run.ended = Some(now.now);
            }
        }
        self.sweep();
    }

    pub(crate) fn kept(&mut self, now: &Circumstances<'_>, check: u16, kept: bool) {
        let confirming = |run: &Run| run.check == check && run.stage == Stage::Confirming;
        let place = self
            .open
            .iter()
            .copied()
            .find(|p| confirming(&self.all[*p]));
        let Some(place) = place else {
            return;
        };
        if kept {
            self.find(now, place);
        } else {
            let why = "what has to be kept to was not kept to: do the test again";
            self.all[place].spoil(now.now, why.to_owned());
        }
        self.sweep();
    }

    pub(crate) fn withdraw(&mut self, number: u32) {
        let finding = self.findings.iter_mut().find(|f| f.number == number);
        if let Some(finding) = finding {
            finding.withdrawn = true;
        }
    }

    /// A new round: what is being measured was begun on the machine as it was before.
    pub(crate) fn repair(&mut self, now: &Circumstances<'_>) {
        for place in self.open.drain(..) {
            self.all[place].spoil(now.now, "a repair was done meanwhile".to_owned());
        }
        self.round += 1;
        for run in &mut self.passive {
            *run = Run::new(0, run.check, self.round, now.now);
        }
        self.follow(now);
    }

    /// An answer, or an outcome that was settled elsewhere.
    pub(crate) fn told(&mut self, at: i64, check: u16, origin: Origin, assessment: Assessment) {
        self.note(check, at, at, origin, assessment);
    }

    /// A probe was placed on a point, or lifted.
    pub(crate) fn probe(&mut self, now: &Circumstances<'_>, point: usize, placed: bool) {
        let Some(known) = self.placed.get_mut(point) else {
            return self.tick(now);
        };
        *known = placed;
        let done = if placed { "placed anew" } else { "lifted" };
        for place in self.open.clone() {
            let run = &mut self.all[place];
            let here = now.measured(run.check).is_some_and(|m| m.point == point);
            // Before the first reading a probe may still be moved about: nothing was measured in the wrong place.
            let begun = run.stage == Stage::Taking && run.taking.window.is_some();
            if here && begun {
                run.spoil(
                    now.now,
                    format!("the probe was {done} while readings were taken"),
                );
            }
        }
        for run in &mut self.passive {
            if now.measured(run.check).is_some_and(|m| m.point == point) {
                run.taking.restart();
            }
        }
        self.sweep();
        self.follow(now);
    }

    /// The phase was entered, or said again; or the drive was changed.
    pub(crate) fn entered(&mut self, now: &Circumstances<'_>, again: bool) {
        let mut full = Vec::new();
        for place in self.open.clone() {
            let run = &mut self.all[place];
            let Some(measured) = now.measured(run.check) else {
                continue;
            };
            let drive = measured.drive.is_none_or(|drive| drive == now.drive);
            let here = drive && measured.phases.contains(&now.phase);
            if here && !again {
                if let Some(window) = &mut run.taking.window {
                    window.restart(now.now.saturating_add(measured.after));
                }
                continue;
            }
            if run.stage != Stage::Taking {
                run.taking.leave(now.now);
                continue;
            }
            let passing = run.taking.window.as_ref();
            if passing.is_some_and(|window| window.passing(now.now)) {
                // Passed through on the way to another phase: it was none.
                run.taking.leave(now.now);
                run.taking.restart();
                run.stage = Stage::Waiting;
                continue;
            }
            run.taking.leave(now.now);
            match run.taking.full(measured, now.now) {
                Ok(()) => full.push(place),
                _ if !drive => run.spoil(
                    now.now,
                    format!(
                        "the drive was changed to {} while readings were taken",
                        now.drive
                    ),
                ),
                // A stream was cut short. Where nothing was read, a person may still write it down.
                Err(why) if run.taking.window.is_some() => run.spoil(now.now, why.to_owned()),
                Err(_) => run.stage = Stage::Waiting,
            }
        }
        for place in full {
            self.all_read(now, place);
        }
        self.leave_passive(now, again);
        self.sweep();
        self.follow(now);
    }

    /// Takes a usable reading.
    pub(crate) fn reading(&mut self, now: &Circumstances<'_>, point: usize, reading: Latest) {
        self.counted.clear();
        self.pair(now, point, reading);
    }

    /// Takes what was computed from the reading and one before it.
    pub(crate) fn pair(&mut self, now: &Circumstances<'_>, point: usize, reading: Latest) {
        self.follow(now);
        for place in self.open.clone() {
            self.offer(now, place, point, reading);
        }
        if !reading.entered {
            self.offer_passive(now, point, reading);
        }
        self.sweep();
    }

    /// A reading that cannot be used.
    pub(crate) fn flagged(&mut self, now: &Circumstances<'_>, point: usize, flags: Flags) {
        self.counted.clear();
        for place in &self.open {
            let run = &mut self.all[*place];
            if now.measured(run.check).is_some_and(|m| m.point == point) {
                run.taking.flagged = Some(flags);
                self.counted.push(Counted {
                    check: run.check,
                    run: Some(run.number),
                    not: Some(NotTaken::Flagged(flags)),
                });
            }
        }
        self.tick(now);
    }

    /// Looks whether time has passed that completes or spoils something.
    pub(crate) fn tick(&mut self, now: &Circumstances<'_>) {
        for place in self.open.clone() {
            self.look(now, place);
        }
        for index in 0..self.passive.len() {
            self.look_passive(now, index);
        }
        self.sweep();
    }

    /// Brings the stages of open runs up to what holds now.
    fn follow(&mut self, now: &Circumstances<'_>) {
        for place in self.open.clone() {
            let run = &self.all[place];
            let Some(measured) = now.measured(run.check) else {
                continue;
            };
            if run.stage == Stage::Confirming {
                continue;
            }
            let lacking = now.lacking(measured);
            let (since, probed) = (
                now.stays.since(&measured.phases),
                self.is_probed(now, measured),
            );
            let run = &mut self.all[place];
            match (lacking, run.stage) {
                (None, Stage::Taking) => {}
                (None, _) => {
                    let (from, detected) = since.unwrap_or((now.now, false));
                    run.taking.enter(from, detected);
                    run.stage = Stage::Taking;
                }
                (Some(broken), Stage::Taking) if run.taking.window.is_some() => {
                    let why = words(now.model, measured, broken);
                    run.spoil(now.now, format!("{why} while readings were taken"));
                }
                (Some(lacking), _) => {
                    run.taking.leave(now.now);
                    // What was measured to be otherwise is not written down later as if it had been so.
                    if matches!(lacking, Lacking::Speed(_) | Lacking::Condition(..)) {
                        run.taking.last = None;
                    }
                    run.stage = match lacking {
                        Lacking::Drive(_) | Lacking::LimitPoint(_) => Stage::Preparing,
                        _ if !probed => Stage::Preparing,
                        _ => Stage::Waiting,
                    };
                }
            }
        }
        self.sweep();
    }

    /// Something measures at the check's point, or did a moment ago.
    fn is_probed(&self, now: &Circumstances<'_>, measured: &Measured) -> bool {
        let placed = |point: usize| self.placed.get(point).copied().unwrap_or_default();
        let seen = |point: usize| placed(point) || now.fresh(point).is_some();
        match now.model.rules.derived_at(measured.point) {
            Some(derived) => seen(derived.minuend) && seen(derived.subtrahend),
            None => seen(measured.point),
        }
    }

    fn offer(&mut self, now: &Circumstances<'_>, place: usize, point: usize, reading: Latest) {
        let run = &mut self.all[place];
        let Some(measured) = now.measured(run.check).filter(|m| m.point == point) else {
            return self.look(now, place);
        };
        let waits = run.stage == Stage::Waiting || run.stage == Stage::Preparing;
        let admitted = match run.stage {
            Stage::Taking => run.taking.admits(measured, reading, run.started),
            // Written down after the phase was left.
            _ if waits && reading.entered => run.taking.admits(measured, reading, run.started),
            Stage::Confirming => Err(NotTaken::Full),
            _ => Err(NotTaken::Waiting),
        };
        let counted = Counted {
            check: run.check,
            run: Some(run.number),
            not: admitted.err(),
        };
        if let Ok(stay) = admitted {
            run.taking.add(measured, stay, reading);
            run.unmeasured = now.unmeasured(measured);
        }
        self.counted.push(counted);
        self.look(now, place);
    }

    /// Whether a run has all it needs by now.
    fn look(&mut self, now: &Circumstances<'_>, place: usize) {
        let run = &self.all[place];
        let open = matches!(run.stage, Stage::Taking | Stage::Waiting | Stage::Preparing);
        let (Some(measured), true) = (now.measured(run.check), open) else {
            return;
        };
        let Some(window) = &run.taking.window else {
            return;
        };
        if window.unusable().is_some() {
            let why = window.unusable().unwrap_or_default();
            self.all[place].spoil(now.now, format!("`{}`: {why}", measured.take.word()));
            return;
        }
        match run.taking.full(measured, now.now) {
            Ok(()) => self.all_read(now, place),
            Err(why) => {
                // By the newest event of the job, not by a clock: a replay has to spoil the run at the same event.
                let over = run.taking.full_at(measured).is_some_and(|at| at <= now.now);
                // Past its end and still not full: there is a gap, or a value that cannot be used.
                if over && !window.entered {
                    self.all[place].spoil(now.now, why.to_owned());
                }
            }
        }
    }

    /// All readings are there: a finding, unless somebody has to say first that the test was kept to.
    fn all_read(&mut self, now: &Circumstances<'_>, place: usize) {
        let run = &mut self.all[place];
        let keep = now.measured(run.check).is_some_and(|m| m.keep.is_some());
        if keep || !run.unmeasured.is_empty() {
            run.stage = Stage::Confirming;
        } else {
            self.find(now, place);
        }
    }

    fn find(&mut self, now: &Circumstances<'_>, place: usize) {
        let run = &self.all[place];
        let (number, check) = (run.number, run.check);
        let (Some(measured), Some(window)) = (now.measured(check), &run.taking.window) else {
            return;
        };
        let assessment = judge_finding(now.model, measured, window, now.latest, now.now);
        let from = window.opened;
        let finding = self.note(check, from, now.now, Origin::Run(number), assessment);
        let run = &mut self.all[place];
        run.stage = Stage::Found;
        run.ended = Some(now.now);
        run.finding = Some(finding);
    }

    pub(crate) fn note(
        &mut self,
        check: u16,
        from: i64,
        at: i64,
        origin: Origin,
        found: Assessment,
    ) -> u32 {
        let number = self.findings.last().map_or(0, |last| last.number) + 1;
        self.findings.push(Finding {
            number,
            check,
            round: self.round,
            from,
            at,
            origin,
            withdrawn: false,
            assessment: found,
        });
        number
    }

    /// Lets go of what is not open any more.
    fn sweep(&mut self) {
        let all = &mut self.all;
        self.open.retain(|place| {
            let run = &mut all[*place];
            if !run.stage.is_open() {
                // What its windows held is in the finding; a job may have many runs.
                run.taking = Taking::default();
            }
            run.stage.is_open()
        });
    }

    /// What stands of a check's findings: of this round or such as survive repairs, and not withdrawn; passive
    /// ones only where nobody tested.
    pub(crate) fn standing(&self, model: &Model, check: usize) -> Vec<&Finding> {
        let survives = model.rules.checks[check].survives_repair;
        let standing = self.findings.iter().filter(|finding| {
            usize::from(finding.check) == check
                && !finding.withdrawn
                && (survives || finding.round == self.round)
        });
        let (passive, tested): (Vec<&Finding>, Vec<&Finding>) =
            standing.partition(|finding| finding.origin == Origin::Passive);
        if tested.iter().any(|finding| finding.tells()) || passive.is_empty() {
            tested
        } else {
            passive
        }
    }

    /// What an open run lacks, in words, the first thing first.
    pub(crate) fn lacks(&self, now: &Circumstances<'_>, run: &Run) -> Vec<String> {
        let Some(measured) = now.measured(run.check) else {
            return Vec::new();
        };
        let mut lacks = Vec::new();
        if !self.is_probed(now, measured) {
            lacks.push(words(now.model, measured, Lacking::Probe(measured.point)));
        }
        if let Some(lacking) = now.lacking(measured) {
            lacks.push(words(now.model, measured, lacking));
        }
        for index in &run.unmeasured {
            lacks.push(words(now.model, measured, Lacking::Unmeasured(*index)));
        }
        lacks
    }
}
