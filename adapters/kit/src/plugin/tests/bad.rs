//! One test for each way in which a plugin may misbehave: the service goes on,
//! says what is wrong, and has it back where it can.

use std::time::Duration;

use serde_json::json;

use super::super::PluginError;
use super::{Ran, prepared, program};
use crate::State;

#[tokio::test]
async fn a_sound_plugin_lives_and_stops_by_itself() {
    let mut ran = Ran::start(program(&["good"])).await;
    let values = ran.until("samples", |v| v.frames_good >= 20).await;
    assert!(values.is_sorted() && values[0] == 1.0, "{values:?}");
    assert_eq!(
        (ran.health.vitals().state, ran.health.vitals().frames_bad),
        (State::Live, 0)
    );
    assert!(
        ran.stop().await < Duration::from_millis(500),
        "it was killed"
    );
}

#[tokio::test]
async fn settings_are_held_against_its_schema_before_it_starts() {
    let error = prepared(program(&["good"]), json!({"rate": 0, "port": 1}))
        .await
        .unwrap_err();
    let PluginError::Settings(unfit) = error else {
        panic!("{error}");
    };
    assert!(
        unfit.defects.iter().any(|(place, _)| place == "/rate"),
        "{unfit}"
    );
    prepared(program(&["good"]), json!({"rate": 2}))
        .await
        .unwrap();
}

#[tokio::test]
async fn what_cannot_be_started_says_so() {
    let mut missing = program(&["good"]);
    missing.command = vec!["no-such-program".to_owned()];
    let error = prepared(missing, json!({})).await.unwrap_err();
    assert!(
        error.to_string().contains("cannot start `no-such-program`"),
        "{error}"
    );
    let mut gone = program(&["good"]);
    gone.command = vec!["false".to_owned()];
    let error = prepared(gone, json!({})).await.unwrap_err();
    assert!(
        error
            .to_string()
            .contains("it ended by itself: exit code 1"),
        "{error}"
    );
    let mut mute = program(&["mute"]);
    mute.limits.patience = Duration::from_millis(300);
    let error = prepared(mute, json!({})).await.unwrap_err();
    assert!(
        error
            .to_string()
            .contains("did not answer `describe` within 300 ms"),
        "{error}"
    );
}

#[tokio::test]
async fn one_that_floods_is_counted_and_its_samples_still_come() {
    let mut ran = Ran::start(program(&["flood"])).await;
    let values = ran
        .until("samples in a flood", |v| {
            v.frames_good >= 5 && v.frames_bad >= 5
        })
        .await;
    assert!(values.is_sorted(), "{values:?}");
    assert!(ran.health.vitals().last_error.is_some());
    ran.stop().await;
}

#[tokio::test]
async fn one_that_writes_binary_is_counted_and_its_samples_still_come() {
    let mut ran = Ran::start(program(&["binary"])).await;
    ran.until("samples", |v| v.frames_good >= 5 && v.frames_bad >= 5)
        .await;
    assert!(ran.error().contains("no text in UTF-8"), "{}", ran.error());
    ran.stop().await;
}

#[tokio::test]
async fn one_that_hangs_is_silent_killed_and_started_again() {
    let mut hanging = program(&["hang"]);
    hanging.limits.silent_after = Duration::from_millis(300);
    let mut ran = Ran::start(hanging).await;
    ran.until("silent", |v| v.state == State::Silent).await;
    assert!(
        ran.error().contains("no sample for 300 ms"),
        "{}",
        ran.error()
    );
    ran.until("noticed", |v| {
        v.last_error
            .as_deref()
            .is_some_and(|e| e.contains("it hangs"))
    })
    .await;
    ran.until("back", |v| v.state == State::Live).await;
    ran.stop().await;
}

#[tokio::test]
async fn one_that_dies_is_noticed_and_started_again() {
    for (mode, how) in [
        ("dies", "exit code 3"),
        ("cut", "in the middle of a line (22 bytes)"),
    ] {
        let mut ran = Ran::start(program(&[mode])).await;
        ran.until("silent", |v| v.state == State::Silent).await;
        assert!(ran.error().contains(how), "{}", ran.error());
        ran.until("back", |v| v.state == State::Live && v.frames_good >= 3)
            .await;
        ran.stop().await;
    }
}

