//! How long a verdict takes, for the shipped rule set and for a wide one: sixty suspects, sixty checks,
//! three faults at once (36 051 hypotheses).
//!
//! Goal: under 10 ms for the wide one. Baseline: the same job on the shipped rule set.

use std::fmt::Write;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use trisect_diagnosis::{Diagnosis, Event, Model, Outcome, What};
use trisect_rules::{RuleSet, examine, shipped_rule_set};

fn wide() -> RuleSet {
    let mut toml = String::from(
        "format = 1\nid = \"wide\"\nversion = \"1\"\ntitle = \"Wide\"\nfaults_at_once = 3\n\
         [[test_point]]\nid = \"p\"\ntitle = \"P\"\nquantity = \"voltage\"\nunit = \"V\"\n",
    );
    let sides = ["supply", "controller", "pump", "outside"];
    for suspect in 0..60 {
        let (side, share) = (sides[suspect * 4 / 60], 10 + suspect * 7 % 90);
        let _ = writeln!(
            toml,
            "[[suspect]]\nid = \"s{suspect}\"\nside = \"{side}\"\ntitle = \"S\"\nshare = {share}"
        );
    }
    for check in 0..60 {
        let _ = writeln!(
            toml,
            "[[check]]\nid = \"c{check}\"\ntitle = \"C\"\npoint = \"p\"\nphase = [\"off\"]\ntake = \"last\"\n\
             limit = {{ at_least = \"1 V\" }}\nminutes = {}\n[check.fails]\notherwise = 0.01",
            3 + check % 7
        );
        for suspect in (0..60).filter(|s| (s + check) % 8 == 0 || s * check % 13 == 1) {
            let strength = [0.95, 0.8, 0.4][(suspect + check) % 3];
            let _ = writeln!(toml, "s{suspect} = {strength}");
        }
    }
    // Each side may be named for any failure: what comes after isolation is timed, too.
    let all: Vec<String> = (0..60).map(|check| format!("\"c{check}\"")).collect();
    for side in sides {
        let _ = writeln!(
            toml,
            "[[proof]]\nside = \"{side}\"\nany_failed = [{}]",
            all.join(", ")
        );
    }
    let examined = examine(&toml);
    examined
        .rule_set
        .unwrap_or_else(|| panic!("{:#?}", examined.defects))
}

/// The longest verdict of a job in which one check after another is settled, each time the shortest of
/// several tries; and the mean over the job.
fn job(model: &Arc<Model>, fails: impl Fn(usize) -> bool) -> (Duration, Duration) {
    let mut diagnosis = Diagnosis::new(Arc::clone(model), None);
    let (mut worst, mut sum) = (Duration::ZERO, Duration::ZERO);
    let checks = model.rules().checks.len();
    for check in 0..checks {
        let outcome = if fails(check) {
            Outcome::Failed
        } else {
            Outcome::Passed
        };
        let what = What::Outcome {
            check: check as u16,
            outcome,
        };
        let tries = (0..5).map(|_| {
            diagnosis.push(&Event {
                at: check as i64,
                what,
            });
            let begun = Instant::now();
            black_box(diagnosis.verdict());
            begun.elapsed()
        });
        let best = tries.min().unwrap_or_default();
        worst = worst.max(best);
        sum += best;
    }
    (worst, sum / checks as u32)
}

fn main() {
    let shipped = shipped_rule_set("distributor-pump-12v");
    let shipped = shipped.unwrap_or_else(|| panic!("the shipped rule set has defects"));
    println!(
        "{:>24}  {:>10}  {:>10}  {:>10}",
        "rule set", "model", "longest", "mean"
    );
    for (name, rules) in [
        ("shipped, two at once", shipped),
        ("wide, three at once", wide()),
    ] {
        let begun = Instant::now();
        let model = Arc::new(Model::new(Arc::new(rules)));
        let made = begun.elapsed();
        for (case, every) in [
            ("one fault", 8),
            ("many failures", 2),
            ("nothing fails", usize::MAX),
        ] {
            let (worst, mean) = job(&model, |check| {
                check % every == 3 % every && every != usize::MAX
            });
            println!("{name:>24}  {made:>10.1?}  {worst:>10.1?}  {mean:>10.1?}  {case}");
        }
    }
}
