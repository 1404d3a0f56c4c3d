//! What a survey costs: a machine of it for 1 000 and 10 000 machines (100 000 with `-- --long`), and
//! a quarter of an hour of the machine model.
//!
//! Goals: a quarter of an hour simulates in less than 20 ms of one core; the cost grows linearly.
//! Baseline, in the same run: a survey of 250 machines, by which the others are measured.

use std::hint::black_box;
use std::sync::Arc;
use std::time::Duration;

use trisect_diagnosis::Model;
use trisect_machine::{Controls, Fault, Key, Machine};
use trisect_rules::shipped_rule_set;
use trisect_survey::{Survey, survey};

/// Machines of the baseline.
const BASELINE: u64 = 250;
/// How much more a machine may cost in a large survey than in the baseline: the drawn jobs differ
/// from survey to survey, and a shared core has a cold cache.
const LINEAR: f64 = 1.35;
/// What a quarter of an hour may cost one core.
const QUARTER: Duration = Duration::from_millis(20);

/// A quarter of an hour at the machine: cranked without air for ten seconds in every minute, at 100
/// steps a second.
fn quarter(faults: &[Fault]) -> Machine {
    let mut machine = Machine::new(1, faults);
    for _ in 0..15 {
        machine.set_controls(Controls {
            key: Key::Crank,
            air_open: false,
            ..Controls::default()
        });
        machine.advance(10.0);
        machine.set_controls(Controls {
            key: Key::On,
            ..Controls::default()
        });
        machine.advance(50.0);
    }
    machine
}

/// The cheapest of several runs.
fn best(mut run: impl FnMut()) -> Duration {
    let time = |run: &mut dyn FnMut()| {
        let before = spent();
        run();
        spent() - before
    };
    (0..5).map(|_| time(&mut run)).min().unwrap_or_default()
}

/// What this thread has had of a core, as the kernel counts it: the cores are shared, and waiting for
/// one is no cost of a survey.
fn spent() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = told.split_whitespace().next().map(str::parse);
    match nanoseconds {
        Some(Ok(nanoseconds)) => Duration::from_nanos(nanoseconds),
        _ => panic!("/proc/thread-self/schedstat does not tell the time spent: {told:?}"),
    }
}

fn surveyed(model: &Arc<Model>, machines: u64) -> Duration {
    let wanted = Survey {
        machines,
        seed: 1,
        // One core: what is measured is cost, not how many cores are free.
        threads: 1,
    };
    let before = spent();
    let report = survey(model, &wanted, &|_| {});
    assert!(
        black_box(report).is_ok(),
        "the shipped rule set is surveyed"
    );
    spent() - before
}

fn main() {
    let rules = shipped_rule_set("distributor-pump-12v");
    let rules = rules.unwrap_or_else(|| panic!("the shipped rule set has defects"));
    let model = Arc::new(Model::new(Arc::new(rules)));
    let faults = Fault::parse_list("suction-air-leak+connector-pins-bad").unwrap_or_default();
    let steps = best(|| {
        black_box(quarter(black_box(&faults)));
    });
    println!("a quarter of an hour, every step of it   {steps:>8.1?}");

    let long = std::env::args().any(|argument| argument == "--long");
    let sizes: &[u64] = if long {
        &[1_000, 10_000, 100_000]
    } else {
        &[1_000, 10_000]
    };
    let each = |time: Duration, machines: u64| time.as_secs_f64() * 1e3 / machines as f64;
    let baseline = best_of_two(|| surveyed(&model, BASELINE));
    println!(
        "\n{:>9}  {:>10}  {:>12}  {:>9}",
        "machines", "core, s", "ms a machine", "baseline"
    );
    let row = |machines: u64, time: Duration| {
        let ratio = each(time, machines) / each(baseline, BASELINE);
        let cost = each(time, machines);
        println!(
            "{machines:>9}  {:>10.1}  {cost:>12.2}  {ratio:>9.2}",
            time.as_secs_f64()
        );
        ratio
    };
    row(BASELINE, baseline);
    for machines in sizes {
        let ratio = row(*machines, surveyed(&model, *machines));
        assert!(
            ratio < LINEAR,
            "{machines} machines cost {ratio:.2} times as much each"
        );
    }
    assert!(steps < QUARTER, "a quarter of an hour took {steps:?}");
}

fn best_of_two(mut run: impl FnMut() -> Duration) -> Duration {
    run().min(run())
}
