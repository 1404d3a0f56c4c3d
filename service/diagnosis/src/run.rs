//! A run: one time that a measured check is done, from its start to a finding.
//!
//! A run takes readings only while everything that the check asks for holds; what breaks it spoils the
//! run, with the reason. Passive findings are made by the same machinery, without a start, and only
//! while everything was measured to hold.

use trisect_measure::Flags;
use trisect_rules::{Measured, Take};

use crate::fold::Latest;
use crate::window::{Stay, Window};

/// How far a run has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Something has to be prepared: a probe, the drive, a reading that the limit goes by.
    Preparing,
    /// It waits for the phase and its conditions.
    Waiting,
    /// Readings count.
    Taking,
    /// It has all its readings, and asks whether what has to be kept to was kept to.
    Confirming,
    /// It came to a finding.
    Found,
    /// Something broke it.
    Spoilt,
    /// It was given up.
    Stopped,
}

impl Stage {
    /// Every stage, in the order they are passed.
    pub const ALL: [Stage; 7] = [
        Stage::Preparing,
        Stage::Waiting,
        Stage::Taking,
        Stage::Confirming,
        Stage::Found,
        Stage::Spoilt,
        Stage::Stopped,
    ];

    /// The word on screen and on the wire.
    pub const fn word(self) -> &'static str {
        match self {
            Stage::Preparing => "preparing",
            Stage::Waiting => "waiting",
            Stage::Taking => "taking",
            Stage::Confirming => "confirming",
            Stage::Found => "found",
            Stage::Spoilt => "spoilt",
            Stage::Stopped => "stopped",
        }
    }

    /// Whether the run can still come to a finding.
    pub const fn is_open(self) -> bool {
        matches!(
            self,
            Stage::Preparing | Stage::Waiting | Stage::Taking | Stage::Confirming
        )
    }
}

/// One time that a check is done.
#[derive(Clone, Debug)]
pub struct Run {
    /// Its number among the runs of the job, from one.
    pub number: u32,
    /// The check.
    pub check: u16,
    /// The round it belongs to.
    pub round: u32,
    /// When it began, in nanoseconds since the job opened.
    pub started: i64,
    /// When it came to its end.
    pub ended: Option<i64>,
    /// How far it has come.
    pub stage: Stage,
    /// The number of what it found.
    pub finding: Option<u32>,
    /// What broke it.
    pub spoilt: Option<String>,
    /// What could not be measured to hold, and is asked for at the end.
    pub unmeasured: Vec<usize>,
    pub(crate) taking: Taking,
}

/// The readings of a run so far.
#[derive(Clone, Debug, Default)]
pub(crate) struct Taking {
    /// Since when the engine has been in the check's phases; `None` while it is not.
    pub(crate) since: Option<i64>,
    /// That was told by readings and not by a person.
    pub(crate) detected: bool,
    /// The newest stay in the phases that ended, from which a person may still enter what was read.
    pub(crate) last: Option<(i64, i64)>,
    pub(crate) window: Option<Window>,
    /// What marked the newest reading that cannot be used.
    pub(crate) flagged: Option<Flags>,
    /// Nothing more is taken from this stay.
    pub(crate) done: bool,
}

/// A person writes down what was read a little later: for so long after the phase ended, in nanoseconds.
pub(crate) const WRITTEN_DOWN_WITHIN: i64 = 120 * trisect_measure::NANOS_PER_SECOND;

impl Run {
    pub(crate) fn new(number: u32, check: u16, round: u32, at: i64) -> Run {
        Run {
            number,
            check,
            round,
            started: at,
            ended: None,
            stage: Stage::Waiting,
            finding: None,
            spoilt: None,
            unmeasured: Vec::new(),
            taking: Taking::default(),
        }
    }

    pub(crate) fn spoil(&mut self, at: i64, why: String) {
        self.stage = Stage::Spoilt;
        self.spoilt = Some(why);
        self.ended = Some(at);
    }

    /// When the first of its readings was taken.
    pub fn first_reading(&self) -> Option<i64> {
        self.taking.window.as_ref().map(|window| window.opened)
    }

    /// When the newest of its readings was taken.
    pub fn newest_reading(&self) -> Option<i64> {
        self.taking.window.as_ref().map(|window| window.newest)
    }

