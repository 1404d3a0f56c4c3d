//! The closed vocabularies of rule sets, cases and verdicts.

use std::fmt;

/// A closed list of words, for the reader to offer when it meets another.
pub(crate) trait Word: Copy + 'static {
    /// What one of them is called, such as "phase".
    const WHAT: &'static str;
    /// All of them, in the order of the documentation.
    const WORDS: &'static [Self];
    /// The word as it is written.
    fn written(self) -> &'static str;
}

macro_rules! words {
    ($(#[$doc:meta])* $name:ident, $what:literal, $count:literal: $($(#[$row:meta])* $variant:ident = $word:literal),* $(,)?) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub enum $name {
            $($(#[$row])* #[serde(rename = $word)] $variant,)*
        }

        impl $name {
            /// Every one, in the order of the documentation.
            pub const ALL: [$name; $count] = [$($name::$variant),*];

            /// The word used in rule sets, on screen and on the wire.
            pub const fn word(self) -> &'static str {
                match self {
                    $($name::$variant => $word,)*
                }
            }

            /// The one of a word, if there is one.
            pub fn from_word(word: &str) -> Option<$name> {
                $name::ALL.into_iter().find(|one| one.word() == word)
            }

            /// Its place in [`Self::ALL`].
            pub const fn index(self) -> usize {
                self as usize
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.word())
            }
        }

        impl Word for $name {
            const WHAT: &'static str = $what;
            const WORDS: &'static [$name] = &$name::ALL;
            fn written(self) -> &'static str {
                self.word()
            }
        }
    };
}

impl Word for trisect_measure::Quantity {
    const WHAT: &'static str = "quantity";
    const WORDS: &'static [Self] = &trisect_measure::Quantity::ALL;
    fn written(self) -> &'static str {
        self.word()
    }
}

words! {
    /// What a bypass drive splits the machine into.
    Side, "side", 4:
    /// Tank, lines, lift pump, filter; battery, cables, starter.
    Supply = "supply",
    /// Everything that the bypass drive goes around.
    Controller = "controller",
    /// The pump with its control unit.
    Pump = "pump",
    /// None of the three: compression, injectors, air.
    Outside = "outside",
}

words! {
    /// What the engine is doing.
    Phase, "phase", 7:
    /// Key off.
    Off = "off",
    /// Key on, engine still.
    KeyOn = "key-on",
    /// The starter turns the engine.
    Cranking = "cranking",
    /// Running at low idle.
    Idle = "idle",
    /// Running at high idle.
    HighIdle = "high-idle",
    /// Running under load.
    Loaded = "loaded",
    /// Running out after the shut-off.
    Stopping = "stopping",
}

words! {
    /// What drives the pump.
    Drive, "drive", 2:
    /// The machine's own harness and controller.
    Harness = "harness",
    /// The bypass drive.
    Bypass = "bypass",
}

words! {
    /// Which feature of the readings in a window a check takes.
    Take, "feature", 8:
    /// The newest value.
    Last = "last",
    /// The lowest value.
    Minimum = "minimum",
    /// The highest value.
    Maximum = "maximum",
    /// The mean over time.
    Mean = "mean",
    /// Highest less lowest: a difference of the point's quantity.
    PeakToPeak = "peak-to-peak",
    /// Peak to peak over the mean: a ratio.
    Ripple = "ripple",
    /// How long the rise takes: a time.
    RiseTime = "rise-time",
    /// The part of the first value that is lost by the end: a ratio.
    Decay = "decay",
}

words! {
    /// What came of a check.
    Outcome, "outcome", 4:
    /// Good.
    Passed = "passed",
    /// Bad.
    Failed = "failed",
    /// Read, but not surely good or bad.
    Undecided = "undecided",
    /// Nothing that counts was read or answered.
    Void = "void",
}

words! {
    /// How far a verdict has come.
    Standing, "standing", 4:
    /// One side, sure enough and proven.
    Isolated = "isolated",
    /// Sure enough, not proven.
    Leaning = "leaning",
    /// Not sure enough.
    Open = "open",
    /// What was seen is improbable under every suspect.
    Contradicted = "contradicted",
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_parse_back_and_keep_their_places() {
        for (i, phase) in Phase::ALL.into_iter().enumerate() {
            assert_eq!(
                (Phase::from_word(phase.word()), phase.index()),
                (Some(phase), i)
            );
        }
        for side in Side::ALL {
            assert_eq!(Side::from_word(&side.to_string()), Some(side));
        }
        assert_eq!(Phase::from_word("Cranking"), None);
    }
}
