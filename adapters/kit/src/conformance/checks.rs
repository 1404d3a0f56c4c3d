//! The checks of the conformance suite, one promise of the contract each.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use super::rig::{Finding, PATIENCE, Rig};
use super::{Instrument, Mood};
use crate::{Emission, State};

/// Losing a port has to show within this.
const SECOND: Duration = Duration::from_secs(1);
/// No valid frame has to show within the adapter's own time, which its tests
/// keep at a second or less, and some slack for a busy machine.
const SILENCE: Duration = Duration::from_secs(3);
/// How long an adapter is watched holding back: many turns of the instrument.
const HOLDING: Duration = Duration::from_millis(300);
const QUEUE: usize = 64;
const HOUR: i64 = 3600 * 1_000_000_000;

type Subject = Arc<dyn Instrument>;

pub(super) fn description(instrument: &Subject) -> Finding {
    let said = instrument
        .adapter(Path::new("/dev/no-such-port"))
        .describe();
    require(!said.name.is_empty(), "no name")?;
    require(!said.version.is_empty(), "no version")?;
    require(!said.channels.is_empty(), "no channel")?;
    require(
        said.settings.is_object(),
        "the settings schema is no object",
    )
}

pub(super) async fn start_and_stop(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.start();
    let ((), taken) = rig.taking(async |rig| live(rig, 20).await).await?;
    let now = (rig.clock)();
    require(
        taken
            .iter()
            .all(|emission| (0..=now).contains(&emission.at)),
        "a sample is stamped before the start or after now",
    )?;
    require(in_order(&taken), "times go back")?;
    rig.stop().await?;
    let vitals = rig.health.vitals();
    require(
        vitals.state == State::Stopped,
        "not `stopped` after stopping",
    )
}

pub(super) async fn run_again(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    for _ in 0..2 {
        rig.start();
        rig.taking(async |rig| live(rig, 5).await).await?;
        rig.stop().await?;
    }
    Ok(())
}

pub(super) async fn late_port(instrument: &Subject) -> Finding {
    let mut rig = Rig::new(instrument.clone(), QUEUE).map_err(|e| e.to_string())?;
    rig.start();
    rig.until("silent without a port", SECOND, |v| {
        v.state == State::Silent
    })
    .await?;
    let name = instrument.port_name(&rig.link());
    let error = rig.health.vitals().last_error.unwrap_or_default();
    require(
        error.contains(&name),
        "the last error does not name the missing port",
    )?;
    require(rig.is_running(), "gave up on a missing port")?;
    rig.plug().map_err(|e| e.to_string())?;
    rig.taking(async |rig| live(rig, 1).await).await?;
    rig.stop().await
}

pub(super) async fn unplug(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.start();
    rig.taking(async |rig| live(rig, 1).await).await?;
    for _ in 0..2 {
        rig.unplug().await.map_err(|e| e.to_string())?;
        rig.taking(async |rig| {
            rig.until("silent after unplugging", SECOND, |v| {
                v.state == State::Silent
            })
            .await
        })
        .await?;
        rig.plug().map_err(|e| e.to_string())?;
        rig.taking(async |rig| live(rig, 5).await).await?;
    }
    rig.stop().await
}

pub(super) async fn garbage(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.start();
    rig.taking(async |rig| live(rig, 1).await).await?;
    rig.mood(Mood::Garbled);
    rig.taking(async |rig| {
        rig.until("silent and counting under garbage", SILENCE, |v| {
            v.state == State::Silent && v.frames_bad + v.bytes_skipped > 0
        })
        .await
    })
    .await?;
    while rig.samples.try_recv().is_ok() {}
    rig.mood(Mood::Well);
    rig.taking(async |rig| live(rig, 5).await).await?;
    rig.stop().await
}

