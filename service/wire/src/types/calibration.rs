//! `calibration.*` and the calibrations of a channel.

use super::text::Name;
use super::{common::words, wire};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

words! {
    /// How a correction depends on what is shown.
    CalibrationKind {
        /// The same everywhere.
        Offset = "offset",
        /// A straight line.
        Line = "line",
        /// Straight between the points.
        Table = "table",
    }
}

wire! {
    /// Names a calibration.
    #[derive(Eq)]
    #[serde(deny_unknown_fields)]
    pub struct CalibrationName {
        /// Its id, as readings name it.
        #[serde(with = "Name")]
        pub calibration: String,
    }

    /// A calibration as it was when readings named it. All values are in its unit.
    pub struct Calibration {
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

    /// A calibration in use on a channel.
    pub struct ChannelCalibration {
        /// The function it is for, such as `voltage AC`; every one of its quantity if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub function: Option<String>,
        /// Whether its day has passed: readings then say `out-of-calibration`, and their uncertainty is widened.
        pub overdue: bool,
        /// The calibration.
        #[serde(flatten)]
        pub calibration: Calibration,
    }
}
