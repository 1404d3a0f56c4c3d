//! How many measurements a second the diagnosis folds on one core, for jobs of a thousand to a million.
//!
//! Goal: at least a million a second, flat. Baseline: a loop that only looks at the same events.

use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use trisect_diagnosis::{Diagnosis, Event, Model, Phase, What};
use trisect_measure::{Amount, Flags};
use trisect_rules::shipped_rule_set;

/// A job as a bay streams it: phases come and go, three points are read in turn.
fn job(model: &Model, count: usize) -> Vec<Event> {
    let point = |id: &str| {
        model
            .rules()
            .point_index(id)
            .map_or(0, |index| index as u16)
    };
    let points = [
        (point("battery"), 10.4),
        (point("engine-speed"), 18.0),
        (point("pump-inlet-pressure"), 68_947.57),
    ];
    (0..count)
        .map(|index| {
            let at = index as i64 * 10_000_000;
            // A new phase every thousand readings.
            let phases = [Phase::KeyOn, Phase::Cranking, Phase::Idle, Phase::Loaded];
            if index % 1000 == 0 {
                let phase = phases[index / 1000 % phases.len()];
                return Event {
                    at,
                    what: What::Phase(phase),
                };
            }
            let (point, value) = points[index % points.len()];
            let wobble = 1.0 + (index % 17) as f64 / 1000.0;
            let what = What::Reading {
                point,
                amount: Amount::Exactly(value * wobble),
                u: value / 1000.0,
                flags: Flags::empty(),
                entered: false,
            };
            Event { at, what }
        })
        .collect()
}

/// The shortest of several runs, as one core has it to itself only sometimes.
fn best(mut run: impl FnMut()) -> Duration {
    let time = |run: &mut dyn FnMut()| {
        let begun = Instant::now();
        run();
        begun.elapsed()
    };
    (0..5).map(|_| time(&mut run)).min().unwrap_or_default()
}

/// A loop that touches the same events and concludes nothing.
fn look(events: &[Event]) -> f64 {
    events
        .iter()
        .map(|event| match event.what {
            What::Reading {
                point, amount, u, ..
            } => amount.edge() + u + f64::from(point),
            _ => event.at as f64,
        })
        .sum()
}

fn main() {
    let rules = shipped_rule_set("distributor-pump-12v");
    let rules = rules.unwrap_or_else(|| panic!("the shipped rule set has defects"));
    let model = Arc::new(Model::new(Arc::new(rules)));
    println!(
        "{:>9}  {:>12}  {:>12}  {:>7}  {:>12}",
        "events", "folded/s", "looked at/s", "ratio", "a verdict"
    );
    for count in [1_000, 10_000, 100_000, 1_000_000] {
        let events = job(&model, count);
        let mut after = Diagnosis::new(Arc::clone(&model), None);
        let folded = best(|| {
            let mut diagnosis = Diagnosis::new(Arc::clone(&model), None);
            events
                .iter()
                .for_each(|event| diagnosis.push(black_box(event)));
            after = black_box(diagnosis);
        });
        let looked = best(|| {
            black_box(look(black_box(&events)));
        });
        // What a subscriber waits for: one more reading, and what it means.
        let last = events[events.len() - 1];
        let verdict = best(|| {
            after.push(black_box(&last));
            black_box(after.verdict());
        });
        let rate = |time: Duration| count as f64 / time.as_secs_f64();
        let ratio = rate(folded) / rate(looked);
        println!(
            "{count:>9}  {:>12.0}  {:>12.0}  {ratio:>7.4}  {verdict:>12.1?}",
            rate(folded),
            rate(looked)
        );
    }
}
