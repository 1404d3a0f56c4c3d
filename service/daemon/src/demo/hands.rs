//! How a technician carries out a measured check: probes, drive, key, and the
//! patience to let the readings come.

use std::time::{Duration, Instant};

use trisect_wire::table::{JobVerdictNow, PhaseSay, ProbeLift, ProbePlace};
use trisect_wire::types::{
    CheckShown, Drive, HowShown, JobName, JobVerdict, Outcome, Phase, PhaseSayParams,
    ProbeLiftParams, ProbePlaceParams, Ruleset,
};
use trisect_machine::{self, BypassCommand, Key};

use super::DemoError;
use super::stage::{BAY, Stage};

/// Simulated seconds that a reading takes to settle after a lead was moved.
const SETTLE: f64 = 1.0;
/// Simulated seconds with the key on before cranking.
const PRIME: f64 = 3.0;
/// Simulated seconds of measuring where the check does not say.
const LOOK: f64 = 2.0;
/// Simulated seconds of patience beyond what the check asks for.
const PATIENCE: f64 = 6.0;

/// A technician at work on one job.
pub(super) struct Technician<'a> {
    pub(super) stage: &'a Stage,
    pub(super) rules: &'a Ruleset,
    pub(super) job: String,
    /// What the service was last told of the phase.
    said: Option<Phase>,
    drive: Drive,
}

/// A measured check, as the rule set shows it.
pub(super) struct Task<'a> {
    pub(super) check: &'a CheckShown,
    point: &'a str,
    phases: &'a [Phase],
    seconds: f64,
    /// What is lost after the stop is asked for, so there must be pressure to lose.
    builds_up: bool,
}

impl<'a> Task<'a> {
    /// The measured check's task; `None` for an asked one.
    pub(super) fn of(check: &'a CheckShown) -> Option<Task<'a>> {
        let HowShown::Measured {
            point,
            phase,
            after,
            over,
            take,
            ..
        } = &check.how
        else {
            return None;
        };
        let seconds = after + over.unwrap_or(LOOK) + 0.5;
        Some(Task {
            check,
            point,
            phases: phase,
            seconds,
            builds_up: take == "decay",
        })
    }

    /// The drive to measure on: as the check says, or its own harness. The clamp
    /// of `bypass-current` is on the bypass drive's lead.
    fn drive(&self) -> Drive {
        match self.check.drive {
            Some(drive) => drive,
            None if self.point == "bypass-current" => Drive::Bypass,
            None => Drive::Harness,
        }
    }
}

impl<'a> Technician<'a> {
    pub(super) fn new(stage: &'a Stage, rules: &'a Ruleset, job: String) -> Technician<'a> {
        Technician {
            stage,
            rules,
            job,
            said: None,
            drive: Drive::Harness,
        }
    }

    /// The tachometer stays on all the time: the service reads the phase off it.
    pub(super) async fn watch_speed(&mut self) -> Result<(), DemoError> {
        self.lead("tachometer", "engine-speed").await
    }

    /// Carries a measured check out. False: the machine does not let itself be
    /// brought into the phase.
    pub(super) async fn measure(&mut self, task: &Task<'_>) -> Result<bool, DemoError> {
        self.connect(task.drive()).await?;
        self.probes(task.point).await?;
        let Some(phase) = self.enter(task).await? else {
            self.rest().await?;
            return Ok(false);
        };
        let pedal = task.point == "accelerator-signal";
        if pedal {
            self.sweep(task.seconds).await;
        } else {
            self.stage.bay.wait(task.seconds).await;
        }
        self.settled(&task.check.id).await?;
        if phase != Phase::Off {
            self.rest().await?;
        }
        Ok(true)
    }

    /// The verdict as it stands.
    pub(super) async fn verdict(&self) -> Result<JobVerdict, DemoError> {
        let job = JobName {
            job: self.job.clone(),
        };
        self.stage
            .call::<JobVerdictNow>("cannot read the verdict", &job)
            .await
    }

    /// Waits until a check is settled, for as long as patience lasts.
    async fn settled(&self, check: &str) -> Result<(), DemoError> {
        let until = self.stage.bay.time() + PATIENCE;
        while self.stage.bay.time() < until {
            let verdict = self.verdict().await?.verdict;
            let found = verdict
                .evidence
                .iter()
                .find(|e| e.check == check)
                .map(|e| e.outcome);
            if matches!(found, Some(Outcome::Passed | Outcome::Failed)) {
                break;
            }
            self.stage.bay.wait(0.5).await;
        }
        Ok(())
    }

    /// Plugs a drive onto the pump, with the engine at rest and the key off.
    pub(super) async fn connect(&mut self, drive: Drive) -> Result<(), DemoError> {
        if self.drive == drive {
            return Ok(());
        }
        self.stage.bay.drive(match drive {
            Drive::Harness => machine::Drive::Harness,
            Drive::Bypass => machine::Drive::Bypass,
        });
        self.drive = drive;
        self.tell(None, Some(drive)).await
    }

