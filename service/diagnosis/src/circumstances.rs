//! What a check asks of the machine while its readings are taken, and whether it holds.

use trisect_measure::{Unit, after_number, significant};
use trisect_rules::{Condition, Drive, Measured, Phase};

use crate::assess::{missing_for_limit, shown_at};
use crate::fold::Latest;
use crate::model::Model;
use crate::phase::{SPEED_LASTS, contradicts};
use crate::stays::Stays;

/// How things stand while an event is taken.
pub(crate) struct Circumstances<'a> {
    pub(crate) model: &'a Model,
    pub(crate) phase: Phase,
    pub(crate) drive: Drive,
    pub(crate) latest: &'a [Option<Latest>],
    pub(crate) stays: &'a Stays,
    pub(crate) now: i64,
}

/// What a check waits for before its readings count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Lacking {
    /// The drive that has to be connected.
    Drive(Drive),
    /// A reading of the point that its limit goes by.
    LimitPoint(usize),
    /// Nothing measures at its point; a person may still enter what is read.
    Probe(usize),
    /// The phase, of those that the check has.
    Phase,
    /// The engine speed, in radians per second, contradicts the phase that was said.
    Speed(f64),
    /// A condition does not hold, at this value.
    Condition(usize, f64),
    /// A condition's point is not measured.
    Unmeasured(usize),
}

impl Circumstances<'_> {
    pub(crate) fn measured(&self, check: u16) -> Option<&Measured> {
        self.model.measured(usize::from(check))
    }

    /// The newest exact reading of a point that still tells something of now: an entered one as long as the
    /// phase lasts in which it was read.
    pub(crate) fn fresh(&self, point: usize) -> Option<f64> {
        let newest = self.latest.get(point)?.as_ref()?;
        let begun = self.stays.since(&[self.phase]).map_or(0, |(from, _)| from);
        let age = self.now.saturating_sub(newest.at);
        let fresh = if newest.entered {
            newest.at >= begun
        } else {
            age < SPEED_LASTS
        };
        newest.amount.exact().filter(|_| fresh)
    }

    pub(crate) fn lacking(&self, measured: &Measured) -> Option<Lacking> {
        if let Some(drive) = measured.drive.filter(|drive| *drive != self.drive) {
            return Some(Lacking::Drive(drive));
        }
        if let Some(point) = missing_for_limit(measured, self.latest) {
            return Some(Lacking::LimitPoint(point));
        }
        if !measured.phases.contains(&self.phase) {
            return Some(Lacking::Phase);
        }
        let speed = self.model.engine_speed.and_then(|point| self.fresh(point));
        if let Some(speed) = speed.filter(|speed| contradicts(self.phase, *speed)) {
            return Some(Lacking::Speed(speed));
        }
        let broken = |(index, condition): (usize, &Condition)| match self.fresh(condition.point) {
            Some(x) if !condition.holds(x) => Some(Lacking::Condition(index, x)),
            _ => None,
        };
        measured.conditions.iter().enumerate().find_map(broken)
    }

    /// Conditions of a check whose points nobody measures.
    pub(crate) fn unmeasured(&self, measured: &Measured) -> Vec<usize> {
        let conditions = measured.conditions.iter().enumerate();
        let unmeasured = conditions.filter(|(_, c)| self.fresh(c.point).is_none());
        unmeasured.map(|(index, _)| index).collect()
    }

    /// Everything that a passive check asks for was measured to hold. A key that is on or off needs no proof.
    pub(crate) fn is_measured(&self, measured: &Measured) -> bool {
        let detected = self
            .stays
            .since(&[self.phase])
            .is_some_and(|(_, told)| told);
        let still = matches!(self.phase, Phase::Off | Phase::KeyOn);
        (detected || still) && self.unmeasured(measured).is_empty()
    }
}

/// What is lacking, in words.
pub(crate) fn words(model: &Model, measured: &Measured, lacking: Lacking) -> String {
    let rules = &model.rules;
    let condition = |index: usize| -> String {
        measured
            .conditions
            .get(index)
            .map_or_else(String::new, |condition| {
                let unit = after_number(rules.point_unit(condition.point).symbol());
                let end = |sign: &str, end: Option<f64>| {
                    end.map(|x| {
                        let x = significant(shown_at(rules, condition.point, x), 4);
                        format!("{sign} {x}{unit}")
                    })
                };
                let ends = [
                    end("at least", condition.at_least),
                    end("at most", condition.at_most),
                ];
                let ends: Vec<String> = ends.into_iter().flatten().collect();
                format!("{} {}", rules.point_id(condition.point), ends.join(" and "))
            })
    };
    match lacking {
        Lacking::Drive(drive) => format!("the {drive} drive is not connected"),
        Lacking::LimitPoint(point) => {
            format!(
                "its limit needs a reading of {} first",
                rules.point_id(point)
            )
        }
        Lacking::Probe(point) => format!("no probe is on {}", rules.point_id(point)),
        Lacking::Phase => {
            let phases: Vec<&str> = measured.phases.iter().map(|phase| phase.word()).collect();
            format!("the engine is not in phase {}", phases.join(" or "))
        }
        Lacking::Speed(speed) => {
            let speed = significant(Unit::RPM.from_si(speed), 3);
            format!("the engine turns at {speed} rpm, which is not the phase that was said")
        }
        Lacking::Condition(index, x) => {
            let point = measured.conditions.get(index).map_or(0, |c| c.point);
            let unit = after_number(rules.point_unit(point).symbol());
            let x = significant(shown_at(rules, point, x), 4);
            format!(
                "{} is {x}{unit}, not {}",
                rules.point_id(point),
                condition(index)
            )
        }
        Lacking::Unmeasured(index) => format!("not measured: {}", condition(index)),
    }
}
