//! The demo: the right side is named from bytes, for every fault it is promised for.

use std::fs::File;
use std::path::Path;
use std::time::{Duration, Instant};

use trisect_rules::shipped_rule_set;
use trisect_tests::programs::program;
use trisect_tests::service::Served;
use trisect_tests::wait::within;
use trisect_wire::table::RulesetShow;
use trisect_wire::types::RulesetName;

/// Less than this is promised, at the speed the demo has by itself.
const PROMISED: Duration = Duration::from_secs(30);

/// One demo at a time, whatever process a test runs in: its bay is many times as fast as the world, so that
/// what delays an instrument's bytes here delays them there by half a second.
fn turn() -> File {
    let lock = File::create(Path::new(env!("CARGO_TARGET_TMPDIR")).join("demo.lock")).unwrap();
    lock.lock().unwrap();
    lock
}

/// Runs the demo at its own speed; everything it prints.
async fn demo(fault: &str) -> String {
    let turn = turn();
    let mut command = tokio::process::Command::new(program("trisectd"));
    command.args(["demo", "--fault", fault]).kill_on_drop(true);
    let begun = Instant::now();
    let ended = within(fault, command.output()).await.unwrap();
    assert!(
        begun.elapsed() < PROMISED,
        "{fault}: took {:?}",
        begun.elapsed()
    );
    drop(turn);
    let err = String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{fault}: {err}");
    String::from_utf8(ended.stdout).unwrap()
}

async fn check(fault: &str, side: &str) -> String {
    let said = demo(fault).await;
    let last = said.trim_end().lines().last().unwrap_or_default();
    assert!(
        last.starts_with(&format!("isolated: {side} (")),
        "{fault}: {last}\n{said}"
    );
    assert!(
        said.contains("byte for byte"),
        "{fault}: kept for replay\n{said}"
    );
    said
}

macro_rules! faults {
    ($($name:ident: $fault:literal is $side:literal;)+) => {
        $(
            #[tokio::test]
            async fn $name() {
                check($fault, $side).await;
            }
        )+
    };
}

faults! {
    lift_pump_weak: "lift-pump-weak" is "supply";
    lift_pump_dead: "lift-pump-dead" is "supply";
    filter_plugged: "filter-plugged" is "supply";
    battery_weak: "battery-weak" is "supply";
    controller_no_feed: "controller-no-feed" is "controller";
    harness_open: "harness-open" is "controller";
    controller_commands_full: "controller-commands-full" is "controller";
    pump_control_unit_dead: "pump-control-unit-dead" is "pump";
    metering_stuck_open: "metering-stuck-open" is "pump";
}

/// Both at once: the supply is named, and the pump is said to be not cleared.
#[tokio::test]
async fn a_starved_pump_that_died() {
    let said = check("lift-pump-weak+pump-control-unit-dead", "supply").await;
    let verdict = &said[said.find("Verdict").expect("a verdict")..];
    assert!(
        verdict.contains("not cleared") && verdict.contains("pump"),
        "{verdict}"
    );
}

/// What the survey does in step with the machine model, the demo does over JSON-RPC: every test
/// has one list of steps, whichever side the rule set is read from.
#[tokio::test]
async fn survey_and_demo_do_every_test_alike() {
    let rules = shipped_rule_set("distributor-pump-12v").unwrap();
    let served = Served::start().await;
    let name = RulesetName {
        ruleset: rules.id.clone(),
    };
    let client = served.client().await;
    let shown = client.call::<RulesetShow>(&name).await.unwrap();
    for (index, check) in rules.checks.iter().enumerate() {
        let shown_check = shown.checks.iter().find(|one| one.id == check.id).unwrap();
        let survey = trisect_survey::steps_of(&rules, index);
        assert!(survey.is_some(), "{} can be done", check.id);
        let demo = trisect_practice::steps_of(&shown, shown_check);
        assert_eq!(survey, demo, "{}", check.id);
    }
    served.stop().await;
}

#[tokio::test]
async fn a_fault_that_does_not_exist_is_refused() {
    let mut command = tokio::process::Command::new(program("trisectd"));
    let ended = within(
        "its end",
        command.args(["demo", "--fault", "lift-pump-week"]).output(),
    )
    .await
    .unwrap();
    let err = String::from_utf8(ended.stderr).unwrap();
    assert!(
        !ended.status.success() && err.contains("lift-pump-weak"),
        "{err}"
    );
}
