//! How a simulated technician carries a check out: probes, drive, key, and the
//! readings handed straight to the diagnosis.

use std::sync::Arc;

use trisect_machine::{BypassCommand, Controls, Drive as OnPump, Key, Machine, Random};
use trisect_diagnosis::{Diagnosis, Event, Model, What};
use trisect_measure::NANOS_PER_SECOND;
use trisect_rules::{Drive, How, Measured, Phase, RuleSet};

use crate::people;
use crate::rig::Rig;

/// Seconds of measuring where the check does not say.
const LOOK: f64 = 2.0;
/// Seconds with the key on before cranking.
const PRIME: f64 = 3.0;
/// Seconds until every instrument shows what it has been brought to.
const SETTLE: f64 = 1.0;
/// Seconds of standing between two tests that are simulated.
const BETWEEN: f64 = 60.0;
/// Seconds between two looks of the instruments.
pub(crate) const TICK: f64 = 0.05;

/// A technician at one machine.
pub(crate) struct Hands {
    rules: Arc<trisect_rules::RuleSet>,
    pub(crate) machine: Machine,
    rig: Rig,
    pub(crate) diagnosis: Diagnosis,
    random: Random,
    /// Everything that was told, if it is to be kept.
    pub(crate) log: Option<Vec<Event>>,
}

impl Hands {
    /// At a machine with its complaint; `keep` keeps all events.
    pub(crate) fn new(
        model: &Arc<Model>,
        machine: Machine,
        complaint: Option<usize>,
        mut random: Random,
        keep: bool,
    ) -> Hands {
        let rules = Arc::clone(model.rules());
        let rig = Rig::new(&rules, &mut random);
        let mut hands = Hands {
            rules,
            machine,
            rig,
            diagnosis: Diagnosis::new(Arc::clone(model), complaint),
            random,
            log: keep.then(Vec::new),
        };
        hands.ambient();
        hands
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
        for (at, what) in self.rig.arrived(now) {
            self.tell_at(at, what);
        }
        self.tell_at(now, what);
    }

    /// A person reads the yard's thermometer.
    fn ambient(&mut self) {
        if let Some(reading) = self
            .rig
            .thermometer(&self.rules, &self.machine, &mut self.random)
        {
            self.tell(reading);
        }
    }

    /// Carries a check out; false when this machine, or this technician's
    /// instruments, do not let it be.
    pub(crate) fn carry_out(&mut self, check: usize) -> bool {
        let rules = Arc::clone(&self.rules);
        let done = match &rules.checks[check].how {
            How::Asked(_) => self.ask(&rules, check),
            How::Measured(measured) => self.measure(&rules, measured),
        };
        let seconds = (rules.checks[check].minutes * 60.0).min(BETWEEN);
        self.machine.stand(seconds);
        done
    }

