//! What an instrument, or the chain behind it, says about a value.

use bitflags::bitflags;

bitflags! {
    /// Flags on a sample or a measurement. They are never dropped; those in
    /// [`Flags::SPOIL`] keep a reading from being evidence.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
    pub struct Flags: u32 {
        /// The instrument chose the range.
        const AUTO = 1;
        /// The display is held: the value may be old.
        const HOLD = 1 << 1;
        /// The value is relative to a stored one.
        const RELATIVE = 1 << 2;
        /// The lowest value of a while, not the present one.
        const MINIMUM = 1 << 3;
        /// The highest value of a while, not the present one.
        const MAXIMUM = 1 << 4;
        /// The instrument's own battery is low: it may read wrong.
        const LOW_BATTERY = 1 << 5;
        /// A bar graph is shown.
        const BARGRAPH = 1 << 6;
        /// A person chose the range.
        const MANUAL_RANGE = 1 << 7;
        /// A peak value, not the present one.
        const PEAK = 1 << 8;
        /// Older than it should be.
        const STALE = 1 << 9;
        /// Outside what is plausible at its test point.
        const IMPLAUSIBLE = 1 << 10;
        /// The calibration is overdue.
        const OUT_OF_CALIBRATION = 1 << 11;
        /// The sensor is broken or not connected.
        const BROKEN = 1 << 12;
    }
}

const WORDS: [(Flags, &str); 13] = [
    (Flags::AUTO, "auto"),
    (Flags::HOLD, "hold"),
    (Flags::RELATIVE, "relative"),
    (Flags::MINIMUM, "minimum"),
    (Flags::MAXIMUM, "maximum"),
    (Flags::LOW_BATTERY, "low-battery"),
    (Flags::BARGRAPH, "bargraph"),
    (Flags::MANUAL_RANGE, "manual-range"),
    (Flags::PEAK, "peak"),
    (Flags::STALE, "stale"),
    (Flags::IMPLAUSIBLE, "implausible"),
    (Flags::OUT_OF_CALIBRATION, "out-of-calibration"),
    (Flags::BROKEN, "broken"),
];

impl Flags {
    /// Flags under which a value is no evidence: it is old, relative, the
    /// extreme of another while, or cannot be believed. An overdue calibration
    /// widens the uncertainty instead.
    pub const SPOIL: Flags = Flags::HOLD
        .union(Flags::RELATIVE)
        .union(Flags::MINIMUM)
        .union(Flags::MAXIMUM)
        .union(Flags::PEAK)
        .union(Flags::LOW_BATTERY)
        .union(Flags::STALE)
        .union(Flags::IMPLAUSIBLE)
        .union(Flags::BROKEN);

    /// Whether a value with these flags can be evidence.
    pub const fn spoiled(self) -> bool {
        self.intersects(Flags::SPOIL)
    }

    /// The words used on the wire, in a fixed order.
    pub fn words(self) -> Vec<&'static str> {
        WORDS
            .iter()
            .filter(|(flag, _)| self.contains(*flag))
            .map(|(_, word)| *word)
            .collect()
    }

    /// The flag of a word, if there is one.
    pub fn from_word(word: &str) -> Option<Flags> {
        WORDS
            .iter()
            .find(|(_, w)| *w == word)
            .map(|(flag, _)| *flag)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flag_has_one_word() {
        assert_eq!(Flags::all().words().len(), Flags::all().iter().count());
        for flag in Flags::all().iter() {
            let words = flag.words();
            assert_eq!(words.len(), 1);
            assert_eq!(Flags::from_word(words[0]), Some(flag));
        }
    }

    #[test]
    fn a_held_display_is_no_evidence_and_autorange_is() {
        assert!((Flags::HOLD | Flags::AUTO).spoiled());
        assert!(!(Flags::AUTO | Flags::OUT_OF_CALIBRATION | Flags::BARGRAPH).spoiled());
    }
}
