//! Each phase that the engine was in, and each time it was cranked, with what was
//! read then.

use std::collections::VecDeque;

use serde::Serialize;
use trisect_measure::{NANOS_PER_SECOND, Unit, significant};
use trisect_rules::Phase;

use crate::phase::DWELL;

/// So many phases are kept, and so many cranks; older ones are counted only.
pub const KEPT_STAYS: usize = 64;
/// The starter's first rush of current is left out, as the checks have it.
const SETTLED: i64 = NANOS_PER_SECOND / 2;
/// The line fills first, as the checks have it.
const FILLED: i64 = NANOS_PER_SECOND;
/// The pressure that has to be built: five pounds to the square inch, in SI.
const BUILT_PSI: f64 = 5.0;

/// What a reading can be of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Seen {
    Battery,
    Speed,
    InletPressure,
}

/// One stay of the engine in a phase. Times are nanoseconds since the job opened.
#[derive(Clone, Debug, PartialEq)]
pub struct PhaseStay {
    /// Its number among all of the job, from one.
    pub number: u64,
    /// The phase.
    pub phase: Phase,
    /// When it began.
    pub from: i64,
    /// When it ended; `None` if it has not.
    pub until: Option<i64>,
    /// Said by a person, or else told by readings.
    pub said: bool,
    /// The lowest battery voltage, in volts; while cranking, after the first half second.
    pub battery_minimum: Option<f64>,
    /// The mean engine speed, in radians per second; while cranking, after the
    /// first half second.
    pub engine_speed: Option<f64>,
    /// The lowest pressure at the pump inlet, in pascals; while cranking, after
    /// the first second.
    pub lowest_inlet_pressure: Option<f64>,
    /// From its beginning until the inlet pressure first was 5 psi, in nanoseconds.
    pub built_5_psi_after: Option<i64>,
    speeds: u64,
}

/// One time that the engine was cranked, in the trade's units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CrankSummary {
    /// Its number among the cranks of the job, from one.
    pub number: u64,
    /// When it began, in seconds since the job opened.
    pub at: f64,
    /// How long it lasted, or has lasted so far, in seconds.
    pub seconds: f64,
    /// The lowest battery voltage after the first half second, in volts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub battery_minimum: Option<f64>,
    /// The mean speed after the first half second, in revolutions per minute.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cranking_speed: Option<f64>,
    /// The lowest pressure at the pump inlet after the first second, in psi.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowest_inlet_pressure: Option<f64>,
    /// Seconds until the inlet pressure first was 5 psi.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub built_5_psi_after: Option<f64>,
}

/// The newest stays, and how many there were.
#[derive(Clone, Debug)]
pub(crate) struct Stays {
    all: VecDeque<PhaseStay>,
    count: u64,
    /// Cranks that have ended, with their numbers.
    cranks: VecDeque<(u64, PhaseStay)>,
    cranked: u64,
}

impl Stays {
    pub(crate) const fn new() -> Stays {
        Stays {
            all: VecDeque::new(),
            count: 0,
            cranks: VecDeque::new(),
            cranked: 0,
        }
    }

    /// The engine is in this phase from now on (again, if it was).
    pub(crate) fn enter(&mut self, phase: Phase, at: i64, said: bool) {
        let mut from = at;
        if let Some(current) = self.all.back_mut() {
            current.until = Some(at);
            let lasted = at.saturating_sub(current.from);
            if !current.said && !said && lasted < DWELL {
                // Passed through: it was no phase, and what follows began with it.
                from = current.from;
                self.all.pop_back();
                self.count -= 1;
                if self.resume(phase) {
                    return;
                }
            } else if current.phase == Phase::Cranking {
                self.cranked += 1;
                let crank = (self.cranked, current.clone());
                keep(&mut self.cranks, crank);
            }
        }
        self.count += 1;
        let stay = PhaseStay {
            number: self.count,
            phase,
            from,
            until: None,
            said,
            battery_minimum: None,
            engine_speed: None,
            lowest_inlet_pressure: None,
            built_5_psi_after: None,
            speeds: 0,
        };
        keep(&mut self.all, stay);
    }