#[tokio::test]
async fn what_one_forks_ends_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let note = folder.path().join("child");
    let mut forking = program(&["forks"]);
    forking
        .environment
        .insert("CHILD".to_owned(), note.display().to_string());
    let mut ran = Ran::start(forking).await;
    ran.until("silent", |v| v.state == State::Silent).await;
    ran.stop().await;
    let child: i32 = std::fs::read_to_string(&note).unwrap().parse().unwrap();
    let gone = || {
        // A killed child that nobody has waited for yet is a zombie: state `Z`.
        let stat = std::fs::read_to_string(format!("/proc/{child}/stat"));
        stat.map_or(true, |stat| {
            stat.rsplit(')')
                .next()
                .unwrap_or_default()
                .trim()
                .starts_with('Z')
        })
    };
    let waiting = async {
        let mut look = tokio::time::interval(Duration::from_millis(5));
        while !gone() {
            look.tick().await;
        }
    };
    assert!(
        tokio::time::timeout(super::LONGEST, waiting).await.is_ok(),
        "process {child} lives on"
    );
}

#[tokio::test]
async fn one_that_forks_without_end_is_ended() {
    let mut bomb = program(&["bomb"]);
    bomb.limits.processes = 4;
    bomb.limits.silent_after = Duration::from_secs(30);
    let mut ran = Ran::start(bomb).await;
    ran.until("ended", |v| {
        v.last_error
            .as_deref()
            .is_some_and(|e| e.contains("9 processes, at most 4"))
    })
    .await;
    ran.stop().await;
}

#[tokio::test]
async fn one_that_ignores_stop_is_killed_within_a_second() {
    let mut ran = Ran::start(program(&["deaf"])).await;
    ran.until("samples", |v| v.frames_good >= 2).await;
    let took = ran.stop().await;
    assert!(took < Duration::from_secs(1), "{took:?}");
}

#[tokio::test]
async fn a_sample_on_anothers_channel_is_refused_and_counted() {
    let mut ran = Ran::start(program(&["other"])).await;
    let values = ran
        .until("refusals", |v| v.frames_bad >= 4 && v.frames_good >= 4)
        .await;
    assert!(
        !values.contains(&99.0) && values.contains(&3.0),
        "{values:?}"
    );
    assert!(
        ran.error()
            .contains("on channel 0, which it described as pressure")
            || ran.error().contains("channel 7, which it did not describe"),
        "{}",
        ran.error()
    );
    ran.stop().await;
}

#[tokio::test]
async fn one_that_asks_the_service_something_is_refused() {
    let mut ran = Ran::start(program(&["asks"])).await;
    ran.until("samples", |v| v.frames_good >= 5).await;
    assert_eq!(ran.health.vitals().frames_bad, 0);
    ran.stop().await;
}

#[tokio::test]
async fn memory_beyond_the_limit_cannot_be_had() {
    let mut eater = program(&["eats"]);
    eater.limits.memory = 256 << 20;
    let mut ran = Ran::start(eater).await;
    ran.until("ended", |v| {
        v.last_error
            .as_deref()
            .is_some_and(|e| e.contains("exit code 1"))
    })
    .await;
    ran.until("back", |v| v.state == State::Live).await;
    ran.stop().await;
}

#[tokio::test]
async fn processor_time_beyond_the_limit_ends_it() {
    let mut spinner = program(&["spins"]);
    spinner.limits.cpu = 1;
    spinner.limits.silent_after = Duration::from_secs(30);
    let mut ran = Ran::start(spinner).await;
    ran.until("ended", |v| {
        v.last_error
            .as_deref()
            .is_some_and(|e| e.contains("more than 1 s of processor time"))
    })
    .await;
    ran.stop().await;
}

#[tokio::test]
async fn a_full_queue_holds_it_back_and_nothing_is_lost() {
    let mut ran = Ran::start(program(&["numbered", "20000"])).await;
    // Nobody takes any: the queue fills, the pipe fills, the plugin waits.
    let held = async {
        let mut look = tokio::time::interval(Duration::from_millis(10));
        let mut before = 0;
        loop {
            look.tick().await;
            let now = ran.health.vitals().frames_good;
            if now > 0 && now == before {
                return now;
            }
            before = now;
        }
    };
    let held = tokio::time::timeout(super::LONGEST, held).await.unwrap();
    assert!(held <= 65, "{held} samples with a queue of 64");
    let values = ran.until("all of them", |v| v.frames_good >= 20_000).await;
    let expected: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
    assert!(
        values.len() > 19_900 && values == expected[..],
        "lost or out of order"
    );
    ran.stop().await;
}
