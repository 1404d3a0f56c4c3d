//! The parts that a test, and a round in the practice bay, are put together from.

use trisect_machine::{BypassCommand, Key};

use crate::check::LEAD_SETTLES;
use crate::{Control, Instrument, Lead, Phase, Step};

/// Seconds with the key on before cranking; the fuel line fills meanwhile.
pub(crate) const PRIME: f64 = 3.0;
/// Seconds until every instrument shows what it has been brought to.
const SETTLE: f64 = 1.0;
/// Seconds that a start is tried for: whoever has heard a starter for so long gives up.
pub(crate) const START_WITHIN: f64 = 12.0;
/// Seconds with the key on until the lift pump has filled the lines to its full pressure.
const BUILD_UP: f64 = 8.0;
/// Seconds of idling until it is steady: high idle and load come only then.
const STEADY: f64 = 3.0;
/// Seconds that the engine takes to run up to high idle.
const RUN_UP: f64 = 2.0;
/// The pedal at high idle and under load, 0 to 1: about the speed that the bypass drive's button asks for.
const PEDAL: f64 = 0.6;
/// The load, 0 to 1.
const LOAD: f64 = 0.5;
/// Seconds until the air is cut where the engine does not stop by itself.
const STOPS_WITHIN: f64 = 5.0;
/// Seconds until it stands then.
const STOPS_WITHOUT_AIR: f64 = 35.0;

/// What is done before the first test: the tachometer is put on, where it stays, and somebody
/// reads the yard's thermometer.
pub fn arrival() -> Vec<Step> {
    let tachometer = Lead {
        instrument: Instrument::Tachometer,
        point: "engine-speed".to_owned(),
    };
    vec![
        Step::MoveLeads {
            leads: vec![tachometer],
            settle: LEAD_SETTLES,
        },
        Step::SayLeads,
        Step::EnterAmbientTemperature,
    ]
}

/// Everything off; the air is cut if that does not stop the engine.
///
/// Off is said as the key is turned, so that nothing that is read with the key off counts as
/// anything else, and again once every instrument shows it, so that windows start there.
pub fn rest() -> Vec<Step> {
    vec![
        Step::SayOffUnlessRunning,
        Step::Operate(Control::EverythingOff),
        Step::WaitUntilStill {
            within: STOPS_WITHIN,
        },
        Step::CutAirIfTurning,
        Step::WaitUntilStill {
            within: STOPS_WITHOUT_AIR,
        },
        Step::Operate(Control::Air(true)),
        Step::Wait(SETTLE),
        Step::SayPhase(Phase::Off),
    ]
}

/// Key on. It is said at once: what a battery shows under lamps, lift pump and intake heater is
/// not that of a battery at rest.
fn turn_key_on() -> Vec<Step> {
    vec![
        // The bypass drive keeps the pump powered as long as it is at low idle.
        Step::Operate(Control::Bypass(BypassCommand::LowIdle)),
        Step::Operate(Control::Key(Key::On)),
        Step::SayPhase(Phase::KeyOn),
    ]
}

/// Key on, said again once every instrument shows it.
pub(crate) fn key_on() -> Vec<Step> {
    let mut steps = turn_key_on();
    steps.extend([Step::Wait(SETTLE), Step::SayPhase(Phase::KeyOn)]);
    steps
}

/// Key on until the fuel line is filled, with the starter at rest.
pub(crate) fn prime() -> Vec<Step> {
    let mut steps = turn_key_on();
    steps.push(Step::Wait(PRIME));
    steps
}

/// The starter, with the air cut: the engine cannot start, nor race, and is measured for as long
/// as it takes. Cranking is said at once: a weak battery may turn it too slowly to be told from
/// standing, and a window waits by itself until the inrush is over.
pub(crate) fn cranking() -> Vec<Step> {
    vec![
        Step::Operate(Control::Air(false)),
        Step::Operate(Control::Key(Key::Crank)),
        Step::SayPhase(Phase::Cranking),
    ]
}

/// Cranked until it runs. The phases are told by its speed.
pub(crate) fn start(within: f64) -> Vec<Step> {
    vec![Step::Start { within }]
}

/// Up to high idle, once the engine idles steadily. Pedal and button are both pressed: each is
/// heard by its own drive alone.
pub(crate) fn high_idle() -> Vec<Step> {
    let mut steps = vec![Step::Wait(STEADY)];
    steps.extend(press());
    steps.push(Step::Wait(RUN_UP));
    steps
}

pub(crate) fn press() -> [Step; 2] {
    [
        Step::Operate(Control::Pedal(PEDAL)),
        Step::Operate(Control::Bypass(BypassCommand::HighIdle)),
    ]
}

/// Back to low idle.
pub(crate) fn release() -> [Step; 2] {
    [
        Step::Operate(Control::Pedal(0.0)),
        Step::Operate(Control::Bypass(BypassCommand::LowIdle)),
    ]
}

/// Under load, once the engine idles steadily. It is said when it pulls: no instrument shows it.
pub(crate) fn loaded() -> Vec<Step> {
    vec![
        Step::Wait(STEADY),
        Step::Operate(Control::Pedal(PEDAL)),
        Step::Operate(Control::Load(LOAD)),
        Step::Wait(SETTLE),
        Step::SayPhase(Phase::Loaded),
    ]
}

/// The lift pump alone brings the lines to full pressure. Cranking would take from the line, and
/// from the battery, what it is not about.
pub(crate) fn build_up() -> Vec<Step> {
    let mut steps = turn_key_on();
    steps.push(Step::Wait(BUILD_UP));
    steps
}

/// Key off, with the engine at rest. Off is said at that moment: the pressure begins to fall then.
pub(crate) fn let_go() -> Vec<Step> {
    vec![
        Step::SayPhase(Phase::Off),
        Step::Operate(Control::EverythingOff),
    ]
}
