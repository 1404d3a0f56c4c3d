//! A check as a technician needs to know it, and the steps that carry it out.

use trisect_machine::Drive;
use trisect_measure::Quantity;

use crate::sequence::{
    START_WITHIN, build_up, cranking, high_idle, key_on, let_go, loaded, prime, rest, start,
};
use crate::{Control, Instrument, Lead, Phase, Step};

/// Seconds that a reading takes to settle after a lead was moved.
pub(crate) const LEAD_SETTLES: f64 = 1.0;
/// Seconds of looking where the check does not say.
const LOOK: f64 = 2.0;
/// Seconds more than the check asks for, so that the slowest instrument has said its last.
const LATEST: f64 = 1.0;
/// Seconds to wait for a finding that is still on its way.
const PATIENCE: f64 = 6.0;
/// Where the pedal stands, one after the other, in a sweep.
const SWEEP: [f64; 7] = [0.0, 0.25, 0.5, 0.75, 1.0, 0.5, 0.0];
/// Seconds at each of them at least: a hand-held meter shows a new value up to 0.3 s late, and
/// reads five times a second at best.
const SWEEP_STAYS: f64 = 1.0;

/// A check, as far as it matters for how it is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Check<'a> {
    /// Something to look at, to listen to or to try.
    Asked,
    /// Something to measure.
    Measured(Measured<'a>),
}

/// What a measured check asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured<'a> {
    /// The point that it reads.
    pub point: &'a str,
    /// The two points that the reading is the difference of, if it is one.
    pub minus: Option<[&'a str; 2]>,
    /// What is measured there.
    pub quantity: Quantity,
    /// The first of its phases: the one that the machine is brought into.
    pub phase: Phase,
    /// Whether it is about what is lost in its window, so that there has to be something to lose.
    pub decays: bool,
    /// The drive that it says.
    pub drive: Option<Drive>,
    /// Seconds after the phase began until its window opens.
    pub after: f64,
    /// Seconds that its window lasts, if it says.
    pub over: Option<f64>,
}

impl Check<'_> {
    /// The steps that carry it out; `None` where a technician has no instrument for it. If they
    /// end early, the machine is to be brought to [`rest`] where something was measured.
    pub fn steps(&self) -> Option<Vec<Step>> {
        match self {
            // It is found out on a copy of the machine, so nothing is plugged on or turned here.
            Check::Asked => Some(vec![Step::Ask]),
            Check::Measured(measured) => measured.steps(),
        }
    }
}

impl Measured<'_> {
    /// Where the leads go; `None` where there is no instrument for it.
    pub fn leads(&self) -> Option<Vec<Lead>> {
        let lead = |instrument, point: &str| Lead {
            instrument,
            point: point.to_owned(),
        };
        let instrument = match self.quantity {
            Quantity::RotationalSpeed => Instrument::Tachometer,
            Quantity::Pressure => Instrument::Gauge,
            Quantity::Voltage | Quantity::Current => Instrument::Multimeter,
            Quantity::Resistance => Instrument::Ohmmeter,
            Quantity::Temperature => Instrument::Thermometer,
            _ => return None,
        };
        match (self.minus, instrument) {
            (None, one) => Some(vec![lead(one, self.point)]),
            // Two instruments of a kind, read at the same time, are there for pressures alone.
            (Some([minuend, subtrahend]), Instrument::Gauge) => Some(vec![
                lead(Instrument::SecondGauge, minuend),
                lead(Instrument::Gauge, subtrahend),
            ]),
            (Some(_), _) => None,
        }
    }

    /// The drive to measure on: as the check says, or the machine's own harness. The clamp of
    /// `bypass-current` goes around the bypass drive's lead.
    fn drive(&self) -> Drive {
        match self.drive {
            Some(drive) => drive,
            None if self.point == "bypass-current" => Drive::Bypass,
            None => Drive::Harness,
        }
    }

    fn steps(&self) -> Option<Vec<Step>> {
        let leads = self.leads()?;
        // The drive before the leads: a clamp on the bypass drive's lead needs that lead to be there.
        let mut steps = vec![
            Step::LiftLeads,
            Step::Connect(self.drive()),
            Step::MoveLeads {
                leads,
                settle: LEAD_SETTLES,
            },
        ];
        steps.extend(self.enter());
        steps.extend(self.look());
        steps.extend(self.leave());
        Some(steps)
    }

    /// Brings the machine into the check's phase. What the leads show before it is ready is of no
    /// test, so they are lifted until then.
    fn enter(&self) -> Vec<Step> {
        let (before, then) = match self.phase {
            _ if self.decays => (build_up(), let_go()),
            // It has been at rest since the test before; said again, windows start anew.
            Phase::Off | Phase::Stopping => (Vec::new(), vec![Step::SayPhase(Phase::Off)]),
            Phase::KeyOn => (key_on(), Vec::new()),
            Phase::Cranking => (prime(), cranking()),
            Phase::Idle => (prime(), start(START_WITHIN)),
            Phase::HighIdle => (prime(), [start(START_WITHIN), high_idle()].concat()),
            Phase::Loaded => (prime(), [start(START_WITHIN), loaded()].concat()),
        };
        [before, vec![Step::SayLeads], then].concat()
    }

    /// Looks for as long as the check asks.
    fn look(&self) -> Vec<Step> {
        let seconds = self.over.unwrap_or(LOOK) + LATEST;
        let mut steps = vec![Step::Wait(self.after), Step::BeginReading];
        if self.point == "accelerator-signal" {
            let stay = (seconds / SWEEP.len() as f64).max(SWEEP_STAYS);
            for pedal in SWEEP {
                steps.push(Step::Operate(Control::Pedal(pedal)));
                steps.push(Step::Wait(stay));
            }
        } else {
            steps.push(Step::Wait(seconds));
        }
        steps.push(Step::WriteDown);
        steps.push(Step::AwaitFinding { within: PATIENCE });
        steps
    }

    /// Switches off what was switched on.
    fn leave(&self) -> Vec<Step> {
        if self.decays || matches!(self.phase, Phase::Off | Phase::Stopping) {
            return Vec::new();
        }
        rest()
    }
}

#[cfg(test)]
mod tests;
