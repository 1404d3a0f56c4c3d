//! The simulated technician of a survey: carries out the steps of a check in step with the machine
//! model, and hands the readings straight to the diagnosis.

use std::sync::Arc;

use trisect_diagnosis::{Diagnosis, Event, Model, What};
use trisect_machine as machine;
use trisect_machine::{Key, Machine, Random};
use trisect_measure::NANOS_PER_SECOND;
use trisect_rules::{Drive, How, Measured, Phase, RuleSet, Take};
use trisect_technician::{Check, Control, Lead, Step, arrival, rest, runs, stands};

use crate::instruments::Instruments;
use crate::people;

/// Longest simulated standing between two tests, seconds: a battery recovers meanwhile, and hours
/// of standing would cost more time to simulate than they change.
const LONGEST_STANDING: f64 = 60.0;
/// Seconds between two looks of the instruments.
pub(crate) const TICK: f64 = 0.05;

/// A technician at one machine.
pub(crate) struct Technician {
    rules: Arc<RuleSet>,
    pub(crate) machine: Machine,
    instruments: Instruments,
    pub(crate) diagnosis: Diagnosis,
    random: Random,
    /// Everything that was told, if it is to be kept.
    pub(crate) log: Option<Vec<Event>>,
}

impl Technician {
    /// At a machine with its complaint; `keep` keeps all events.
    pub(crate) fn new(
        model: &Arc<Model>,
        machine: Machine,
        complaint: Option<usize>,
        mut random: Random,
        keep: bool,
    ) -> Technician {
        let rules = Arc::clone(model.rules());
        let instruments = Instruments::new(&mut random);
        let mut technician = Technician {
            rules,
            machine,
            instruments,
            diagnosis: Diagnosis::new(Arc::clone(model), complaint),
            random,
            log: keep.then(Vec::new),
        };
        technician.take(&arrival(), None);
        technician
    }

    fn now(&self) -> i64 {
        (self.machine.time() * NANOS_PER_SECOND as f64).round() as i64
    }

    fn tell_at(&mut self, at: i64, what: What) {
        let event = Event { at, what };
        self.diagnosis.push(&event);
        if let Some(log) = &mut self.log {
            log.push(event);
        }
    }

    fn tell(&mut self, what: What) {
        let now = self.now();
        // What has arrived meanwhile comes before what is said.
        for (at, what) in self.instruments.arrived(now) {
            self.tell_at(at, what);
        }
        self.tell_at(now, what);
    }

    /// Carries a check out; false when this machine, or this technician's
    /// instruments, do not let it be.
    pub(crate) fn carry_out(&mut self, check: usize) -> bool {
        let rules = Arc::clone(&self.rules);
        let done = match &rules.checks[check].how {
            How::Asked(_) => self.take(&asked(), Some(check)),
            How::Measured(measured) => self.measure(&rules, check, measured),
        };
        let seconds = rules.checks[check].minutes * 60.0;
        self.machine.stand(seconds.min(LONGEST_STANDING));
        done
    }

    fn measure(&mut self, rules: &RuleSet, check: usize, measured: &Measured) -> bool {
        let can_read = |lead: &Lead| {
            self.instruments.can_read(lead.instrument, measured.take)
                && self.machine.measure(&lead.point).is_some()
        };
        let Some(test) = measured_for_technician(rules, measured) else {
            return false;
        };
        // What nobody could read is not begun.
        if !test.leads().is_some_and(|leads| leads.iter().all(can_read)) {
            return false;
        }
        let steps = Check::Measured(test).steps().unwrap_or_default();
        let done = self.take(&steps, Some(check));
        if !done {
            self.take(&rest(), None);
        }
        done
    }

    /// Takes these steps in order; false if they ended early.
    fn take(&mut self, steps: &[Step], check: Option<usize>) -> bool {
        steps.iter().all(|step| self.step(step, check))
    }

    /// Takes one step; false if the list ends here.
    fn step(&mut self, step: &Step, check: Option<usize>) -> bool {
        match step {
            Step::Connect(drive) => self.connect(*drive),
            Step::MoveLeads { leads, settle } => self.move_leads(leads, *settle),
            Step::SayLeads => self.say_leads(),
            Step::LiftLeads => self.instruments.lift(),
            Step::EnterAmbientTemperature => self.enter_ambient_temperature(),
            Step::Operate(control) => self.machine.with(|c| control.apply(c)),
            Step::ChargeBattery => self.machine.charge_battery(),
            Step::Start { within } => return self.start(*within),
            Step::Wait(seconds) => self.wait(*seconds),
            Step::WaitUntilStill { within } => {
                self.wait_until(*within, stands);
            }
            Step::CutAirIfTurning => {
                if !stands(&self.machine) {
                    self.machine.with(|c| Control::Air(false).apply(c));
                }
            }
            Step::SayPhase(phase) => self.tell(What::Phase(said(*phase))),
            Step::SayOffUnlessRunning => {
                if !runs(&self.machine) {
                    self.tell(What::Phase(Phase::Off));
                }
            }
            Step::BeginReading => self.instruments.look_anew(),
            Step::WriteDown => self.write_down(check),
            // The diagnosis has everything that was read.
            Step::AwaitFinding { .. } => {}
            Step::Ask => return check.is_some_and(|check| self.ask(check)),
        }
        true
    }