    async fn tell(&mut self, phase: Option<Phase>, drive: Option<Drive>) -> Result<(), DemoError> {
        self.said = phase.or(self.said);
        let params = PhaseSayParams {
            bay: BAY.to_owned(),
            phase,
            drive,
        };
        self.stage
            .call::<PhaseSay>("cannot say the phase", &params)
            .await?;
        Ok(())
    }

    /// Puts probes where a point, or the two points it is computed from, is.
    async fn probes(&mut self, point: &str) -> Result<(), DemoError> {
        let shown = self.rules.test_points.iter().find(|p| p.id == point);
        let shown = shown.ok_or_else(|| DemoError::NoInstrument(point.to_owned()))?;
        match &shown.minus {
            Some([minuend, subtrahend]) => {
                self.lead("gauge-2", minuend).await?;
                self.lead("gauge-1", subtrahend).await
            }
            None if point == "engine-speed" => Ok(()),
            None => {
                let instrument = match shown.quantity.as_str() {
                    "pressure" => "gauge-1",
                    "temperature" => "thermometer",
                    "voltage" | "current" => "meter-1",
                    "resistance" => "meter-2",
                    other => return Err(DemoError::NoInstrument(other.to_owned())),
                };
                self.lead(instrument, point).await
            }
        }
    }

    /// Moves a lead: lifted for the service first, so that no reading of the old
    /// place is taken for one of the new.
    async fn lead(&mut self, instrument: &str, point: &str) -> Result<(), DemoError> {
        let channel = "0".to_owned();
        let lifted = ProbeLiftParams {
            bay: BAY.to_owned(),
            instrument: instrument.to_owned(),
            channel: channel.clone(),
        };
        self.stage
            .call::<ProbeLift>("cannot lift a probe", &lifted)
            .await?;
        self.stage.bay.place(instrument, 0, point)?;
        self.stage.bay.wait(SETTLE).await;
        let placed = ProbePlaceParams {
            bay: BAY.to_owned(),
            instrument: instrument.to_owned(),
            channel,
            point: point.to_owned(),
        };
        self.stage
            .call::<ProbePlace>("cannot place a probe", &placed)
            .await?;
        Ok(())
    }

    /// Brings the machine into one of the check's phases; which one, or `None`
    /// when it does not get there.
    async fn enter(&mut self, task: &Task<'_>) -> Result<Option<Phase>, DemoError> {
        let Some(&phase) = task.phases.first() else {
            return Ok(None);
        };
        let bay = &self.stage.bay;
        if self.drive == Drive::Bypass && phase != Phase::Off {
            bay.bypass(BypassCommand::LowIdle);
        }
        if task.builds_up {
            bay.key(Key::On);
            bay.wait(PRIME).await;
            bay.air(false);
            bay.key(Key::Crank);
            bay.wait(PRIME).await;
            bay.shut_down().await;
        }
        let reached = match phase {
            Phase::Off | Phase::Stopping => true,
            Phase::KeyOn => {
                bay.key(Key::On);
                true
            }
            Phase::Cranking => {
                // The line fills with the key on. Without air it cannot start, and
                // is measured for as long as it takes.
                bay.key(Key::On);
                bay.wait(PRIME).await;
                bay.air(false);
                bay.key(Key::Crank);
                true
            }
            Phase::Idle | Phase::HighIdle | Phase::Loaded => self.start(phase).await,
        };
        // What the speed does not tell has to be said: at once for cranking, which
        // a weak battery makes too slow to be told from standing; once the
        // instruments show it for the others.
        match phase {
            Phase::Cranking => self.tell(Some(phase), None).await?,
            Phase::Off | Phase::KeyOn | Phase::Loaded if reached => {
                bay.wait(SETTLE).await;
                self.tell(Some(phase), None).await?;
            }
            _ => {}
        }
        Ok(reached.then_some(phase))
    }

    async fn start(&self, phase: Phase) -> bool {
        let bay = &self.stage.bay;
        bay.key(Key::On);
        bay.wait(PRIME).await;
        bay.key(Key::Crank);
        let runs = bay.wait_until(12.0, |m| m.rpm() > 500.0).await;
        bay.key(Key::On);
        if runs && phase == Phase::Loaded {
            bay.wait(3.0).await;
            bay.accelerator(0.6);
            bay.load(0.5);
        }
        runs
    }

    /// Pedal down and up again while the meter is watched.
    async fn sweep(&self, seconds: f64) {
        let bay = &self.stage.bay;
        for pedal in [0.0, 0.25, 0.5, 0.75, 1.0, 0.5, 0.0] {
            bay.accelerator(pedal);
            bay.wait(seconds / 7.0).await;
        }
    }

    /// Everything off, and the service told so.
    pub(super) async fn rest(&mut self) -> Result<(), DemoError> {
        self.stage.bay.shut_down().await;
        self.stage.bay.air(true);
        // The tachometer has to have seen it stand before anything else is said.
        let until = Instant::now() + Duration::from_secs(2);
        while Instant::now() < until {
            let phase = self.verdict().await?.verdict.phase;
            if matches!(phase, Phase::Off | Phase::KeyOn) {
                break;
            }
            self.stage.bay.wait(0.2).await;
        }
        self.tell(Some(Phase::Off), None).await
    }
}