    /// Back in the phase before what was passed through: that one goes on.
    fn resume(&mut self, phase: Phase) -> bool {
        let Some(before) = self.all.back_mut().filter(|stay| stay.phase == phase) else {
            return false;
        };
        before.until = None;
        if phase == Phase::Cranking {
            // It was counted as ended when the engine seemed to leave it: it is one crank, not two.
            self.cranks.pop_back();
            self.cranked -= 1;
        }
        true
    }

    /// Takes a reading, in SI. What a person enters stands for the whole stay.
    pub(crate) fn read(&mut self, seen: Seen, at: i64, x: f64, entered: bool) {
        let Some(stay) = self.all.back_mut() else {
            return;
        };
        let since = at.saturating_sub(stay.from);
        let cranking = stay.phase == Phase::Cranking;
        // The starter's first rush dips deeper than the cranking that a minimum is to tell of.
        let after = |wait: i64| entered || !cranking || since >= wait;
        let lowest = |low: Option<f64>| Some(low.map_or(x, |low| low.min(x)));
        match seen {
            Seen::Battery if after(SETTLED) => stay.battery_minimum = lowest(stay.battery_minimum),
            Seen::Speed if after(SETTLED) => {
                stay.speeds += 1;
                let mean = stay.engine_speed.unwrap_or(0.0);
                stay.engine_speed = Some(mean + (x - mean) / stay.speeds as f64);
            }
            Seen::InletPressure => {
                if after(FILLED) {
                    stay.lowest_inlet_pressure = lowest(stay.lowest_inlet_pressure);
                }
                // What a person writes down later has no moment at which the pressure was there.
                if x >= Unit::PSI.to_si(BUILT_PSI) && !entered {
                    stay.built_5_psi_after = stay.built_5_psi_after.or(Some(since));
                }
            }
            Seen::Battery | Seen::Speed => {}
        }
    }

    /// Since when, without a break, the engine has been in one of these phases, and whether readings told so.
    pub(crate) fn since(&self, phases: &[Phase]) -> Option<(i64, bool)> {
        let stays = self.all.iter().rev();
        let mut within = stays.take_while(|stay| phases.contains(&stay.phase));
        let newest = within.next()?;
        let first = within.last().unwrap_or(newest);
        Some((first.from, !first.said))
    }

    pub(crate) fn all(&self) -> impl Iterator<Item = &PhaseStay> {
        self.all.iter()
    }

    pub(crate) fn cranks(&self, now: i64) -> Vec<CrankSummary> {
        let ended = self.cranks.iter().map(|(number, stay)| (*number, stay));
        let all: Vec<_> = ended.chain(self.cranking()).collect();
        // The ended ones are full already when one more is under way.
        let newest = all.len().saturating_sub(KEPT_STAYS);
        all[newest..]
            .iter()
            .map(|(number, stay)| summary(*number, stay, now))
            .collect()
    }

    pub(crate) fn last_crank(&self, now: i64) -> Option<CrankSummary> {
        let ended = self.cranks.back().map(|(number, stay)| (*number, stay));
        let (number, stay) = self.cranking().or(ended)?;
        Some(summary(number, stay, now))
    }

    fn cranking(&self) -> Option<(u64, &PhaseStay)> {
        let current = self.all.back().filter(|stay| stay.phase == Phase::Cranking);
        current.map(|stay| (self.cranked + 1, stay))
    }
}

fn keep<T>(some: &mut VecDeque<T>, one: T) {
    if some.len() == KEPT_STAYS {
        some.pop_front();
    }
    some.push_back(one);
}

fn summary(number: u64, stay: &PhaseStay, now: i64) -> CrankSummary {
    let seconds = |nanos: i64| nanos as f64 / NANOS_PER_SECOND as f64;
    let shown = |x: f64, unit: Unit| significant(unit.from_si(x), 6);
    CrankSummary {
        number,
        at: seconds(stay.from),
        seconds: seconds(stay.until.unwrap_or(now).saturating_sub(stay.from)),
        battery_minimum: stay.battery_minimum.map(|x| shown(x, Unit::VOLT)),
        cranking_speed: stay.engine_speed.map(|x| shown(x, Unit::RPM)),
        lowest_inlet_pressure: stay.lowest_inlet_pressure.map(|x| shown(x, Unit::PSI)),
        built_5_psi_after: stay.built_5_psi_after.map(seconds),
    }
}