    /// Plugs a drive onto the pump.
    fn connect(&mut self, drive: machine::Drive) {
        if self.machine.controls().drive == drive {
            return;
        }
        self.machine.with(|c| c.drive = drive);
        self.tell(What::Drive(match drive {
            machine::Drive::Harness => Drive::Harness,
            machine::Drive::Bypass => Drive::Bypass,
        }));
    }

    /// Puts leads where they are not yet, and lets them settle.
    fn move_leads(&mut self, leads: &[Lead], settle: f64) {
        let mut moved = false;
        for lead in leads {
            if let Some(point) = self.rules.point_index(&lead.point) {
                moved |= self.instruments.move_lead(lead.instrument, point);
            }
        }
        if moved {
            self.wait(settle);
        }
    }

    /// Says where the leads are; the windows of those points start anew.
    fn say_leads(&mut self) {
        for point in self.instruments.place() {
            let point = point as u16;
            self.tell(What::Window { point });
        }
    }

    /// A person reads the yard's thermometer.
    fn enter_ambient_temperature(&mut self) {
        let read = self
            .instruments
            .thermometer(&self.rules, &self.machine, &mut self.random);
        if let Some(reading) = read {
            self.tell(reading);
        }
    }

    /// Cranks until the engine runs, and lets the key back; whether it runs.
    fn start(&mut self, within: f64) -> bool {
        self.machine.with(|c| c.key = Key::Crank);
        let started = self.wait_until(within, runs);
        self.machine.with(|c| c.key = Key::On);
        started
    }

    fn ask(&mut self, check: usize) -> bool {
        let rules = Arc::clone(&self.rules);
        let Some(asked) = rules.checks[check].asked() else {
            return false;
        };
        let id = rules.checks[check].id.as_str();
        let Ok(seen) = self.machine.observe(id) else {
            return false;
        };
        let Some(seen) = asked.answers.iter().position(|answer| answer == seen) else {
            return false;
        };
        let answer = people::answer(id, seen, asked.answers.len(), &mut self.random);
        self.tell(What::Answer {
            check: check as u16,
            answer: answer as u16,
        });
        true
    }

    /// What a person read off by eye is entered at the end of the look.
    fn write_down(&mut self, check: Option<usize>) {
        let rules = Arc::clone(&self.rules);
        let Some(measured) = check.and_then(|check| rules.checks[check].measured()) else {
            return;
        };
        let written = self
            .instruments
            .written(&rules, measured.take, &mut self.random);
        for what in written {
            self.tell(what);
        }
    }

    /// Lets time pass while the instruments read.
    fn wait(&mut self, seconds: f64) {
        for _ in 0..(seconds / TICK).round() as usize {
            self.tick();
        }
    }

    /// Lets time pass until it is so, at most so many seconds; whether it is.
    fn wait_until(&mut self, within: f64, is_so: fn(&Machine) -> bool) -> bool {
        for _ in 0..(within / TICK).round() as usize {
            if is_so(&self.machine) {
                return true;
            }
            self.tick();
        }
        is_so(&self.machine)
    }

    fn tick(&mut self) {
        self.machine.advance(TICK);
        let now = self.now();
        let rules = Arc::clone(&self.rules);
        let arrived = self
            .instruments
            .look(&rules, &self.machine, now, &mut self.random);
        for (at, what) in arrived {
            self.tell_at(at, what);
        }
    }
}

/// The steps that carry a check out; `None` where a technician has no instrument for it.
pub fn steps_of(rules: &RuleSet, check: usize) -> Option<Vec<Step>> {
    match &rules.checks.get(check)?.how {
        How::Asked(_) => Some(asked()),
        How::Measured(measured) => {
            Check::Measured(measured_for_technician(rules, measured)?).steps()
        }
    }
}

fn asked() -> Vec<Step> {
    Check::Asked.steps().unwrap_or_default()
}

