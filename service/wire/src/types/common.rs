//! Words that several nouns share.

use super::text::{Moment, Name};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A moment: RFC 3339 in UTC, such as `2026-11-24T07:31:05.250Z`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("format" = "date-time"))]
pub struct Time(#[serde(with = "Moment")] pub String);

impl std::fmt::Display for Time {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// Declares an enum of bare words with their spelling on the wire.
macro_rules! words {
    ($(#[$about:meta])* $name:ident { $($(#[$meaning:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
        pub enum $name { $($(#[$meaning])* #[serde(rename = $word)] $variant,)+ }

        impl $name {
            /// Every word, in order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word as it travels.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.word())
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::WireError;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Self::ALL.iter().copied().find(|word| word.word() == text).ok_or_else(|| {
                    $crate::ErrorKind::InvalidParams
                        .because(format!("`{text}` is not a {}", stringify!($name).to_lowercase()))
                        .hint_nearest(text, Self::ALL.iter().map(|word| word.word()))
                })
            }
        }
    };
}
pub(crate) use words;

words! {
    /// A side of the machine that can be at fault.
    Side {
        /// Tank, suction, lift pump, filter, overflow valve; battery, cables, starter.
        Supply = "supply",
        /// Engine controller, feeds, grounds, relays, harness, sensors, data bus.
        Controller = "controller",
        /// The pump with its control unit.
        Pump = "pump",
        /// None of the three.
        Outside = "outside",
    }
}

words! {
    /// What the engine is doing.
    Phase {
        /// Key off.
        Off = "off",
        /// Key on, engine still.
        KeyOn = "key-on",
        /// The starter turns the engine.
        Cranking = "cranking",
        /// Running at idle.
        Idle = "idle",
        /// Running at high idle.
        HighIdle = "high-idle",
        /// Running under load.
        Loaded = "loaded",
        /// Coming to rest.
        Stopping = "stopping",
    }
}

words! {
    /// What commands the pump.
    Drive {
        /// The machine's own harness.
        Harness = "harness",
        /// The bypass drive.
        Bypass = "bypass",
    }
}

words! {
    /// Whether a job still takes readings.
    JobState {
        /// It does.
        Open = "open",
        /// It does not.
        Closed = "closed",
    }
}

/// One value for each side.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct BySide<T> {
    /// Of the supply.
    pub supply: T,
    /// Of the controller.
    pub controller: T,
    /// Of the pump.
    pub pump: T,
    /// Of none of the three.
    pub outside: T,
}

impl<T> BySide<T> {
    /// The value of one side.
    pub fn of(&self, side: Side) -> &T {
        match side {
            Side::Supply => &self.supply,
            Side::Controller => &self.controller,
            Side::Pump => &self.pump,
            Side::Outside => &self.outside,
        }
    }

    /// Makes the value of each side.
    pub fn from_fn(mut make: impl FnMut(Side) -> T) -> Self {
        Self {
            supply: make(Side::Supply),
            controller: make(Side::Controller),
            pump: make(Side::Pump),
            outside: make(Side::Outside),
        }
    }
}

/// No parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoParams {}

/// Names a bay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BayName {
    /// The bay.
    #[serde(with = "Name")]
    pub bay: String,
}
