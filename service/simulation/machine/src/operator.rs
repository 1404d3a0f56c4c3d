//! What the operator would say is wrong, found by driving the machine.

use super::{Drive, Machine};

/// Faster than this just after a start is racing, rpm.
pub(crate) const RACES: f64 = 1500.0;
/// Longer cranking than this is a hard start, seconds: a healthy machine takes about one.
const HARD_START: f64 = 2.5;
/// Seconds of idling that an operator watches after a start.
const WARM_UP: f64 = 30.0;
/// Seconds of work after which a hot fault shows.
const SHIFT: f64 = 1200.0;
/// Under this load an engine in order holds this speed, rad/s.
const PULLS: (f64, f64) = (0.75, 185.0);

impl Machine {
    /// The complaint an operator would bring, as the trade words it
    /// (`cranks-no-start`, `races-after-start`, `stalls`, `hard-start`,
    /// `low-power`), or `None` when the machine seems well. The machine
    /// itself is left as it is: a copy is driven.
    pub fn complaint(&self) -> Option<&'static str> {
        self.clone().drive_and_complain()
    }

    fn drive_and_complain(mut self) -> Option<&'static str> {
        let start = self.try_start_twice(Drive::Harness, WARM_UP);
        if !start.started {
            return Some("cranks-no-start");
        }
        if start.peak > RACES {
            return Some("races-after-start");
        }
        if start.died {
            return Some("stalls");
        }
        let hard = start.cranked > HARD_START;
        let weak = !self.pulls();
        if self.rpm() < 100.0 {
            return Some("stalls");
        }
        if weak {
            return Some("low-power");
        }
        if self.work_until(SHIFT, |m| m.rpm() < 100.0) {
            return Some("stalls");
        }
        hard.then_some("hard-start")
    }

    /// Ten seconds of work: does it hold its speed?
    fn pulls(&mut self) -> bool {
        self.with(|c| c.accelerator = 1.0);
        self.advance(5.0);
        self.with(|c| c.load = PULLS.0);
        self.advance(10.0);
        let holds = self.parts.engine.omega > PULLS.1;
        self.with(|c| {
            c.load = 0.0;
            c.accelerator = 0.0;
        });
        self.advance(5.0);
        holds
    }
}
