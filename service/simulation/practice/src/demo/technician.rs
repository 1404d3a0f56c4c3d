//! The technician of the demo: carries out, at the simulated bay, what the service advises, and tells the
//! service what it has to be told.

use std::collections::{BTreeMap, BTreeSet};

use trisect_machine as machine;
use trisect_measure::Unit;
use trisect_technician::{Instrument, Lead, Step, arrival, rest};
use trisect_wire::table::{JobAnswer, JobVerdictNow, ProbeLift, ProbePlace, ReadingEnter};
use trisect_wire::types::{
    CheckShown, HowShown, JobAnswerParams, JobName, JobVerdict, Outcome, ProbeLiftParams,
    ProbePlaceParams, ReadingEnterParams, Ruleset,
};

use super::output;
use crate::PracticeError;
use crate::instruments::CHANNEL;
use crate::operator::Operator;
use crate::steps::{said_drive, steps_of};

/// Simulated seconds between two looks whether a finding has come.
const LOOK_AGAIN: f64 = 0.5;

/// A technician at work on one job.
pub(super) struct Technician<'a> {
    pub(super) operator: Operator<'a>,
    pub(super) rules: &'a Ruleset,
    pub(super) job: String,
    /// The invented name.
    pub(super) by: &'a str,
    drive: machine::Drive,
    /// Where the leads are, and of which it was said.
    leads: BTreeMap<Instrument, String>,
    placed: BTreeSet<Instrument>,
}

/// How the simulated bay calls an instrument.
fn name(instrument: Instrument) -> &'static str {
    match instrument {
        Instrument::Tachometer => "tachometer",
        Instrument::Gauge => "gauge-1",
        Instrument::SecondGauge => "gauge-2",
        Instrument::Multimeter => "meter-1",
        Instrument::Ohmmeter => "meter-2",
        Instrument::Thermometer => "thermometer",
    }
}

