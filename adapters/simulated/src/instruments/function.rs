//! What a multimeter can be switched to, and how it chooses its range.

use trisect_measure::Quantity;

/// A function of a multimeter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Function {
    /// Direct voltage.
    Voltage,
    /// Direct current.
    Current,
    /// Resistance.
    Resistance,
}

impl Function {
    /// The function that measures this quantity, if a multimeter has one.
    pub fn of(quantity: Quantity) -> Option<Function> {
        match quantity {
            Quantity::Voltage => Some(Function::Voltage),
            Quantity::Current => Some(Function::Current),
            Quantity::Resistance => Some(Function::Resistance),
            _ => None,
        }
    }
}

/// A value in counts of the smallest range that holds it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Ranged<R> {
    /// Counts, with their sign, in this range.
    Counts(R, i64),
    /// Beyond the end of the last range.
    Beyond(R),
}

/// Chooses the first of `ranges` (ascending; each with the size of a count in
/// SI) that holds `value` in fewer than `end` counts. `jitter` is added in counts.
pub(crate) fn range<R: Copy>(
    ranges: &[(f64, R)],
    end: i64,
    value: f64,
    jitter: f64,
) -> Option<Ranged<R>> {
    for &(count, range) in ranges {
        let counts = value / count + jitter;
        if counts.abs() < end as f64 - 0.5 {
            return Some(Ranged::Counts(range, counts.round() as i64));
        }
    }
    ranges.last().map(|&(_, range)| Ranged::Beyond(range))
}
