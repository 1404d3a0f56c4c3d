#![allow(clippy::unwrap_used)]
use trisect_machine::{BypassCommand, Key};

use super::*;
use Control::{Air, Bypass, EverythingOff, Load, Pedal};
use Step::{
    AwaitFinding, BeginReading, Connect, CutAirIfTurning, LiftLeads, MoveLeads, Operate, SayLeads,
    SayOffUnlessRunning, SayPhase, Start, Wait, WaitUntilStill, WriteDown,
};

fn measured(point: &str, quantity: Quantity, phase: Phase) -> Measured<'_> {
    Measured {
        point,
        minus: None,
        quantity,
        phase,
        decays: false,
        drive: None,
        after: 0.0,
        over: None,
    }
}

fn key(key: Key) -> Step {
    Operate(Control::Key(key))
}

/// Holds the steps of a check against those expected: `enter` and `look` between the placing of
/// one lead and the rest afterwards.
fn check(measured: &Measured<'_>, lead: Instrument, drive: Drive, expected: &[Step]) {
    let mut all = vec![
        LiftLeads,
        Connect(drive),
        MoveLeads {
            leads: vec![Lead {
                instrument: lead,
                point: measured.point.to_owned(),
            }],
            settle: 1.0,
        },
    ];
    all.extend(expected.iter().cloned());
    assert_eq!(Check::Measured(*measured).steps().unwrap(), all);
}

fn looked(after: f64, seconds: f64) -> Vec<Step> {
    vec![
        Wait(after),
        BeginReading,
        Wait(seconds),
        WriteDown,
        AwaitFinding { within: 6.0 },
    ]
}

fn switched_off() -> Vec<Step> {
    vec![
        SayOffUnlessRunning,
        Operate(EverythingOff),
        WaitUntilStill { within: 5.0 },
        CutAirIfTurning,
        WaitUntilStill { within: 35.0 },
        Operate(Air(true)),
        Wait(1.0),
        SayPhase(Phase::Off),
    ]
}

fn primed() -> Vec<Step> {
    vec![
        Operate(Bypass(BypassCommand::LowIdle)),
        key(Key::On),
        SayPhase(Phase::KeyOn),
        Wait(3.0),
    ]
}

#[test]
fn asked() {
    assert_eq!(Check::Asked.steps(), Some(vec![Step::Ask]));
}

#[test]
fn at_rest() {
    let test = measured("battery", Quantity::Voltage, Phase::Off);
    let expected = [vec![SayLeads, SayPhase(Phase::Off)], looked(0.0, 3.0)].concat();
    check(&test, Instrument::Multimeter, Drive::Harness, &expected);
}

#[test]
fn with_the_key_on() {
    let test = Measured {
        drive: Some(Drive::Harness),
        ..measured("pump-feed-drop", Quantity::Voltage, Phase::KeyOn)
    };
    let on = vec![
        Operate(Bypass(BypassCommand::LowIdle)),
        key(Key::On),
        SayPhase(Phase::KeyOn),
        Wait(1.0),
        SayPhase(Phase::KeyOn),
        SayLeads,
    ];
    let expected = [on, looked(0.0, 3.0), switched_off()].concat();
    check(&test, Instrument::Multimeter, Drive::Harness, &expected);
}

#[test]
fn cranking_without_air() {
    let test = Measured {
        after: 1.0,
        over: Some(3.0),
        ..measured("pump-inlet-pressure", Quantity::Pressure, Phase::Cranking)
    };
    let cranked = vec![
        SayLeads,
        Operate(Air(false)),
        key(Key::Crank),
        SayPhase(Phase::Cranking),
    ];
    let expected = [primed(), cranked, looked(1.0, 4.0), switched_off()].concat();
    check(&test, Instrument::Gauge, Drive::Harness, &expected);
}

#[test]
fn at_idle_on_the_bypass_drive() {
    let test = Measured {
        drive: Some(Drive::Bypass),
        over: Some(10.0),
        ..measured("engine-speed", Quantity::RotationalSpeed, Phase::Idle)
    };
    let started = vec![SayLeads, Start { within: 12.0 }];
    let expected = [primed(), started, looked(0.0, 11.0), switched_off()].concat();
    check(&test, Instrument::Tachometer, Drive::Bypass, &expected);
}

