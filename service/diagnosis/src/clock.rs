//! Small conversions that are needed at compile time.

/// Revolutions per minute in radians per second.
pub(crate) const fn rpm(rpm: f64) -> f64 {
    rpm * std::f64::consts::TAU / 60.0
}