pub(super) async fn silence(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.mood(Mood::Mute);
    rig.start();
    rig.until("silent while mute from the start", SILENCE, |v| {
        v.state == State::Silent
    })
    .await?;
    rig.mood(Mood::Well);
    rig.taking(async |rig| live(rig, 5).await).await?;
    rig.mood(Mood::Mute);
    rig.taking(async |rig| {
        rig.until("silent after going mute", SILENCE, |v| {
            v.state == State::Silent
        })
        .await
    })
    .await?;
    rig.stop().await
}

pub(super) async fn flood(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.start();
    rig.taking(async |rig| live(rig, 1).await).await?;
    rig.mood(Mood::Flooding);
    let (_, taken) = rig
        .taking(async |rig| {
            rig.until("counting under a flood", PATIENCE, |v| {
                v.frames_bad + v.bytes_skipped > 1000
            })
            .await
        })
        .await?;
    require(in_order(&taken), "times go back under a flood")?;
    rig.stop().await.map_err(|e| format!("in a flood: {e}"))
}

/// The bay's clock is stepped an hour on, then two back: nothing is lost, nothing is taken for
/// silence, and samples are stamped with the clock as it is.
pub(super) async fn clock_step(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, QUEUE)?;
    rig.start();
    rig.taking(async |rig| live(rig, 5).await).await?;
    for by in [HOUR, -2 * HOUR] {
        while rig.samples.try_recv().is_ok() {}
        rig.step_clock(by);
        let stepped = (rig.clock)();
        let (silent, taken) = rig
            .taking(async |rig| {
                let before = rig.health.vitals().frames_good;
                let went_on = rig.until("went on after a clock step", PATIENCE, |v| {
                    v.state == State::Silent || v.frames_good >= before + 10
                });
                went_on.await?;
                Ok(rig.health.vitals().state == State::Silent)
            })
            .await?;
        require(!silent, "took a step of the clock for silence")?;
        let now = (rig.clock)();
        let timely = |emission: &Emission| (stepped..=now).contains(&emission.at);
        // What was read before the step may still have been on its way.
        let after = taken.iter().skip_while(|emission| !timely(emission));
        require(
            after.clone().count() >= 5 && after.clone().all(timely),
            "samples after a clock step are not stamped with the clock as it is",
        )?;
    }
    rig.stop().await
}

pub(super) async fn full_queue(instrument: &Subject) -> Finding {
    let mut rig = plugged(instrument, 2)?;
    rig.start();
    rig.until("live", PATIENCE, |v| v.frames_good >= 3).await?;
    // Two in the queue and one in hand: it has to wait now.
    let held = 3;
    let went_on = rig.until("", HOLDING, |v| v.frames_good > held).await;
    require(went_on.is_err(), "went on although the queue was full")?;
    let first = rig.samples.recv().await.ok_or("dropped the queue")?;
    let second = rig.samples.recv().await.ok_or("dropped the queue")?;
    require(first.at <= second.at, "times go back")?;
    rig.until("went on once there was room", PATIENCE, |v| {
        v.frames_good > held
    })
    .await?;
    rig.until("filled the queue again", PATIENCE, |v| {
        v.frames_good >= held + 2
    })
    .await?;
    rig.stop()
        .await
        .map_err(|e| format!("with a full queue: {e}"))
}

fn plugged(instrument: &Subject, queue: usize) -> Result<Rig, String> {
    let mut rig = Rig::new(instrument.clone(), queue).map_err(|e| e.to_string())?;
    rig.plug().map_err(|e| e.to_string())?;
    Ok(rig)
}

/// Waits until the adapter is live and has given `more` further samples.
async fn live(rig: &Rig, more: u64) -> Finding {
    let before = rig.health.vitals().frames_good;
    rig.until("live", PATIENCE, |v| {
        v.state == State::Live && v.frames_good >= before + more
    })
    .await
    .map(|_| ())
}

fn in_order(taken: &[Emission]) -> bool {
    taken.is_sorted_by_key(|emission| emission.at)
}

fn require(holds: bool, otherwise: &str) -> Finding {
    if holds {
        Ok(())
    } else {
        Err(otherwise.to_owned())
    }
}