    /// How many readings it has.
    pub fn readings(&self) -> u64 {
        self.taking.window.as_ref().map_or(0, |window| window.count)
    }
}

/// Why a reading does not belong to a run, though it is of its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotTaken {
    /// No run of a check at this point is open.
    NoRun,
    /// The run waits for something; its stage and what is lacking tell it.
    Waiting,
    /// The window opens this many nanoseconds later.
    TooEarly(i64),
    /// The time in which readings count is over: the phase has to begin anew.
    TooLate,
    /// What was said about the reading makes it useless.
    Flagged(Flags),
    /// The run has all its readings.
    Full,
}

impl Taking {
    /// The engine is in the check's phases from this time on.
    pub(crate) fn enter(&mut self, at: i64, detected: bool) {
        if self.since.is_none() {
            self.since = Some(at);
            self.detected = detected;
            self.done = false;
        }
    }

    /// It is not any more. Gives back whether readings had been taken.
    pub(crate) fn leave(&mut self, at: i64) -> bool {
        if let Some(since) = self.since.take() {
            self.last = Some((since, at));
        }
        self.done = false;
        if let Some(window) = &mut self.window {
            window.close(at);
        }
        self.window.is_some()
    }

    /// Readings begin anew with this stay.
    pub(crate) fn restart(&mut self) {
        self.window = None;
        self.flagged = None;
    }

    /// Whether a reading can be taken, and as part of which stay.
    pub(crate) fn admits(
        &self,
        measured: &Measured,
        reading: Latest,
        started: i64,
    ) -> Result<Stay, NotTaken> {
        // What a person writes down is about the whole stay, also when it is over by then.
        let written = |(_, until): &(i64, i64)| {
            reading.entered && reading.at.saturating_sub(*until) <= WRITTEN_DOWN_WITHIN
        };
        let since = match (self.since, self.last.filter(written)) {
            (Some(since), _) => since,
            (None, Some((since, _))) => since,
            (None, None) => return Err(NotTaken::Waiting),
        };
        if self.done {
            return Err(NotTaken::Full);
        }
        let stay = Stay {
            from: since,
            detected: self.detected,
        };
        if reading.entered {
            return Ok(stay);
        }
        // What is lost or built up from the beginning of a phase cannot be seen from its middle.
        let from_the_beginning = matches!(measured.take, Take::Decay | Take::RiseTime);
        if from_the_beginning && since < started {
            return Err(NotTaken::TooLate);
        }
        let opens = since.saturating_add(measured.after);
        if reading.at < opens {
            return Err(NotTaken::TooEarly(opens - reading.at));
        }
        let ends = measured.within.map(|within| since.saturating_add(within));
        if self.window.is_none() && ends.is_some_and(|end| reading.at > end) {
            return Err(NotTaken::TooLate);
        }
        Ok(stay)
    }

    /// Adds a reading that is admitted.
    pub(crate) fn add(&mut self, measured: &Measured, stay: Stay, reading: Latest) {
        let window = self
            .window
            .get_or_insert_with(|| Window::new(reading.at, stay, measured));
        if window.takes(measured, reading.at) || reading.entered {
            window.add(
                reading.at,
                reading.amount,
                reading.u,
                reading.entered,
                measured.over,
            );
        }
    }

    /// Whether the window has all it needs.
    ///
    /// # Errors
    /// Why it has not, or can never have.
    pub(crate) fn full(&self, measured: &Measured, now: i64) -> Result<(), &'static str> {
        let Some(window) = &self.window else {
            return Err("nothing was read");
        };
        if measured.take == Take::Ripple {
            return window.take(Take::Ripple).map(|_| ());
        }
        // Without a length: the newest reading by itself, anything else once the phase is left.
        let whole = measured.over.is_none() && measured.take != Take::Last && !window.entered;
        if whole && window.is_open() {
            return Err("the phase goes on");
        }
        window.full(measured, now)
    }

    /// When the window can be full at the earliest.
    pub(crate) fn full_at(&self, measured: &Measured) -> Option<i64> {
        let window = self.window.as_ref()?;
        Some(window.opened.saturating_add(measured.over?))
    }
}
