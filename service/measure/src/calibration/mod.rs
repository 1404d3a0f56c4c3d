//! Calibration: what an instrument was found to show, and what follows for what
//! it shows today.
//!
//! As-found points give the correction, reference less shown, as a function of
//! what is shown. It is fitted by least squares; what the fit leaves over (the
//! residual standard deviation) stays as uncertainty, with that of the fit
//! itself and that of the reference, combined by GUM 5.1.2.

mod fit;

use std::str::FromStr;

use fit::Fit;

/// How the correction depends on what is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CalibrationKind {
    /// The same everywhere.
    Offset,
    /// A straight line.
    Line,
    /// Straight between the points, the mean of repeated ones at each.
    Table,
}

impl CalibrationKind {
    /// The word in settings and on the wire.
    pub const fn word(self) -> &'static str {
        match self {
            CalibrationKind::Offset => "offset",
            CalibrationKind::Line => "line",
            CalibrationKind::Table => "table",
        }
    }
}

impl FromStr for CalibrationKind {
    type Err = CalibrationError;

    fn from_str(text: &str) -> Result<CalibrationKind, CalibrationError> {
        use CalibrationKind::{Line, Offset, Table};
        [Offset, Line, Table]
            .into_iter()
            .find(|kind| kind.word() == text)
            .ok_or_else(|| CalibrationError::Kind(text.to_owned()))
    }
}

/// One point of a calibration, in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AsFound {
    /// What the reference said.
    pub reference: f64,
    /// What the instrument showed.
    pub shown: f64,
}

/// As-found points that no calibration can be made from.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CalibrationError {
    /// A word that is no kind.
    #[error("`{0}` is no kind of calibration: use `offset`, `line` or `table`")]
    Kind(String),
    /// Too few points for the kind.
    #[error("a calibration of kind `{kind}` needs {needs} different points, and there are {have}")]
    TooFew {
        /// The kind.
        kind: &'static str,
        /// How many it needs.
        needs: usize,
        /// How many there are.
        have: usize,
    },
    /// Nothing is left over to tell how well the fit holds.
    #[error(
        "{have} points leave no residual for kind `{kind}`: give more (or repeated) points, or the standard `uncertainty` of each"
    )]
    NoResidual {
        /// The kind.
        kind: &'static str,
        /// How many points there are.
        have: usize,
    },
    /// Two references at which the same is shown, or in the wrong order.
    #[error(
        "what is shown does not rise with the reference: see that each point is reference first, then shown"
    )]
    NotRising,
    /// A value that is no number.
    #[error("a point or its uncertainty is no finite number")]
    NotFinite,
}

/// What is to be added to a shown value, and how sure that is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// To be added, in SI.
    pub value: f64,
    /// Its standard uncertainty for one reading, in SI: residual, fit and
    /// reference combined.
    pub u: f64,
}

/// A fitted calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    kind: CalibrationKind,
    fit: Fit,
    /// Standard uncertainty of the reference at each point, common to all.
    reference_u: f64,
}

impl Calibration {
    /// Fits as-found points. `reference_u` is the standard uncertainty of each
    /// point as the calibration gives it (the reference's, mostly). Where the
    /// points leave no residual it also stands for that, and must be given.
    ///
    /// # Errors
    /// Too few points, none left to tell the residual, or points that cannot be.
    pub fn fit(
        kind: CalibrationKind,
        points: &[AsFound],
        reference_u: Option<f64>,
    ) -> Result<Calibration, CalibrationError> {
        let finite = points
            .iter()
            .all(|p| p.reference.is_finite() && p.shown.is_finite());
        if !finite || reference_u.is_some_and(|u| !(u.is_finite() && u >= 0.0)) {
            return Err(CalibrationError::NotFinite);
        }
        let mut fit = match kind {
            CalibrationKind::Offset => fit::offset(points)?,
            CalibrationKind::Line => fit::line(points)?,
            CalibrationKind::Table => fit::table(points)?,
        };
        if fit.freedom == 0 {
            fit.residual = reference_u.ok_or(CalibrationError::NoResidual {
                kind: kind.word(),
                have: points.len(),
            })?;
        }
        // What stands for the residual is not counted twice.
        let reference_u = reference_u.filter(|_| fit.freedom > 0).unwrap_or(0.0);
        Ok(Calibration {
            kind,
            fit,
            reference_u,
        })
    }

    /// The kind it was fitted as.
    pub const fn kind(&self) -> CalibrationKind {
        self.kind
    }

    /// The residual standard deviation in SI, and its degrees of freedom; with
    /// none, the uncertainty that was given for it.
    pub const fn residual(&self) -> (f64, usize) {
        (self.fit.residual, self.fit.freedom)
    }

    /// The lowest and highest value shown at the calibration, in SI.
    pub fn range(&self) -> (f64, f64) {
        self.fit.range()
    }

    /// The correction for a shown value, in SI. Beyond the calibrated range a
    /// line goes on and its uncertainty grows; a table holds its last correction
    /// and takes what its last stretch would have added as the half-width of a
    /// rectangle (common practice, no source).
    pub fn correction(&self, shown: f64) -> Correction {
        let (value, of_fit) = self.fit.at(shown);
        Correction {
            value,
            u: crate::combine(&[of_fit, self.fit.residual, self.reference_u]),
        }
    }
}

#[cfg(test)]
mod tests;
