//! What eyes, ears and buttons tell: each asked check is carried out on a
//! copy of the machine, so that no act leaves a mark on the one in the bay.

use super::fuel::UNCOVERS;
use super::operator::RACES;
use super::{BypassCommand, Drive, Key, Machine};

/// Why an act gave no answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ActError {
    /// No such check.
    #[error("carrying out `{check}`: no such act; use one of {}", CHECKS.join(", "))]
    Unknown {
        /// What was asked for.
        check: String,
    },
    /// The machine cannot do what the check needs.
    #[error("carrying out `{check}`: {why}; skip it")]
    NotPossible {
        /// The check.
        check: &'static str,
        /// What stands in the way.
        why: &'static str,
    },
}

/// Every check that can be observed.
pub const CHECKS: [&str; 17] = [
    "fuel-seen",
    "lift-pump-runs",
    "air-seen",
    "connector-pins",
    "controller-answers",
    "engine-speed-seen",
    "bypass-click",
    "bypass-start",
    "bypass-high-idle",
    "swap-back",
    "bypass-runs-hot",
    "smoke-cranking",
    "heat-dependence",
    "intake-clear",
    "timing-follows",
    "compression-good",
    "injectors-spray",
];

const NOT_ON_BYPASS: &str = "the engine does not run on the bypass drive";

/// Seconds of working on the bypass drive until everything is hot.
const UNTIL_HOT: f64 = 1500.0;
/// Seconds for which a machine is watched after the swap.
const SWAP_WATCHED: f64 = 90.0;
/// Seconds in which a pump control unit cools.
const COOLING: f64 = 1800.0;
/// A part that is bad by more than this looks it on the bench (from memory).
const SEEN: f64 = 0.2;
/// Compression of a cylinder at the least, Pa gauge: 400 psi (common practice, no source).
const COMPRESSION: f64 = 400.0 * 6894.757;

