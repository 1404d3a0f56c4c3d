//! Three faults at once among sixty suspects: what is left out does not matter.
//!
//! Inside the crate, for the sum that leaves nothing out is not public.

use std::fmt::Write;
use std::sync::Arc;

use trisect_rules::examine;

use crate::Model;
use crate::belief::{Belief, Piece, weigh, weigh_but};

/// Numbers that are everywhere the same (Knuth's MMIX generator).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, count: usize) -> usize {
        ((self.next() * count as f64) as usize).min(count - 1)
    }
}

fn model(suspects: usize, checks: usize, seed: u64) -> Model {
    let mut numbers = Numbers(seed);
    let mut toml = String::from(
        "format = 1\nid = \"wide\"\nversion = \"1\"\ntitle = \"Wide\"\nfaults_at_once = 3\n\
         [[test_point]]\nid = \"p\"\ntitle = \"P\"\nquantity = \"voltage\"\nunit = \"V\"\n",
    );
    let sides = ["supply", "controller", "pump", "outside"];
    for suspect in 0..suspects {
        let (side, share) = (sides[numbers.below(4)], 1.0 + 99.0 * numbers.next());
        let _ = writeln!(
            toml,
            "[[suspect]]\nid = \"s{suspect}\"\nside = \"{side}\"\ntitle = \"S\"\nshare = {share}"
        );
    }
    for check in 0..checks {
        let _ = writeln!(
            toml,
            "[[check]]\nid = \"c{check}\"\ntitle = \"C\"\nminutes = 5"
        );
        let strong = [0.95, 0.8, 0.4];
        if check % 3 == 0 {
            let _ = writeln!(
                toml,
                "ask = \"?\"\nanswers = [\"a\", \"b\", \"c\"]\n[check.expect]\notherwise = [0.95, 0.03, 0.02]"
            );
        } else {
            let _ = writeln!(
                toml,
                "point = \"p\"\nphase = [\"off\"]\ntake = \"last\"\nlimit = {{ at_least = \"1 V\" }}\n\
                 [check.fails]\notherwise = 0.01"
            );
        }
        for suspect in (0..suspects).filter(|s| (s + check) % 8 == 0 || (s * check) % 13 == 1) {
            let f = strong[numbers.below(3)];
            let _ = match check % 3 {
                0 => writeln!(
                    toml,
                    "s{suspect} = [{}, {}, {}]",
                    0.94 - 0.94 * f,
                    0.06,
                    0.94 * f
                ),
                _ => writeln!(toml, "s{suspect} = {f}"),
            };
        }
    }
    let examined = examine(&toml);
    let rules = examined
        .rule_set
        .unwrap_or_else(|| panic!("{:#?}", examined.defects));
    Model::new(Arc::new(rules))
}

/// What a machine with up to three faults might show.
fn evidence(model: &Model, count: usize, seed: u64) -> Vec<Piece> {
    let mut numbers = Numbers(seed);
    let suspects = model.rules.suspects.len();
    let faults: Vec<usize> = (0..1 + numbers.below(3))
        .map(|_| numbers.below(suspects))
        .collect();
    let shows = |numbers: &mut Numbers, column: usize| {
        let factors = faults.iter().map(|s| model.columns.factors(*s)[column]);
        numbers.next() < model.columns.base[column] * factors.product::<f64>()
    };
    let checks = 0..model.rules.checks.len().min(count);
    checks
        .map(|check| {
            let first = model.places.checks[check].0;
            let healthy = shows(&mut numbers, first);
            let number = check as u16;
            if model.measured(check).is_none() {
                let middle = shows(&mut numbers, first + 1);
                let answer = if healthy {
                    0
                } else if middle {
                    1
                } else {
                    2
                };
                return Piece::answer(model, number, answer);
            }
            let decided = if healthy { 1.0 } else { 0.0 };
            let p = if numbers.next() < 0.2 {
                numbers.next()
            } else {
                decided
            };
            Piece::passes(model, number, p)
        })
        .collect()
}

