//! One thing that a technician does, and the words it is said in.

use trisect_machine::{BypassCommand, Controls, Drive, Key, Machine};

/// Above this the engine runs by itself, rpm.
const RUNS_ABOVE: f64 = 500.0;
/// Below this it stands, rpm.
const STANDS_BELOW: f64 = 1.0;

/// Does the engine run by itself?
pub fn runs(machine: &Machine) -> bool {
    machine.rpm() > RUNS_ABOVE
}

/// Does the engine stand?
pub fn stands(machine: &Machine) -> bool {
    machine.rpm() < STANDS_BELOW
}

/// One thing that a technician does. Every time is in simulated seconds.
///
/// Whoever carries a list of steps out does them in order; instruments read all the while.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Plugs this drive onto the pump, and says so; nothing if it is there already.
    Connect(Drive),
    /// Puts leads to their points, and lets what was moved settle. Nothing is said of it.
    MoveLeads {
        /// The leads.
        leads: Vec<Lead>,
        /// Seconds that a reading takes to settle after a lead was moved.
        settle: f64,
    },
    /// Says of every lead where it is: from now on what it shows counts.
    SayLeads,
    /// Says of every lead but the tachometer's that it is lifted: what it shows counts no more.
    LiftLeads,
    /// Reads the yard's thermometer, and enters it.
    EnterAmbientTemperature,
    /// Turns, presses or opens something.
    Operate(Control),
    /// Puts the charger on the battery until it is as it was after the night.
    ChargeBattery,
    /// Cranks until the engine runs, at most `within` seconds, and lets the key back to on. If it
    /// does not run, the list ends here.
    Start {
        /// The longest crank.
        within: f64,
    },
    /// Lets time pass.
    Wait(f64),
    /// Waits until the engine stands, at most `within` seconds.
    WaitUntilStill {
        /// The longest wait.
        within: f64,
    },
    /// Shuts the air off, if the engine still turns.
    CutAirIfTurning,
    /// Says the phase of the engine.
    SayPhase(Phase),
    /// Says `off`, unless the engine runs: its speed tells how it runs out, and `off` said in
    /// between would make two runs of one, of which the second is calm however it raced before.
    SayOffUnlessRunning,
    /// Whoever reads by eye begins here; what was seen before is forgotten.
    BeginReading,
    /// Whoever reads by eye writes down what was seen.
    WriteDown,
    /// Waits until what was read has been found good or bad, at most `within` seconds: over a wire
    /// it may still be on its way. Nothing where the diagnosis is in step with the machine.
    AwaitFinding {
        /// The longest wait.
        within: f64,
    },
    /// Answers the check's question by eyes and ears. Where it cannot be answered on this machine,
    /// the list ends here.
    Ask,
}

/// Something to turn, press or open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Control {
    /// The key.
    Key(Key),
    /// A button of the bypass drive; of no effect on the machine's own harness.
    Bypass(BypassCommand),
    /// The accelerator pedal, 0 to 1; of no effect on the bypass drive.
    Pedal(f64),
    /// The load on the engine, 0 to 1.
    Load(f64),
    /// The air shut-off: `false` shuts it.
    Air(bool),
    /// Key and bypass drive off, pedal and load released. What is plugged onto the pump stays, and so does the
    /// air: opened while the engine still turns, it would start on what has been injected, or race.
    EverythingOff,
}

impl Control {
    /// Changes the machine's controls.
    pub fn apply(self, controls: &mut Controls) {
        match self {
            Control::Key(key) => controls.key = key,
            Control::Bypass(command) => controls.bypass = command,
            Control::Pedal(pedal) => controls.accelerator = pedal,
            Control::Load(load) => controls.load = load,
            Control::Air(open) => controls.air_open = open,
            Control::EverythingOff => {
                *controls = Controls {
                    drive: controls.drive,
                    air_open: controls.air_open,
                    ..Controls::default()
                };
            }
        }
    }
}

/// Where one lead goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lead {
    /// The instrument.
    pub instrument: Instrument,
    /// The test point.
    pub point: String,
}

/// An instrument of the technician's, by what it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Instrument {
    /// Stays on the engine all the time: the phase is read off it.
    Tachometer,
    /// A pressure gauge.
    Gauge,
    /// Another one, for differences of two pressures.
    SecondGauge,
    /// A multimeter on volts and amperes.
    Multimeter,
    /// A multimeter on ohms.
    Ohmmeter,
    /// A thermometer.
    Thermometer,
}

macro_rules! phases {
    ($($(#[$doc:meta])* $variant:ident = $word:literal,)+) => {
        /// What the engine is doing, as rule sets and the wire have it; both are turned into this
        /// by their words.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Phase { $($(#[$doc])* $variant,)+ }

        impl Phase {
            /// Every one.
            pub const ALL: &'static [Phase] = &[$(Phase::$variant),+];

            /// The word for it.
            pub const fn word(self) -> &'static str {
                match self { $(Phase::$variant => $word),+ }
            }

            /// The one of a word, if there is one.
            pub fn from_word(word: &str) -> Option<Phase> {
                Phase::ALL.iter().copied().find(|phase| phase.word() == word)
            }
        }
    };
}

phases! {
    /// Key off.
    Off = "off",
    /// Key on, engine still.
    KeyOn = "key-on",
    /// The starter turns the engine.
    Cranking = "cranking",
    /// Running at low idle.
    Idle = "idle",
    /// Running at high idle.
    HighIdle = "high-idle",
    /// Running under load.
    Loaded = "loaded",
    /// Running out after the shut-off.
    Stopping = "stopping",
}
