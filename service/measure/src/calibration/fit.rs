//! Least squares of the correction on what was shown.

use super::{AsFound, CalibrationError, CalibrationKind};

/// A fitted curve with what it left over.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fit {
    curve: Curve,
    /// Residual standard deviation, in SI.
    pub residual: f64,
    /// Degrees of freedom of the residual.
    pub freedom: usize,
    low: f64,
    high: f64,
}

#[derive(Clone, Debug, PartialEq)]
enum Curve {
    /// The mean correction of so many points.
    Offset { mean: f64, points: f64 },
    /// Through the points' centre, so that offset and slope do not correlate.
    Line {
        centre: f64,
        mean: f64,
        slope: f64,
        points: f64,
        spread: f64,
    },
    /// Rising in `shown`, at least two.
    Table(Vec<Knot>),
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    shown: f64,
    correction: f64,
    points: f64,
}

impl Fit {
    fn new(curve: Curve, points: &[AsFound], squares: f64, freedom: usize) -> Fit {
        let shown = points.iter().map(|p| p.shown);
        Fit {
            curve,
            residual: if freedom == 0 {
                0.0
            } else {
                (squares / freedom as f64).sqrt()
            },
            freedom,
            low: shown.clone().fold(f64::INFINITY, f64::min),
            high: shown.fold(f64::NEG_INFINITY, f64::max),
        }
    }

    pub fn range(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// The correction at a shown value, and the standard uncertainty that the
    /// fit itself gives it (GUM H.3.4 for a line).
    pub fn at(&self, shown: f64) -> (f64, f64) {
        match &self.curve {
            Curve::Offset { mean, points } => (*mean, self.residual / points.sqrt()),
            Curve::Line {
                centre,
                mean,
                slope,
                points,
                spread,
            } => {
                let off = shown - centre;
                let part = 1.0 / points + off * off / spread;
                (mean + slope * off, self.residual * part.sqrt())
            }
            Curve::Table(knots) => self.between(knots, shown),
        }
    }

    fn between(&self, knots: &[Knot], shown: f64) -> (f64, f64) {
        let last = knots.len().saturating_sub(2);
        let index = knots
            .iter()
            .skip(1)
            .position(|knot| shown <= knot.shown)
            .unwrap_or(last)
            .min(last);
        let (Some(a), Some(b)) = (knots.get(index), knots.get(index + 1)) else {
            // A table has at least two knots.
            return (0.0, self.residual);
        };
        let width = b.shown - a.shown;
        let weight = ((shown - a.shown) / width).clamp(0.0, 1.0);
        let correction = a.correction + weight * (b.correction - a.correction);
        let part = (1.0 - weight).powi(2) / a.points + weight.powi(2) / b.points;
        let beyond = (a.shown - shown).max(shown - b.shown).max(0.0);
        let unknown = beyond * (b.correction - a.correction).abs() / width / 3f64.sqrt();
        (
            correction,
            crate::combine(&[self.residual * part.sqrt(), unknown]),
        )
    }
}

fn corrections(points: &[AsFound]) -> impl Iterator<Item = f64> + Clone {
    points.iter().map(|p| p.reference - p.shown)
}

fn mean(values: impl Iterator<Item = f64>, count: usize) -> f64 {
    values.sum::<f64>() / count as f64
}

fn too_few(kind: CalibrationKind, needs: usize, have: usize) -> CalibrationError {
    CalibrationError::TooFew {
        kind: kind.word(),
        needs,
        have,
    }
}

pub(super) fn offset(points: &[AsFound]) -> Result<Fit, CalibrationError> {
    if points.is_empty() {
        return Err(too_few(CalibrationKind::Offset, 1, 0));
    }
    let mean = mean(corrections(points), points.len());
    let squares = corrections(points).map(|c| (c - mean).powi(2)).sum();
    let curve = Curve::Offset {
        mean,
        points: points.len() as f64,
    };
    Ok(Fit::new(curve, points, squares, points.len() - 1))
}

pub(super) fn line(points: &[AsFound]) -> Result<Fit, CalibrationError> {
    let count = points.len();
    let different = differ(points);
    if different < 2 {
        return Err(too_few(CalibrationKind::Line, 2, different));
    }
    let centre = mean(points.iter().map(|p| p.shown), count);
    let mean = mean(corrections(points), count);
    let pairs = || {
        points
            .iter()
            .map(|p| p.shown - centre)
            .zip(corrections(points))
    };
    let spread: f64 = pairs().map(|(off, _)| off * off).sum();
    if spread == 0.0 {
        return Err(CalibrationError::NotRising);
    }
    let slope = pairs().map(|(off, c)| off * c).sum::<f64>() / spread;
    let squares = pairs()
        .map(|(off, c)| (c - mean - slope * off).powi(2))
        .sum();
    let curve = Curve::Line {
        centre,
        mean,
        slope,
        points: count as f64,
        spread,
    };
    Ok(Fit::new(curve, points, squares, count - 2))
}

pub(super) fn table(points: &[AsFound]) -> Result<Fit, CalibrationError> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.reference.total_cmp(&b.reference));
    let groups: Vec<&[AsFound]> = sorted.chunk_by(|a, b| a.reference == b.reference).collect();
    if groups.len() < 2 {
        return Err(too_few(CalibrationKind::Table, 2, groups.len()));
    }
    let mut squares = 0.0;
    let mut knots: Vec<Knot> = Vec::with_capacity(groups.len());
    for group in &groups {
        let correction = mean(corrections(group), group.len());
        squares += corrections(group)
            .map(|c| (c - correction).powi(2))
            .sum::<f64>();
        let knot = Knot {
            shown: mean(group.iter().map(|p| p.shown), group.len()),
            correction,
            points: group.len() as f64,
        };
        if knots
            .last()
            .is_some_and(|before| before.shown >= knot.shown)
        {
            return Err(CalibrationError::NotRising);
        }
        knots.push(knot);
    }
    let freedom = points.len() - groups.len();
    Ok(Fit::new(Curve::Table(knots), points, squares, freedom))
}

/// How many different references there are.
fn differ(points: &[AsFound]) -> usize {
    let mut references: Vec<f64> = points.iter().map(|p| p.reference).collect();
    references.sort_by(f64::total_cmp);
    references.dedup();
    references.len()
}