impl Machine {
    /// The answer a technician would give to an asked check.
    ///
    /// # Errors
    /// When there is no such check, or it cannot be carried out on this machine.
    pub fn observe(&self, check: &str) -> Result<&'static str, ActError> {
        let mut copy = self.clone();
        copy.bring_to_rest();
        Ok(match check {
            "fuel-seen" => pick(copy.parts.fuel.level > UNCOVERS, "seen", "not-seen"),
            "lift-pump-runs" => copy.hear_lift_pump(),
            "air-seen" => copy.see_air(),
            "connector-pins" => pick(!copy.parts.wiring.pins_look_bad, "good", "bad"),
            "controller-answers" => copy.ask_controller(),
            "engine-speed-seen" => copy.see_speed(),
            "bypass-click" => copy.hear_click(),
            "bypass-start" => copy.bypass_start(),
            "bypass-high-idle" => copy.bypass_high_idle()?,
            "swap-back" => copy.swap_back()?,
            "bypass-runs-hot" => copy.bypass_runs_hot()?,
            "smoke-cranking" => copy.see_smoke(),
            "heat-dependence" => copy.heat_dependence()?,
            "intake-clear" => pick(copy.parts.engine.intake < SEEN, "clear", "blocked"),
            "timing-follows" => copy.read_timing()?,
            "compression-good" => copy.gauge_compression(),
            "injectors-spray" => pick(copy.parts.engine.injectors < SEEN, "spray", "dribble"),
            _ => {
                return Err(ActError::Unknown {
                    check: check.to_owned(),
                });
            }
        })
    }

    fn key_on(&mut self, seconds: f64) {
        self.with(|c| {
            c.key = Key::On;
            c.drive = Drive::Harness;
        });
        self.advance(seconds);
    }

    fn crank(&mut self, seconds: f64) {
        self.key_on(2.0);
        self.with(|c| c.key = Key::Crank);
        self.advance(seconds);
    }

    fn hear_lift_pump(&mut self) -> &'static str {
        self.key_on(1.0);
        let pump = &self.parts.fuel.lift_pump;
        pick(pump.running(self.feeds.lift_pump.volts), "runs", "silent")
    }

    /// A clear line is watched for as long as an operator cranks, or at idle.
    fn see_air(&mut self) -> &'static str {
        self.crank(0.0);
        self.wait_until(6.0, |m| m.rpm() > 500.0);
        self.with(|c| c.key = Key::On);
        self.advance(3.0);
        pick(self.parts.fuel.air.line < 0.04, "clear", "bubbles")
    }

    fn ask_controller(&mut self) -> &'static str {
        self.key_on(1.0);
        let wiring = &self.parts.wiring;
        let jammed = wiring.reader_on_bus && (wiring.bus_held() || wiring.termination() < 30.0);
        pick(self.parts.controller.running && !jammed, "talks", "silent")
    }

    fn see_speed(&mut self) -> &'static str {
        self.key_on(1.0);
        self.with(|c| c.key = Key::Crank);
        let seen = self.wait_until(3.0, |m| m.parts.controller.sees_speed);
        pick(seen, "seen", "not-seen")
    }

    fn hear_click(&mut self) -> &'static str {
        self.with(|c| c.drive = Drive::Bypass);
        self.advance(0.5);
        pick(
            self.parts.pump.clicks(self.feeds.pump.volts),
            "heard",
            "not-heard",
        )
    }

    fn bypass_start(&mut self) -> &'static str {
        let start = self.try_start_twice(Drive::Bypass, 20.0);
        match (start.started, start.died) {
            (true, false) => "starts",
            (true, true) => "starts-and-dies",
            (false, _) => "does-not-start",
        }
    }

    /// Starts on the bypass drive and keeps it running, or says that it does not.
    fn run_on_bypass(&mut self, check: &'static str) -> Result<(), ActError> {
        let start = self.try_start_twice(Drive::Bypass, 10.0);
        if start.started && !start.died {
            return Ok(());
        }
        Err(ActError::NotPossible {
            check,
            why: NOT_ON_BYPASS,
        })
    }

    fn bypass_high_idle(&mut self) -> Result<&'static str, ActError> {
        self.run_on_bypass("bypass-high-idle")?;
        self.with(|c| c.bypass = BypassCommand::HighIdle);
        self.advance(8.0);
        let wanted = 0.85 * BypassCommand::HIGH_IDLE;
        let reached = self.parts.engine.omega;
        // An engine that races whatever is pressed answers nothing.
        let answers = reached > wanted && reached < 1.25 * BypassCommand::HIGH_IDLE;
        Ok(pick(answers, "answers", "does-not-answer"))
    }

    fn swap_back(&mut self) -> Result<&'static str, ActError> {
        self.run_on_bypass("swap-back")?;
        if self.rpm() > RACES {
            return Err(ActError::NotPossible {
                check: "swap-back",
                why: "the engine races on the bypass drive",
            });
        }
        let start = self.try_start_twice(Drive::Harness, SWAP_WATCHED);
        let well = start.started && !start.died && start.peak <= RACES;
        Ok(pick(well, "stays-well", "complaint-returns"))
    }

    fn bypass_runs_hot(&mut self) -> Result<&'static str, ActError> {
        self.run_on_bypass("bypass-runs-hot")?;
        let stalls = self.work_until(UNTIL_HOT, |m| m.rpm() < 100.0);
        Ok(pick(!stalls, "keeps-running", "stalls"))
    }

    fn see_smoke(&mut self) -> &'static str {
        self.key_on(3.0);
        self.with(|c| c.key = Key::Crank);
        let smoke = self.wait_until(6.0, |m| m.parts.engine.smoked > 2.0);
        pick(smoke, "smoke", "none")
    }

    /// Commanded and actual timing, off a code reader while the engine idles: a
    /// device that is stuck does not move.
    fn read_timing(&mut self) -> Result<&'static str, ActError> {
        let start = self.try_start_twice(Drive::Harness, 5.0);
        if !start.started || start.died {
            return Err(ActError::NotPossible {
                check: "timing-follows",
                why: "the engine does not run, so nothing moves the timing",
            });
        }
        Ok(pick(self.parts.pump.late < SEEN, "follows", "stuck"))
    }

    /// A gauge in place of each injector, fuel shut off, six seconds of the starter.
    fn gauge_compression(&mut self) -> &'static str {
        self.with(|c| {
            c.drive = Drive::Bypass;
            c.bypass = BypassCommand::ShutOff;
            c.key = Key::Crank;
        });
        self.advance(6.0);
        pick(self.parts.engine.compressed() > COMPRESSION, "good", "low")
    }

    fn heat_dependence(&mut self) -> Result<&'static str, ActError> {
        let start = self.try_start_twice(Drive::Harness, 5.0);
        let stalled = start.started && self.work_until(2400.0, |m| m.rpm() < 100.0);
        if !stalled {
            let why = "the engine does not stall here";
            return Err(ActError::NotPossible {
                check: "heat-dependence",
                why,
            });
        }
        let hot = self.try_start(Drive::Harness, 5.0);
        self.bring_to_rest();
        self.stand(COOLING);
        let cooled = self.try_start(Drive::Harness, 5.0);
        let only_cooled = !hot.started && cooled.started;
        Ok(pick(!only_cooled, "no-difference", "restarts-when-cooled"))
    }
}

fn pick(healthy: bool, good: &'static str, bad: &'static str) -> &'static str {
    if healthy { good } else { bad }
}