/// How far two beliefs are apart, and how many hypotheses one left out.
fn apart(all: &Belief, some: &Belief) -> (f64, f64) {
    let far = |a: &[f64], b: &[f64]| {
        let pairs = a.iter().zip(b);
        pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    };
    let beliefs = far(&all.sides, &some.sides).max(far(&all.suspects, &some.suspects));
    let weights = all.decibans.concat();
    (beliefs, far(&weights, &some.decibans.concat()))
}

#[test]
fn what_is_left_out_is_bounded_and_does_not_matter() {
    let mut left_out = 0;
    for (suspects, checks, seeds) in [(12, 20, 30), (25, 40, 6), (60, 60, 1)] {
        for seed in 0..seeds {
            let model = model(suspects, checks, seed);
            for count in [checks / 4, checks / 2, checks] {
                let pieces = evidence(&model, count, seed + 1000);
                let (all, some) = (weigh_but(&model, &pieces, 0.0), weigh(&model, &pieces));
                assert_eq!(all.weighed.len(), model.hypotheses.sets.len());
                left_out += all.weighed.len() - some.weighed.len();
                // The bound covers what really was left out, hypothesis by hypothesis summed.
                let mut kept = vec![false; all.weighed.len()];
                some.weighed.iter().for_each(|h| kept[*h as usize] = true);
                let missing = all.posterior.iter().zip(&kept).filter(|(_, kept)| !**kept);
                let missing: f64 = missing.map(|(p, _)| p).sum();
                assert!(missing <= some.left_out, "{missing} > {}", some.left_out);
                assert!(some.left_out < 1e-12, "{}", some.left_out);
                let (beliefs, decibans) = apart(&all, &some);
                assert!(
                    beliefs < 1e-12,
                    "{suspects} suspects, {count} checks: {beliefs}"
                );
                assert!(
                    decibans < 1e-6,
                    "{suspects} suspects, {count} checks: {decibans}"
                );
                assert_eq!(all.explained, some.explained);
                assert!((all.conflict - some.conflict).abs() < 1e-12 * (1.0 + all.conflict.abs()));
            }
        }
    }
    assert!(
        left_out > 10_000,
        "only {left_out} were left out: nothing is saved"
    );
}

#[test]
fn the_memory_of_a_wide_model_does_not_multiply() {
    let model = model(60, 60, 1);
    let numbers = model.columns.width() * (1 + 60) + model.hypotheses.sets.len() * 3;
    assert_eq!(model.hypotheses.sets.len(), 36_051);
    assert!(numbers * 8 < 1 << 20, "{numbers} numbers");
}

/// A sum in logarithms, written down as DESIGN.md has it, is the reference.
#[test]
fn noisy_or_and_noisy_max_as_written_down() {
    for seed in 0..20 {
        let model = model(9, 12, seed);
        let pieces = evidence(&model, 12, seed);
        let mut weights = Vec::new();
        for (set, prior) in model.hypotheses.sets.iter().zip(&model.hypotheses.prior) {
            let column = |c: usize| {
                let factors = crate::hypotheses::members(set).map(|s| model.columns.factors(s)[c]);
                model.columns.base[c] * factors.product::<f64>()
            };
            let likelihood = |piece: &Piece| {
                let part = |t: Option<(usize, f64)>| t.map_or(0.0, |(c, x)| x * column(c));
                (piece.alpha + part(piece.upper) + part(piece.lower)).ln()
            };
            weights.push((prior.ln() + pieces.iter().map(likelihood).sum::<f64>()).exp());
        }
        let total: f64 = weights.iter().sum();
        let belief = weigh_but(&model, &pieces, 0.0);
        for (weight, p) in weights.iter().zip(&belief.posterior) {
            assert!((weight / total - p).abs() < 1e-12);
        }
    }
}
