//! Findings that are made from the stream without a run, while everything was measured to hold.

use crate::assess::judge_finding;
use crate::circumstances::Circumstances;
use crate::finding::Origin;
use crate::fold::Latest;
use crate::runs::{Counted, Runs};

impl Runs {
    /// Offers a streamed reading to the passive checks.
    pub(crate) fn offer_passive(&mut self, now: &Circumstances<'_>, point: usize, reading: Latest) {
        for index in 0..self.passive.len() {
            let run = &mut self.passive[index];
            let Some(measured) = now.measured(run.check) else {
                continue;
            };
            let holds = now.lacking(measured).is_none() && now.is_measured(measured);
            if !holds {
                // Whatever it had begun was not all measured: nothing comes of it.
                run.taking.leave(now.now);
                run.taking.restart();
                continue;
            }
            if run.taking.since.is_none() {
                let (from, detected) = now
                    .stays
                    .since(&measured.phases)
                    .unwrap_or((now.now, false));
                run.taking.enter(from, detected);
                run.started = from;
            }
            if measured.point != point {
                continue;
            }
            if let Ok(stay) = run.taking.admits(measured, reading, run.started) {
                run.taking.add(measured, stay, reading);
                self.counted.push(Counted {
                    check: run.check,
                    run: None,
                    not: None,
                });
            }
            self.look_passive(now, index);
        }
    }

    /// The phase was entered, or the drive changed: what a passive check had begun ends there.
    pub(crate) fn leave_passive(&mut self, now: &Circumstances<'_>, again: bool) {
        for index in 0..self.passive.len() {
            let run = &mut self.passive[index];
            let Some(measured) = now.measured(run.check) else {
                continue;
            };
            let drive = measured.drive.is_none_or(|drive| drive == now.drive);
            if again || !drive || !measured.phases.contains(&now.phase) {
                run.taking.leave(now.now);
                self.look_passive(now, index);
                self.passive[index].taking.restart();
            }
        }
    }

    /// Whether a passive check has all it needs by now.
    pub(crate) fn look_passive(&mut self, now: &Circumstances<'_>, index: usize) {
        let run = &self.passive[index];
        let (Some(measured), Some(window)) = (now.measured(run.check), &run.taking.window) else {
            return;
        };
        if run.taking.done || run.taking.full(measured, now.now).is_err() {
            return;
        }
        let found = judge_finding(now.model, measured, window, now.latest, now.now);
        let (check, from) = (run.check, window.opened);
        if found.pass.is_some() {
            // One passive finding of a check and round is kept, the newest.
            let round = self.round;
            self.findings.retain(|f| {
                f.check != check || f.round != round || f.origin != Origin::Passive || f.withdrawn
            });
            self.note(check, from, now.now, Origin::Passive, found);
        }
        let run = &mut self.passive[index];
        run.taking.restart();
        run.taking.done = true;
    }
}
