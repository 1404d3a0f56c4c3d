//! The hands at the simulated machine: they turn the key, and do to the machine what was said to the service.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::sync::watch;
use trisect_wire::types::{Drive, Phase, PhaseSayParams};
use trisect_simulated::bay::SimulatedBay;
use trisect_machine::{self, BypassCommand, Key};

use super::say;
use crate::bay::BayHandle;

/// Simulated seconds with the key on before cranking; the fuel line fills meanwhile.
const PRIME: f64 = 3.0;
/// Simulated seconds that a start is tried for in a round.
const TRY: f64 = 8.0;
/// The longest crank, simulated seconds: at most 30 at a time is the published practice (TM 10-3930-671-24).
const LONGEST_CRANK: f64 = 30.0;
/// Above this the engine runs by itself, rpm.
const RUNS: f64 = 500.0;
/// Simulated seconds of each part of a round.
const REST: f64 = 6.0;
const IDLE: f64 = 15.0;
const HIGH_IDLE: f64 = 6.0;
/// The pedal at high idle, 0 to 1.
const PEDAL: f64 = 0.6;
/// How often what was said to the service is looked at.
const LOOK: Duration = Duration::from_millis(50);

/// What the engine is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// Everything, one after the other, over and over.
    Round,
    /// Key off.
    Off,
    /// Key on, engine still.
    KeyOn,
    /// Crank, for as long as it does not start.
    Crank,
    /// Start, and idle.
    Idle,
    /// Start, and run with the pedal down.
    HighIdle,
}

/// Has the engine do what is wanted, for ever.
pub(super) async fn turn_the_key(
    machine: &SimulatedBay,
    bay: &BayHandle,
    mut wants: watch::Receiver<Wanted>,
) {
    let hands = Hands { machine, bay };
    loop {
        let wanted = *wants.borrow_and_update();
        tokio::select! {
            () = hands.work(wanted) => {}
            changed = wants.changed() => if changed.is_err() {
                return;
            },
        }
    }
}

struct Hands<'a> {
    machine: &'a SimulatedBay,
    bay: &'a BayHandle,
}

impl Hands<'_> {
    /// May be given up anywhere: whatever comes next sets every control it needs.
    async fn work(&self, wanted: Wanted) {
        match wanted {
            Wanted::Round => return self.round().await,
            Wanted::Off => self.off().await,
            Wanted::KeyOn => {
                self.off().await;
                self.key_on().await;
            }
            Wanted::Crank => {
                self.off().await;
                self.key_on().await;
                self.crank(LONGEST_CRANK).await;
            }
            Wanted::Idle => {
                self.run().await;
                self.machine.accelerator(0.0);
            }
            Wanted::HighIdle => {
                self.run().await;
                self.pedal(true);
            }
        }
        // Until something else is wanted.
        std::future::pending().await
    }

    async fn round(&self) {
        self.off().await;
        // A machine that never starts would be flat within the hour.
        self.machine.charge_battery();
        self.machine.wait(REST).await;
        self.key_on().await;
        if self.crank(TRY).await {
            self.machine.wait(IDLE).await;
            self.pedal(true);
            self.machine.wait(HIGH_IDLE).await;
            self.pedal(false);
            self.machine.wait(REST).await;
        }
    }

    async fn off(&self) {
        self.machine.shut_down().await;
        self.say(Phase::Off).await;
    }

    async fn key_on(&self) {
        self.machine.bypass(BypassCommand::LowIdle);
        self.machine.key(Key::On);
        self.say(Phase::KeyOn).await;
        self.machine.wait(PRIME).await;
    }

    /// Whether it started.
    async fn crank(&self, longest: f64) -> bool {
        self.machine.key(Key::Crank);
        let started = self
            .machine
            .wait_until(longest, |machine| machine.rpm() > RUNS)
            .await;
        self.machine.key(Key::On);
        started
    }

    /// Starts it unless it runs.
    async fn run(&self) {
        let runs = |machine: &machine::Machine| machine.rpm() > RUNS;
        if self.machine.wait_until(0.0, runs).await {
            return;
        }
        self.off().await;
        self.key_on().await;
        self.crank(LONGEST_CRANK).await;
    }

    fn pedal(&self, down: bool) {
        self.machine.accelerator(if down { PEDAL } else { 0.0 });
        self.machine.bypass(if down {
            BypassCommand::HighIdle
        } else {
            BypassCommand::LowIdle
        });
    }

    /// Says what no instrument shows: whether the key is on while the engine stands.
    async fn say(&self, phase: Phase) {
        let params = PhaseSayParams {
            bay: self.bay.name().to_owned(),
            phase: Some(phase),
            drive: None,
        };
        // Without an open job there is nobody to be told.
        let _ = self
            .bay
            .ask(move |bay| Box::pin(async move { bay.say(&params).await.map(drop) }))
            .await;
    }
}

/// Puts leads where probes are placed, and plugs the drive on that is said to be connected, for ever. A lead whose
/// probe is lifted stays where it is: its readings are of no job.
pub(super) async fn follow(machine: &SimulatedBay, bay: &BayHandle) {
    let mut looks = tokio::time::interval(LOOK);
    let mut known = (BTreeMap::new(), None);
    loop {
        looks.tick().await;
        let said = bay
            .ask(|bay| Box::pin(async move { Ok((bay.instruments_shown(), bay.shown().drive)) }))
            .await;
        // The service is stopping.
        let Ok((instruments, drive)) = said else {
            return std::future::pending().await;
        };
        if let Some(drive) = drive
            && known.1.replace(drive) != Some(drive)
        {
            machine.drive(match drive {
                Drive::Harness => machine::Drive::Harness,
                Drive::Bypass => machine::Drive::Bypass,
            });
        }
        for channel in instruments.iter().flat_map(|one| {
            let name = &one.instrument;
            one.channels.iter().map(move |channel| (name, channel))
        }) {
            let (name, channel) = channel;
            let (Some(point), Ok(input)) = (&channel.point, channel.channel.parse::<u16>()) else {
                continue;
            };
            let lead = (name.clone(), input);
            if known.0.get(&lead) == Some(point) {
                continue;
            }
            known.0.insert(lead, point.clone());
            // An instrument that is not simulated has no lead here.
            let simulated = machine.instruments().iter().any(|one| one.id == *name);
            if simulated && let Err(error) = machine.place(name, input, point) {
                say(&format!("{name} cannot be put at {point}: {error}"));
            }
        }
    }
}
