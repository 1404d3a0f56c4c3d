//! How long a verdict takes, for the shipped rule set and for a wide one: sixty suspects, sixty checks,
//! three faults at once (36 051 hypotheses).
//!
//! Goal: under 10 ms for the longest verdict of the wide one. Baseline: the sum over all hypotheses as it is
//! written down, nothing left out, which gives belief in the four sides and nothing else; both must agree.

use std::fmt::Write;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use trisect_diagnosis::{Diagnosis, Event, Model, Outcome, Side, Verdict, What};
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

/// Belief in each side by the sum over every hypothesis: nothing pruned, nothing shared between them.
fn unpruned(rules: &RuleSet, outcomes: &[bool]) -> [f64; 4] {
    let suspects = rules.suspects.len();
    let total: f64 = rules.suspects.iter().map(|s| s.share).sum();
    let fails: Vec<(f64, Vec<f64>, bool)> = outcomes
        .iter()
        .zip(&rules.checks)
        .filter_map(|(failed, check)| {
            let measured = check.measured()?;
            let mut own = vec![measured.otherwise; suspects];
            measured.fails.iter().for_each(|(s, f)| own[*s] = *f);
            Some((measured.otherwise, own, *failed))
        })
        .collect();
    let (mut all, mut touched) = (0.0, [0.0; 4]);
    let mut add = |set: &[usize]| {
        let share: f64 = set
            .iter()
            .map(|s| rules.suspects[*s].share / total)
            .product();
        let prior = match set.len() {
            0 => rules.none,
            size => share * rules.coincidence.powi(size as i32 - 1),
        };
        let log: f64 = fails
            .iter()
            .map(|(otherwise, own, failed)| {
                let silent = set.iter().map(|s| (1.0 - own[*s]) / (1.0 - otherwise));
                let passes = (1.0 - otherwise) * silent.product::<f64>();
                if *failed { 1.0 - passes } else { passes }.ln()
            })
            .sum();
        let weight = prior * log.exp();
        all += weight;
        for (side, sum) in Side::ALL.iter().zip(&mut touched) {
            if set.iter().any(|s| rules.suspects[*s].side == *side) {
                *sum += weight;
            }
        }
    };
    add(&[]);
    for a in 0..suspects {
        add(&[a]);
        for b in a + 1..suspects {
            add(&[a, b]);
            for c in (b + 1..suspects).filter(|_| rules.faults_at_once > 2) {
                add(&[a, b, c]);
            }
        }
    }
    touched.map(|sum| sum / all)
}

/// How long the sum takes once everything is settled; it must say what the verdict says.
fn baseline(rules: &RuleSet, fails: impl Fn(usize) -> bool, verdict: &Verdict) -> Duration {
    let outcomes: Vec<bool> = (0..rules.checks.len()).map(fails).collect();
    let begun = Instant::now();
    let sides = black_box(unpruned(rules, &outcomes));
    let took = begun.elapsed();
    for (side, belief) in Side::ALL.iter().zip(sides) {
        let said = verdict.sides.of(*side);
        assert!(
            (said - belief).abs() < 1e-9,
            "{side}: {said} is not {belief}"
        );
    }
    took
}

/// The longest verdict of a job in which one check after another is settled, each time the shortest of
/// several tries; the mean over the job; and the last verdict.
fn job(model: &Arc<Model>, fails: impl Fn(usize) -> bool) -> (Duration, Duration, Arc<Verdict>) {
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
    (worst, sum / checks as u32, diagnosis.verdict())
}

fn main() {
    let shipped = shipped_rule_set("distributor-pump-12v");
    let shipped = shipped.unwrap_or_else(|| panic!("the shipped rule set has defects"));
    println!(
        "{:>24}  {:>10}  {:>10}  {:>10}  {:>10}",
        "rule set", "model", "longest", "mean", "unpruned"
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
            let fails = |check| check % every == 3 % every && every != usize::MAX;
            let (worst, mean, last) = job(&model, fails);
            // Asked checks are not in the sum: the shipped rule set has no baseline.
            let sum = name
                .starts_with("wide")
                .then(|| baseline(model.rules(), fails, &last));
            let sum = sum.map_or("-".to_owned(), |sum| format!("{sum:.1?}"));
            println!("{name:>24}  {made:>10.1?}  {worst:>10.1?}  {mean:>10.1?}  {sum:>10}  {case}");
        }
    }
}
