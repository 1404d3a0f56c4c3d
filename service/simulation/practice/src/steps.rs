//! A check as the service shows it, turned into what a technician needs to know of it.

use trisect_machine as machine;
use trisect_technician::{Check, Measured, Phase, Step};
use trisect_wire::types::{CheckShown, Drive, HowShown, Ruleset};

/// The steps that carry a check out; `None` where a technician has no instrument for it.
pub fn steps_of(rules: &Ruleset, check: &CheckShown) -> Option<Vec<Step>> {
    let HowShown::Measured {
        point,
        phase,
        take,
        after,
        over,
        ..
    } = &check.how
    else {
        return Check::Asked.steps();
    };
    let shown = rules.test_points.iter().find(|one| one.id == *point)?;
    let minus = shown.minus.as_ref();
    let measured = Measured {
        point,
        minus: minus.map(|[minuend, subtrahend]| [minuend.as_str(), subtrahend.as_str()]),
        quantity: shown.quantity.parse().ok()?,
        phase: Phase::from_word(phase.first()?.word())?,
        decays: take == "decay",
        drive: check.drive.map(on_pump),
        after: *after,
        over: *over,
    };
    Check::Measured(measured).steps()
}

/// A drive, as it is plugged onto the simulated pump.
pub(crate) fn on_pump(drive: Drive) -> machine::Drive {
    match drive {
        Drive::Harness => machine::Drive::Harness,
        Drive::Bypass => machine::Drive::Bypass,
    }
}

/// What is plugged onto the simulated pump, as it is said to the service.
pub(crate) fn said_drive(drive: machine::Drive) -> Drive {
    match drive {
        machine::Drive::Harness => Drive::Harness,
        machine::Drive::Bypass => Drive::Bypass,
    }
}

/// A phase, as it is said to the service.
pub(crate) fn said_phase(phase: Phase) -> trisect_wire::types::Phase {
    use trisect_wire::types::Phase as Said;
    match phase {
        Phase::Off => Said::Off,
        Phase::KeyOn => Said::KeyOn,
        Phase::Cranking => Said::Cranking,
        Phase::Idle => Said::Idle,
        Phase::HighIdle => Said::HighIdle,
        Phase::Loaded => Said::Loaded,
        Phase::Stopping => Said::Stopping,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phases_are_said_by_their_own_words() {
        for phase in trisect_wire::types::Phase::ALL {
            let ours = Phase::from_word(phase.word());
            assert_eq!(ours.map(said_phase), Some(*phase));
        }
    }
}