/// A measured check as a technician needs to know it.
fn measured_for_technician<'a>(
    rules: &'a RuleSet,
    measured: &Measured,
) -> Option<trisect_technician::Measured<'a>> {
    let seconds = |nanos: i64| nanos as f64 / NANOS_PER_SECOND as f64;
    let derived = rules.derived_at(measured.point);
    let minus = derived.map(|derived| [derived.minuend, derived.subtrahend]);
    Some(trisect_technician::Measured {
        point: rules.point_id(measured.point),
        minus: minus.map(|points| points.map(|point| rules.point_id(point))),
        quantity: rules.point_unit(measured.point).quantity(),
        phase: trisect_technician::Phase::from_word(measured.phases.first()?.word())?,
        decays: measured.take == Take::Decay,
        drive: measured.drive.map(|drive| match drive {
            Drive::Harness => machine::Drive::Harness,
            Drive::Bypass => machine::Drive::Bypass,
        }),
        after: seconds(measured.after),
        over: measured.over.map(seconds),
    })
}

/// A phase, as it is said to the diagnosis.
fn said(phase: trisect_technician::Phase) -> Phase {
    use trisect_technician::Phase as Ours;
    match phase {
        Ours::Off => Phase::Off,
        Ours::KeyOn => Phase::KeyOn,
        Ours::Cranking => Phase::Cranking,
        Ours::Idle => Phase::Idle,
        Ours::HighIdle => Phase::HighIdle,
        Ours::Loaded => Phase::Loaded,
        Ours::Stopping => Phase::Stopping,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use trisect_machine::Fault;
    use trisect_rules::shipped_rule_set;

    use super::*;

    fn technician(faults: &str) -> Technician {
        let rules = shipped_rule_set("distributor-pump-12v").unwrap();
        let model = Arc::new(Model::new(Arc::new(rules)));
        let machine = Machine::new(3, &Fault::parse_list(faults).unwrap());
        Technician::new(&model, machine, None, Random::new(1, 1), true)
    }

    #[test]
    fn phases_are_said_by_their_own_words() {
        for phase in Phase::ALL {
            let ours = trisect_technician::Phase::from_word(phase.word());
            assert_eq!(ours.map(said), Some(phase));
        }
    }

    #[test]
    fn a_racing_machine_is_brought_to_rest_by_its_air() {
        let mut technician = technician("metering-stuck-open");
        technician.connect(machine::Drive::Bypass);
        let check = technician.rules.check_index("calm-on-bypass").unwrap();
        let steps = steps_of(&technician.rules, check).unwrap();
        let racing = steps.iter().position(|s| *s == Step::BeginReading).unwrap();
        assert!(technician.take(&steps[..racing], Some(check)));
        technician.wait(5.0);
        assert!(technician.machine.rpm() > 2500.0);
        assert!(technician.take(&rest(), None));
        let controls = technician.machine.controls();
        assert!(stands(&technician.machine) && controls.air_open);
        assert_eq!(controls.key, Key::Off);
        assert_eq!(technician.diagnosis.phase(), Phase::Off);
    }

    /// A battery under lamps, lift pump and intake heater is none at rest, and a machine that is
    /// switched off has no key on: what is said is so from the moment that the key is turned.
    #[test]
    fn the_phase_that_is_said_is_that_of_the_key() {
        let mut technician = technician("");
        for id in ["battery-cranking", "accelerator-sweep", "calm-on-harness"] {
            let check = technician.rules.check_index(id).unwrap();
            let steps = steps_of(&technician.rules, check).unwrap();
            for (place, step) in steps.iter().enumerate() {
                technician.step(step, Some(check));
                let next_says = matches!(steps.get(place + 1), Some(Step::SayPhase(_)));
                let next_turns = matches!(steps.get(place + 1), Some(Step::Operate(_)));
                if next_says || next_turns {
                    continue;
                }
                let said = technician.diagnosis.phase();
                let off = matches!(said, Phase::Off | Phase::Stopping);
                let key_off = technician.machine.controls().key == Key::Off;
                let running_out = technician.machine.rpm() > 40.0;
                assert!(off == key_off || running_out, "{id}: {said} after {step:?}");
            }
        }
    }

    /// Every check of the shipped rule set can be carried out, and leaves the machine at rest.
    #[test]
    fn every_check_ends_with_the_machine_at_rest() {
        let mut technician = technician("");
        for check in 0..technician.rules.checks.len() {
            let Some(steps) = steps_of(&technician.rules, check) else {
                panic!("{} has no steps", technician.rules.checks[check].id);
            };
            technician.take(&steps, Some(check));
            let controls = technician.machine.controls();
            let id = &technician.rules.checks[check].id;
            assert!(stands(&technician.machine), "{id}");
            assert_eq!((controls.key, controls.air_open), (Key::Off, true), "{id}");
        }
    }
}
