//! A 4–20 mA sensor, and the bands in which it says that it is broken.

use trisect_measure::{Amount, Flags};

use super::{Meaning, Wrong, check_range};

/// NAMUR NE 43 (from memory): a sensor measures within these, mA. It stops at
/// them when the quantity is beyond its range.
const MEASURING: std::ops::RangeInclusive<f64> = 3.8..=20.5;
/// At or below this, mA, the sensor or its loop is broken.
const BROKEN_LOW: f64 = 3.6;
/// At or above this, mA, the sensor or its loop is broken.
const BROKEN_HIGH: f64 = 21.0;

/// The range of a sensor with a 4–20 mA signal.
#[derive(
    Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct CurrentLoop {
    /// The value at 4 mA, in the input's unit.
    pub at_4_ma: f64,
    /// The value at 20 mA, in the input's unit.
    pub at_20_ma: f64,
}

impl CurrentLoop {
    pub(crate) fn check(&self) -> Result<(), Wrong> {
        check_range(self.at_4_ma, self.at_20_ma).map_err(|why| ("current_loop", why))
    }

    /// The width of the range, in the input's unit.
    pub fn span(&self) -> f64 {
        (self.at_20_ma - self.at_4_ma).abs()
    }

    /// What a current, in mA, means by NAMUR NE 43.
    ///
    /// From 3.8 to 20.5 mA it is a value. Between there and a fault band the
    /// sensor has stopped at its limit, so the true value lies beyond the value
    /// at that limit: the reading is one-sided. From 3.6 mA down and from 21 mA
    /// up the sensor is broken; the straight line goes on there, for what it is
    /// worth, flagged.
    pub fn read(&self, milliamperes: f64) -> Meaning {
        let slope = (self.at_20_ma - self.at_4_ma) / 16.0;
        let line = |current: f64| self.at_4_ma + (current - 4.0) * slope;
        let broken = milliamperes <= BROKEN_LOW || milliamperes >= BROKEN_HIGH;
        let amount = if broken || MEASURING.contains(&milliamperes) {
            Amount::Exactly(line(milliamperes))
        } else if milliamperes < *MEASURING.start() {
            beyond(line(*MEASURING.start()), -slope)
        } else {
            beyond(line(*MEASURING.end()), slope)
        };
        Meaning {
            amount,
            slope,
            flags: if broken {
                Flags::BROKEN
            } else {
                Flags::empty()
            },
        }
    }
}

/// Beyond a limit, on the side to which the value was going.
fn beyond(limit: f64, direction: f64) -> Amount {
    if direction > 0.0 {
        Amount::Above(limit)
    } else {
        Amount::Below(limit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BAR: CurrentLoop = CurrentLoop {
        at_4_ma: 0.0,
        at_20_ma: 250.0,
    };

    fn check(current: f64, expected: Amount, broken: bool) {
        let meaning = BAR.read(current);
        let (found, wanted) = (meaning.amount.edge(), expected.edge());
        assert!((found - wanted).abs() < 1e-9, "{current} mA: {meaning:?}");
        assert_eq!(
            std::mem::discriminant(&meaning.amount),
            std::mem::discriminant(&expected),
            "{current} mA: {meaning:?}"
        );
        assert_eq!(
            meaning.flags.contains(Flags::BROKEN),
            broken,
            "{current} mA"
        );
    }

    /// 12 mA on 250 bar is the worked example of the uncertainty checks.
    #[test]
    fn a_current_is_a_value_within_its_range() {
        check(12.0, Amount::Exactly(125.0), false);
        check(4.0, Amount::Exactly(0.0), false);
        check(20.0, Amount::Exactly(250.0), false);
    }

    /// The edges of NAMUR NE 43 (from memory).
    #[test]
    fn the_bands_of_ne_43() {
        check(3.8, Amount::Exactly(-3.125), false);
        check(20.5, Amount::Exactly(257.8125), false);
        check(3.79, Amount::Below(-3.125), false);
        check(3.61, Amount::Below(-3.125), false);
        check(20.51, Amount::Above(257.8125), false);
        check(20.99, Amount::Above(257.8125), false);
        check(3.6, Amount::Exactly(-6.25), true);
        check(0.0, Amount::Exactly(-62.5), true);
        check(21.0, Amount::Exactly(265.625), true);
        check(25.0, Amount::Exactly(328.125), true);
    }

    #[test]
    fn a_falling_range_saturates_the_other_way() {
        let falling = CurrentLoop {
            at_4_ma: 10.0,
            at_20_ma: -6.0,
        };
        assert!(matches!(falling.read(3.7).amount, Amount::Above(x) if (x - 10.2).abs() < 1e-9));
        assert!(matches!(falling.read(20.7).amount, Amount::Below(x) if (x + 6.5).abs() < 1e-9));
        assert_eq!(falling.span(), 16.0);
        assert!(BAR.check().is_ok());
        let flat = CurrentLoop {
            at_4_ma: 1.0,
            at_20_ma: 1.0,
        };
        assert!(flat.check().is_err());
    }
}
