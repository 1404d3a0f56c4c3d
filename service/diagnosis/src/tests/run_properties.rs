//! Properties of runs, for any events.

use proptest::prelude::*;
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND};
use trisect_rules::Phase;

use super::Job;
use super::runs::RULES;
use crate::{Event, Stage, What};

/// The same rules, and no check that makes findings without a run.
fn job() -> Job {
    Job::new(&RULES.replace("passive = true\n", ""), None)
}

fn reading(points: u16) -> impl Strategy<Value = What> {
    (0..points, -5.0..3000.0f64, any::<bool>()).prop_map(|(point, x, entered)| What::Reading {
        point,
        amount: Amount::Exactly(x),
        u: 0.01,
        flags: Flags::empty(),
        entered,
    })
}

/// Anything that can happen in a job, in any order.
fn anything() -> impl Strategy<Value = What> {
    let phase = (0..Phase::ALL.len()).prop_map(|phase| What::Phase(Phase::ALL[phase]));
    prop_oneof![
        6 => reading(5),
        2 => phase,
        2 => (0..9u16).prop_map(|check| What::Start { check }),
        1 => (0..9u16).prop_map(|check| What::Stop { check }),
        1 => (0..9u16, any::<bool>()).prop_map(|(check, kept)| What::Kept { check, kept }),
        1 => (0..9u16, 0..4u16).prop_map(|(check, answer)| What::Answer { check, answer }),
        1 => (0..6u32).prop_map(|finding| What::Withdraw { finding }),
        1 => (0..5u16).prop_map(|point| What::Window { point }),
        1 => (0..5u16).prop_map(|point| What::Lift { point }),
        1 => Just(What::Repair),
    ]
}

fn events() -> impl Strategy<Value = Vec<Event>> {
    let event = (0..2_000_000_000i64, anything());
    proptest::collection::vec(event, 0..80).prop_map(|steps| {
        let mut at = 0;
        let timed = steps.into_iter().map(|(step, what)| {
            at += step;
            Event { at, what }
        });
        timed.collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    /// However readings come, in whatever order: outside a run they change no verdict.
    #[test]
    fn readings_outside_a_run_change_nothing(
        mut readings in proptest::collection::vec(reading(5), 0..60),
        seed in any::<u64>(),
    ) {
        let fold = |readings: &[What]| {
            let mut job = job();
            for (i, what) in readings.iter().enumerate() {
                let at = i as i64 * NANOS_PER_SECOND / 5;
                job.diagnosis.push(&Event { at, what: *what });
            }
            job.diagnosis.push(&Event {
                at: 100 * NANOS_PER_SECOND,
                what: What::Phase(Phase::Off),
            });
            let verdict = job.diagnosis.verdict();
            (verdict.sides, verdict.evidence.clone(), verdict.next.clone())
        };
        let found = fold(&readings);
        prop_assert!(found.1.is_empty());
        let turn = seed as usize % readings.len().max(1);
        readings.rotate_left(turn);
        readings.reverse();
        prop_assert_eq!(found, fold(&readings));
    }

    /// Whatever happens, a finding comes of a run that was done to its end, and of no other.
    #[test]
    fn every_finding_of_a_run_is_whole(events in events()) {
        let mut job = job();
        for event in &events {
            job.diagnosis.push(event);
            let runs = job.diagnosis.runs();
            for run in runs {
                prop_assert_eq!(run.finding.is_some(), run.stage == Stage::Found);
                prop_assert_eq!(run.spoilt.is_some(), run.stage == Stage::Spoilt);
                prop_assert_eq!(run.ended.is_none(), run.stage.is_open());
            }
            let open = |check: u16| {
                runs.iter().filter(|run| run.check == check && run.stage.is_open()).count()
            };
            prop_assert!((0..9).all(|check| open(check) <= 1));
        }
        for finding in job.diagnosis.findings() {
            prop_assert!(finding.from <= finding.at);
            prop_assert!(finding.round <= job.diagnosis.round());
        }
    }

    /// Whoever stops anywhere and goes on from the events alone has the same job.
    #[test]
    fn a_job_goes_on_from_its_events(events in events(), cut in 0..80usize) {
        let mut whole = job();
        let mut again = job();
        for (i, event) in events.iter().enumerate() {
            whole.diagnosis.push(event);
            if i == cut {
                // Looked at in the middle, as a service does all the time.
                whole.diagnosis.verdict();
                for earlier in &events[..=i] {
                    again.diagnosis.push(earlier);
                }
            } else if i > cut {
                again.diagnosis.push(event);
            }
        }
        if cut < events.len() {
            prop_assert_eq!(
                whole.diagnosis.verdict().to_bytes(),
                again.diagnosis.verdict().to_bytes()
            );
            let stages = |job: &Job| -> Vec<Stage> {
                job.diagnosis.runs().iter().map(|run| run.stage).collect()
            };
            prop_assert_eq!(stages(&whole), stages(&again));
        }
    }

    /// A finding that is withdrawn leaves the verdict as if it had never been.
    #[test]
    fn a_withdrawn_finding_never_was(
        events in events(),
        good in any::<bool>(),
    ) {
        let answer = |job: &mut Job| {
            let check = job.rules.check_index("fuel").unwrap() as u16;
            job.diagnosis.push(&Event {
                at: events.last().map_or(0, |event| event.at),
                what: What::Answer { check, answer: u16::from(!good) },
            });
        };
        let mut without = job();
        let mut with = job();
        for event in &events {
            without.diagnosis.push(event);
            with.diagnosis.push(event);
        }
        answer(&mut with);
        let number = with.diagnosis.findings().last().unwrap().number;
        with.withdraw(number);
        prop_assert_eq!(
            with.diagnosis.verdict().to_bytes(),
            without.diagnosis.verdict().to_bytes()
        );
    }
}