impl<'a> Technician<'a> {
    /// Comes to the machine of a job that was opened: tachometer on, temperature entered.
    pub(super) async fn arrive(
        operator: Operator<'a>,
        rules: &'a Ruleset,
        job: String,
        by: &'a str,
    ) -> Result<Technician<'a>, PracticeError> {
        let mut technician = Technician {
            operator,
            rules,
            job,
            by,
            drive: machine::Drive::Harness,
            leads: BTreeMap::new(),
            placed: BTreeSet::new(),
        };
        technician.carry_out(&arrival(), None).await?;
        Ok(technician)
    }

    /// Carries a check out. False: the machine, or what is there to measure with, does not let it be.
    pub(super) async fn test(&mut self, check: &CheckShown) -> Result<bool, PracticeError> {
        let Some(steps) = steps_of(self.rules, check) else {
            return Ok(false);
        };
        let done = self.carry_out(&steps, Some(check)).await?;
        if !done && matches!(check.how, HowShown::Measured { .. }) {
            self.carry_out(&rest(), None).await?;
        }
        Ok(done)
    }

    /// The verdict as it stands.
    pub(super) async fn verdict(&self) -> Result<JobVerdict, PracticeError> {
        let job = JobName {
            job: self.job.clone(),
        };
        let doing = "cannot read the verdict";
        let service = self.operator.service;
        Ok(service.call::<JobVerdictNow>(doing, &job).await?)
    }

    /// Does these steps in order; false if they ended early.
    async fn carry_out(
        &mut self,
        steps: &[Step],
        check: Option<&CheckShown>,
    ) -> Result<bool, PracticeError> {
        for step in steps {
            match (step, check) {
                (Step::Connect(drive), _) => self.connect(*drive).await?,
                (Step::MoveLeads { leads, settle }, _) => self.move_leads(leads, *settle).await?,
                (Step::SayLeads, _) => self.say_leads().await?,
                (Step::LiftLeads, _) => self.lift_leads().await?,
                (Step::EnterAmbientTemperature, _) => self.enter_ambient_temperature().await?,
                (Step::AwaitFinding { within }, Some(check)) => {
                    self.await_finding(&check.id, *within).await?;
                }
                (Step::Ask, Some(check)) => {
                    if !self.answer(check).await? {
                        return Ok(false);
                    }
                }
                // Every instrument of this bay sends what it reads: nothing is read by eye.
                (step, _) => {
                    if !self.operator.step(step).await? {
                        return Ok(false);
                    }
                }
            }
        }
        Ok(true)
    }

    async fn connect(&mut self, drive: machine::Drive) -> Result<(), PracticeError> {
        if self.drive == drive {
            return Ok(());
        }
        self.operator.simulated.control(|c| c.drive = drive);
        self.drive = drive;
        self.operator.say(None, Some(said_drive(drive))).await?;
        Ok(())
    }

    /// Puts leads where they are not yet, and lets them settle.
    async fn move_leads(&mut self, leads: &[Lead], settle: f64) -> Result<(), PracticeError> {
        let simulated = self.operator.simulated;
        let mut moved = false;
        for lead in leads {
            let before = self.leads.insert(lead.instrument, lead.point.clone());
            if before.as_ref() != Some(&lead.point) {
                simulated.place(name(lead.instrument), 0, &lead.point)?;
                moved = true;
            }
        }
        if moved {
            simulated.wait(settle).await;
        }
        Ok(())
    }

    /// Says where the leads are.
    async fn say_leads(&mut self) -> Result<(), PracticeError> {
        for (instrument, point) in &self.leads {
            if self.placed.insert(*instrument) {
                let probe = ProbePlaceParams {
                    bay: self.operator.bay.to_owned(),
                    instrument: name(*instrument).to_owned(),
                    channel: CHANNEL.to_owned(),
                    point: point.clone(),
                };
                let service = self.operator.service;
                let doing = "cannot place a probe";
                service.call::<ProbePlace>(doing, &probe).await?;
            }
        }
        Ok(())
    }

    /// Says of every lead but the tachometer's that it is lifted.
    async fn lift_leads(&mut self) -> Result<(), PracticeError> {
        for instrument in std::mem::take(&mut self.placed) {
            if instrument == Instrument::Tachometer {
                self.placed.insert(instrument);
                continue;
            }
            let probe = ProbeLiftParams {
                bay: self.operator.bay.to_owned(),
                instrument: name(instrument).to_owned(),
                channel: CHANNEL.to_owned(),
            };
            let service = self.operator.service;
            let doing = "cannot lift a probe";
            service.call::<ProbeLift>(doing, &probe).await?;
        }
        Ok(())
    }

    /// A person reads the yard's thermometer and enters it.
    async fn enter_ambient_temperature(&self) -> Result<(), PracticeError> {
        let point = "ambient-temperature";
        let kelvin = self.operator.simulated.true_value(point);
        let params = ReadingEnterParams {
            bay: self.operator.bay.to_owned(),
            point: point.to_owned(),
            value: format!(
                "{:.0} degC",
                Unit::CELSIUS.from_si(kelvin.unwrap_or(277.15))
            ),
            uncertainty: Some("1 degC".to_owned()),
            phase: None,
            by: self.by.to_owned(),
            instrument: Some("yard thermometer".to_owned()),
            key: None,
        };
        let doing = "cannot enter the temperature";
        let service = self.operator.service;
        let entered = service.call::<ReadingEnter>(doing, &params).await?;
        let told = format!("ambient temperature {} {}", entered.value, entered.unit);
        output::line("entered", &told);
        Ok(())
    }

    /// Waits until a check has come out good or bad, at most `within` simulated seconds.
    async fn await_finding(&self, check: &str, within: f64) -> Result<(), PracticeError> {
        let simulated = self.operator.simulated;
        let until = simulated.time() + within;
        while simulated.time() < until {
            let verdict = self.verdict().await?.verdict;
            let found = verdict.evidence.iter().find(|e| e.check == check);
            let found = found.map(|evidence| evidence.outcome);
            if matches!(found, Some(Outcome::Passed | Outcome::Failed)) {
                break;
            }
            simulated.wait(LOOK_AGAIN).await;
        }
        Ok(())
    }

    /// Looks, listens or tries, and answers; false if this machine does not let it be.
    async fn answer(&self, check: &CheckShown) -> Result<bool, PracticeError> {
        let Ok(answer) = self.operator.simulated.observe(&check.id).await else {
            return Ok(false);
        };
        if let HowShown::Asked { ask, .. } = &check.how {
            output::line("asked", ask);
        }
        let params = JobAnswerParams {
            job: self.job.clone(),
            check: check.id.clone(),
            answer: answer.to_owned(),
            by: Some(self.by.to_owned()),
        };
        let service = self.operator.service;
        service.call::<JobAnswer>("cannot answer", &params).await?;
        Ok(true)
    }
}
