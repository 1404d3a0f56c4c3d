//! A calibration as it is kept in the journal, and shown.

use serde::{Deserialize, Serialize};
use trisect_measure::CalibrationKind;

/// A calibration as it was when readings named it. All values are in its unit. The journal keeps it as JSON, so
/// that its fields stay as they are; its id is a digest of that JSON.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationRecord {
    /// Its id: two records that differ have two ids.
    pub calibration: String,
    /// What was fitted.
    pub kind: CalibrationKind,
    /// The quantity it is of.
    pub quantity: String,
    /// The unit of its values.
    pub unit: String,
    /// As found: what the reference said, and what was shown.
    pub points: Vec<[f64; 2]>,
    /// Standard uncertainty of each point, if it was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
    /// Standard deviation that the fit leaves over, or the given uncertainty where nothing is left to tell.
    pub residual: f64,
    /// Degrees of freedom of the residual.
    pub degrees_of_freedom: u64,
    /// The day until which it holds, such as `2027-03-01`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<String>,
    /// Who calibrated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The certificate it is from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<String>,
}
