//! A rule set made ready for reasoning: the hypotheses with their priors, and
//! what each check's outcomes are worth by suspect.
//!
//! Shared by all jobs on one rule set; nothing in it changes after it is made.

use std::sync::Arc;

use trisect_measure::Quantity;
use trisect_rules::{Format, How, Measured, RuleSet};

use crate::columns::{ColumnPositions, Columns, Products};
use crate::hypotheses::Hypotheses;

/// A rule set with everything that can be computed before the first reading.
#[derive(Debug)]
pub struct Model {
    pub(crate) rules: Arc<RuleSet>,
    pub(crate) hypotheses: Hypotheses,
    pub(crate) columns: Columns,
    pub(crate) places: ColumnPositions,
    /// By column, its mean over the priors.
    pub(crate) means: Vec<f64>,
    /// `[point]`: the measured checks that look at it, in a rule set of format 1; later ones have runs.
    pub(crate) by_point: Vec<Vec<u16>>,
    /// Measured checks that make findings without a run; none of a rule set of format 1, which has no runs.
    pub(crate) passive: Vec<u16>,
    /// Checks, every one after those it needs.
    pub(crate) order: Vec<u16>,
    pub(crate) engine_speed: Option<usize>,
    pub(crate) battery: Option<usize>,
    pub(crate) inlet_pressure: Option<usize>,
}

impl Model {
    /// Enumerates the hypotheses of a rule set and tabulates its checks.
    pub fn new(rules: Arc<RuleSet>) -> Model {
        let hypotheses = Hypotheses::of(&rules);
        let (columns, places) = Columns::of(&rules);
        let means = means(&hypotheses, &columns);
        let mut by_point = vec![Vec::new(); rules.test_points.len() + rules.derived.len()];
        let mut passive = Vec::new();
        for (index, check) in rules.checks.iter().enumerate() {
            match &check.how {
                How::Measured(measured) if rules.format == Format::One => {
                    by_point[measured.point].push(index as u16);
                }
                How::Measured(measured) if measured.passive => passive.push(index as u16),
                _ => {}
            }
        }
        let order = order(&rules);
        let point = |id, quantity| {
            let place = rules.test_points.iter().position(|point| point.id == id);
            place.filter(|place| rules.test_points[*place].quantity == quantity)
        };
        Model {
            engine_speed: point("engine-speed", Quantity::RotationalSpeed),
            battery: point("battery", Quantity::Voltage),
            inlet_pressure: point("pump-inlet-pressure", Quantity::Pressure),
            rules,
            hypotheses,
            columns,
            places,
            means,
            by_point,
            passive,
            order,
        }
    }

    /// The rule set this was made from.
    pub fn rules(&self) -> &Arc<RuleSet> {
        &self.rules
    }

    pub(crate) fn measured(&self, check: usize) -> Option<&Measured> {
        match &self.rules.checks[check].how {
            How::Measured(measured) => Some(measured),
            How::Asked(_) => None,
        }
    }
}

fn means(hypotheses: &Hypotheses, columns: &Columns) -> Vec<f64> {
    let mut means = vec![0.0; columns.width()];
    let mut products = Products::new(columns);
    for (set, prior) in hypotheses.sets.iter().zip(&hypotheses.prior) {
        for (mean, product) in means.iter_mut().zip(products.of(set)) {
            *mean += prior * product;
        }
    }
    means
}

fn order(rules: &RuleSet) -> Vec<u16> {
    let mut order = Vec::with_capacity(rules.checks.len());
    let mut placed = vec![false; rules.checks.len()];
    // `needs` and `presumes` have no cycle (the loader sees to it), so every round places one.
    while order.len() < rules.checks.len() {
        let before = order.len();
        for (index, check) in rules.checks.iter().enumerate() {
            let presumed = check.presumes.iter().map(|presumption| &presumption.check);
            if !placed[index] && check.needs.iter().chain(presumed).all(|need| placed[*need]) {
                placed[index] = true;
                order.push(index as u16);
            }
        }
        if order.len() == before {
            break;
        }
    }
    order
}