    fn ask(&mut self, rules: &RuleSet, check: usize) -> bool {
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

    fn measure(&mut self, rules: &RuleSet, measured: &Measured) -> bool {
        let placed = self.rig.place(rules, measured, &self.machine);
        let Some(placed) = placed else { return false };
        for point in placed {
            let point = point as u16;
            self.tell(What::Window { point });
        }
        self.connect(drive_for(rules, measured));
        let seconds = |nanos: i64| nanos as f64 / NANOS_PER_SECOND as f64;
        let over = measured.over.map_or(LOOK, seconds);
        let Some(phase) = self.enter(measured) else {
            self.rest();
            return false;
        };
        // A pause, so that the slowest instrument has said its last.
        let patience = over + 1.0;
        self.watch(seconds(measured.after));
        // Whoever reads by eye begins to look where the check says.
        self.rig.look_anew();
        if rules.point_id(measured.point) == "accelerator-signal" {
            self.sweep(patience.max(7.0));
        } else {
            self.watch(patience);
        }
        self.write_down(measured);
        if phase != Phase::Off {
            self.rest();
        }
        true
    }

    /// What a person read off by eye is entered at the end of the look.
    fn write_down(&mut self, measured: &Measured) {
        for what in self
            .rig
            .written(&self.rules, measured.take, &mut self.random)
        {
            self.tell(what);
        }
    }

    /// Plugs a drive onto the pump, with the engine at rest and the key off.
    fn connect(&mut self, drive: Drive) {
        let on_pump = match drive {
            Drive::Harness => OnPump::Harness,
            Drive::Bypass => OnPump::Bypass,
        };
        if self.machine.controls().drive == on_pump {
            return;
        }
        self.machine.with(|c| c.drive = on_pump);
        self.tell(What::Drive(drive));
    }

    /// Brings the machine into the first of a check's phases; `None` when it
    /// does not get there.
    fn enter(&mut self, measured: &Measured) -> Option<Phase> {
        let phase = *measured.phases.first()?;
        if self.machine.controls().drive == OnPump::Bypass && phase != Phase::Off {
            self.machine.with(|c| c.bypass = BypassCommand::LowIdle);
        }
        match phase {
            Phase::Off => self.tell(What::Phase(Phase::Off)),
            Phase::Stopping => self.stop_under_pressure(),
            Phase::KeyOn => {
                self.machine.with(|c| c.key = Key::On);
                self.watch(SETTLE);
                self.tell(What::Phase(Phase::KeyOn));
            }
            Phase::Cranking => self.crank(),
            Phase::Idle | Phase::HighIdle | Phase::Loaded => {
                if !self.start(phase) {
                    return None;
                }
            }
        }
        Some(phase)
    }

    /// The lines are filled with the key on, then everything is switched off.
    fn stop_under_pressure(&mut self) {
        self.machine.with(|c| c.key = Key::On);
        self.machine.advance(8.0);
        self.machine.with(|c| c.key = Key::Off);
        self.tell(What::Phase(Phase::Off));
    }

    /// Without air it cannot start, and is measured for as long as it takes.
    fn crank(&mut self) {
        self.machine.with(|c| c.key = Key::On);
        self.machine.advance(PRIME);
        self.machine.with(|c| {
            c.air_open = false;
            c.key = Key::Crank;
        });
        self.tell(What::Phase(Phase::Cranking));
    }

    fn start(&mut self, phase: Phase) -> bool {
        self.machine.with(|c| c.key = Key::On);
        self.machine.advance(PRIME);
        self.machine.with(|c| c.key = Key::Crank);
        let end = self.machine.time() + 12.0;
        while self.machine.rpm() < 500.0 && self.machine.time() < end {
            self.watch(0.2);
        }
        self.machine.with(|c| c.key = Key::On);
        if self.machine.rpm() < 500.0 {
            return false;
        }
        if phase == Phase::HighIdle {
            self.machine.with(|c| c.bypass = BypassCommand::HighIdle);
            self.machine.with(|c| c.accelerator = 0.8);
        }
        if phase == Phase::Loaded {
            self.watch(2.0);
            self.machine.with(|c| (c.accelerator, c.load) = (0.6, 0.5));
            self.watch(1.0);
            self.tell(What::Phase(Phase::Loaded));
        }
        true
    }

    /// Pedal down and up again while the meter is watched.
    fn sweep(&mut self, seconds: f64) {
        for pedal in [0.0, 0.25, 0.5, 0.75, 1.0, 0.5, 0.0] {
            self.machine.with(|c| c.accelerator = pedal);
            self.watch(seconds / 7.0);
        }
    }

    /// Everything off; the air is cut if that does not stop it.
    fn rest(&mut self) {
        self.machine.with(|c| {
            *c = Controls {
                drive: c.drive,
                ..Controls::default()
            };
        });
        for second in 0..40 {
            if self.machine.rpm() < 1.0 {
                break;
            }
            if second == 5 {
                self.machine.with(|c| c.air_open = false);
            }
            self.watch(1.0);
        }
        self.machine.with(|c| c.air_open = true);
        self.tell(What::Phase(Phase::Off));
    }

    /// Lets time pass while the instruments read.
    fn watch(&mut self, seconds: f64) {
        for _ in 0..(seconds / TICK).round() as usize {
            self.machine.advance(TICK);
            let now = self.now();
            let rules = Arc::clone(&self.rules);
            for (at, what) in self.rig.look(&rules, &self.machine, now, &mut self.random) {
                self.tell_at(at, what);
            }
        }
    }
}

/// The drive to measure on: as the check says, or its own harness. The clamp of
/// `bypass-current` is on the bypass drive's lead.
fn drive_for(rules: &RuleSet, measured: &Measured) -> Drive {
    match measured.drive {
        Some(drive) => drive,
        None if rules.point_id(measured.point) == "bypass-current" => Drive::Bypass,
        None => Drive::Harness,
    }
}