#[test]
fn at_high_idle() {
    let test = measured("engine-speed", Quantity::RotationalSpeed, Phase::HighIdle);
    let started = vec![
        SayLeads,
        Start { within: 12.0 },
        Wait(3.0),
        Operate(Pedal(0.6)),
        Operate(Bypass(BypassCommand::HighIdle)),
        Wait(2.0),
    ];
    let expected = [primed(), started, looked(0.0, 3.0), switched_off()].concat();
    check(&test, Instrument::Tachometer, Drive::Harness, &expected);
}

#[test]
fn under_load() {
    let test = Measured {
        over: Some(5.0),
        ..measured("pump-inlet-pressure", Quantity::Pressure, Phase::Loaded)
    };
    let loaded = vec![
        SayLeads,
        Start { within: 12.0 },
        Wait(3.0),
        Operate(Pedal(0.6)),
        Operate(Load(0.5)),
        Wait(1.0),
        SayPhase(Phase::Loaded),
    ];
    let expected = [primed(), loaded, looked(0.0, 6.0), switched_off()].concat();
    check(&test, Instrument::Gauge, Drive::Harness, &expected);
}

#[test]
fn what_is_lost_after_the_stop() {
    let test = Measured {
        decays: true,
        over: Some(60.0),
        ..measured("pump-inlet-pressure", Quantity::Pressure, Phase::Off)
    };
    let built_up = vec![
        Operate(Bypass(BypassCommand::LowIdle)),
        key(Key::On),
        SayPhase(Phase::KeyOn),
        Wait(8.0),
        SayLeads,
        SayPhase(Phase::Off),
        Operate(EverythingOff),
    ];
    let expected = [built_up, looked(0.0, 61.0)].concat();
    check(&test, Instrument::Gauge, Drive::Harness, &expected);
}

#[test]
fn a_sweep_of_the_pedal_stays_a_second_at_each_place() {
    let test = measured("accelerator-signal", Quantity::Voltage, Phase::KeyOn);
    let steps = Check::Measured(test).steps().unwrap();
    let swept: Vec<f64> = steps
        .iter()
        .filter_map(|step| match step {
            Operate(Pedal(pedal)) => Some(*pedal),
            _ => None,
        })
        .collect();
    assert_eq!(swept, SWEEP);
    let begun = steps.iter().position(|step| *step == BeginReading).unwrap();
    let stays = steps[begun..].iter().skip(2).step_by(2).take(SWEEP.len());
    assert!(stays.clone().all(|step| *step == Wait(1.0)), "{steps:?}");
    // A longer look is spread over the places.
    let long = Measured {
        over: Some(20.0),
        ..test
    };
    assert!(Check::Measured(long).steps().unwrap().contains(&Wait(3.0)));
}

#[test]
fn the_clamp_of_the_bypass_current_is_on_the_bypass_drive() {
    let test = measured("bypass-current", Quantity::Current, Phase::KeyOn);
    let steps = Check::Measured(test).steps().unwrap();
    assert_eq!(steps[1], Connect(Drive::Bypass));
    let said = Measured {
        drive: Some(Drive::Harness),
        ..test
    };
    let steps = Check::Measured(said).steps().unwrap();
    assert_eq!(steps[1], Connect(Drive::Harness));
}

#[test]
fn a_difference_takes_two_gauges_at_once() {
    let test = Measured {
        minus: Some(["filter-inlet-pressure", "pump-inlet-pressure"]),
        ..measured("filter-drop", Quantity::Pressure, Phase::Idle)
    };
    let leads = test.leads().unwrap();
    let placed: Vec<(Instrument, &str)> = leads
        .iter()
        .map(|lead| (lead.instrument, lead.point.as_str()))
        .collect();
    assert_eq!(
        placed,
        [
            (Instrument::SecondGauge, "filter-inlet-pressure"),
            (Instrument::Gauge, "pump-inlet-pressure")
        ]
    );
    let volts = Measured {
        quantity: Quantity::Voltage,
        ..test
    };
    assert_eq!(volts.leads(), None);
    let hertz = measured("ripple", Quantity::Frequency, Phase::Idle);
    assert_eq!(Check::Measured(hertz).steps(), None);
}
