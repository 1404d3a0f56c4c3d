//! What can be wrong with a machine, by name and degree.

use std::fmt;
use std::str::FromStr;

/// A kind of fault; its word is the suspect it stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "the words of the table below say what each is")]
pub enum FaultKind {
    TankEmpty,
    SuctionRestricted,
    SuctionAirLeak,
    LiftPumpDead,
    LiftPumpWeak,
    FilterPlugged,
    FuelWaxed,
    OverflowValveOpen,
    BatteryWeak,
    CableResistance,
    StarterSlow,
    ControllerNoFeed,
    ControllerGroundBad,
    ControllerDead,
    ControllerCommandsFull,
    AcceleratorSensorBad,
    PumpRelayOrFuse,
    HarnessOpen,
    HarnessShort,
    ConnectorPinsBad,
    DataBusFault,
    LiftPumpNotSwitched,
    SpeedSensorDead,
    PumpControlUnitDead,
    PumpControlUnitHot,
    MeteringStuckShut,
    MeteringStuckOpen,
    TimingStuck,
    PumpRotorWorn,
    LowCompression,
    InjectorsBad,
    AirIntakeBlocked,
}

/// Every kind with its word and the degree meant when none is given
/// (engineering judgement, from memory).
const KINDS: [(FaultKind, &str, f64); 32] = [
    (FaultKind::TankEmpty, "tank-empty", 1.0),
    (FaultKind::SuctionRestricted, "suction-restricted", 0.9),
    (FaultKind::SuctionAirLeak, "suction-air-leak", 0.6),
    (FaultKind::LiftPumpDead, "lift-pump-dead", 1.0),
    (FaultKind::LiftPumpWeak, "lift-pump-weak", 0.85),
    (FaultKind::FilterPlugged, "filter-plugged", 0.9),
    (FaultKind::FuelWaxed, "fuel-waxed", 0.9),
    (FaultKind::OverflowValveOpen, "overflow-valve-open", 0.9),
    (FaultKind::BatteryWeak, "battery-weak", 0.85),
    (FaultKind::CableResistance, "cable-resistance", 0.8),
    (FaultKind::StarterSlow, "starter-slow", 0.9),
    (FaultKind::ControllerNoFeed, "controller-no-feed", 1.0),
    (FaultKind::ControllerGroundBad, "controller-ground-bad", 0.9),
    (FaultKind::ControllerDead, "controller-dead", 1.0),
    (
        FaultKind::ControllerCommandsFull,
        "controller-commands-full",
        1.0,
    ),
    (
        FaultKind::AcceleratorSensorBad,
        "accelerator-sensor-bad",
        0.8,
    ),
    (FaultKind::PumpRelayOrFuse, "pump-relay-or-fuse", 1.0),
    (FaultKind::HarnessOpen, "harness-open", 1.0),
    (FaultKind::HarnessShort, "harness-short", 0.9),
    (FaultKind::ConnectorPinsBad, "connector-pins-bad", 0.9),
    (FaultKind::DataBusFault, "data-bus-fault", 1.0),
    (
        FaultKind::LiftPumpNotSwitched,
        "lift-pump-not-switched",
        1.0,
    ),
    (FaultKind::SpeedSensorDead, "speed-sensor-dead", 1.0),
    (
        FaultKind::PumpControlUnitDead,
        "pump-control-unit-dead",
        1.0,
    ),
    (FaultKind::PumpControlUnitHot, "pump-control-unit-hot", 0.9),
    (FaultKind::MeteringStuckShut, "metering-stuck-shut", 0.95),
    (FaultKind::MeteringStuckOpen, "metering-stuck-open", 0.9),
    (FaultKind::TimingStuck, "timing-stuck", 0.9),
    (FaultKind::PumpRotorWorn, "pump-rotor-worn", 0.9),
    (FaultKind::LowCompression, "low-compression", 0.9),
    (FaultKind::InjectorsBad, "injectors-bad", 0.9),
    (FaultKind::AirIntakeBlocked, "air-intake-blocked", 0.9),
];

impl FaultKind {
    /// Every kind, side by side as the trade lists them.
    pub fn all() -> impl Iterator<Item = FaultKind> {
        KINDS.iter().map(|&(kind, _, _)| kind)
    }

    fn row(self) -> (&'static str, f64) {
        KINDS
            .iter()
            .find(|&&(kind, _, _)| kind == self)
            .map_or(("", 1.0), |&(_, word, degree)| (word, degree))
    }

    /// The suspect this fault stands for, such as `lift-pump-weak`.
    pub fn word(self) -> &'static str {
        self.row().0
    }

    /// The degree meant when none is given.
    pub fn usual_degree(self) -> f64 {
        self.row().1
    }
}

/// What a machine without a fault is asked for by.
const NONE: &str = "none";

/// A fault and how bad it is: 0 is as good as new, 1 is as bad as it gets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// What is wrong.
    pub kind: FaultKind,
    /// How wrong, from 0 to 1.
    pub degree: f64,
}

impl Fault {
    /// Reads faults joined by `+`, each with an optional degree, such as
    /// `lift-pump-weak:0.6+pump-control-unit-dead`; `none` and empty text are no fault.
    ///
    /// # Errors
    /// Names the first part that is no fault, whose degree is no share, or that is
    /// there already; `none` beside a fault.
    pub fn parse_list(text: &str) -> Result<Vec<Fault>, FaultError> {
        if text.trim().is_empty() {
            return Ok(Vec::new());
        }
        Fault::parse_lists(&[text])
    }

    /// Reads what a person asks for, once or several times over, as
    /// [`Fault::parse_list`] does, but that a healthy machine has to be asked for.
    /// No text at all is no fault.
    ///
    /// # Errors
    /// Those of [`Fault::parse_list`], over all of the texts together; empty text.
    pub fn parse_lists<T: AsRef<str>>(texts: &[T]) -> Result<Vec<Fault>, FaultError> {
        let mut faults: Vec<Fault> = Vec::new();
        let parts = texts.iter().flat_map(|text| text.as_ref().split('+'));
        let parts: Vec<&str> = parts.map(str::trim).collect();
        if parts.iter().all(|part| *part == NONE) {
            return Ok(faults);
        }
        for part in parts {
            if part.is_empty() {
                return Err(FaultError::Empty);
            }
            if part == NONE {
                return Err(FaultError::NoneAndMore);
            }
            let fault: Fault = part.parse()?;
            if faults.iter().any(|other| other.kind == fault.kind) {
                let word = fault.kind.word();
                return Err(FaultError::Twice { word });
            }
            faults.push(fault);
        }
        Ok(faults)
    }

    /// Faults as they can be read back; `none` where there are none.
    pub fn words(faults: &[Fault]) -> String {
        if faults.is_empty() {
            return NONE.to_owned();
        }
        let words: Vec<String> = faults.iter().map(Fault::to_string).collect();
        words.join("+")
    }
}

impl From<FaultKind> for Fault {
    fn from(kind: FaultKind) -> Self {
        Fault {
            kind,
            degree: kind.usual_degree(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind.word())?;
        if self.degree != self.kind.usual_degree() {
            write!(f, ":{}", self.degree)?;
        }
        Ok(())
    }
}

/// Why a text is no fault.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FaultError {
    /// The word is not in the table.
    #[error("reading the fault `{word}`: no such fault; use one of {}", words())]
    Unknown {
        /// What was written.
        word: String,
    },
    /// The degree is not a number from 0 to 1.
    #[error(
        "reading the degree `{degree}` of `{word}`: write a number from 0 to 1, such as `{word}:0.8`"
    )]
    Degree {
        /// The fault.
        word: String,
        /// What was written behind the colon.
        degree: String,
    },
    /// A machine has a fault or has it not; how badly is said once.
    #[error("reading the faults: `{word}` is there twice; give it once, with its degree")]
    Twice {
        /// The fault.
        word: &'static str,
    },
    /// Nothing where a fault should be.
    #[error(
        "reading the faults: one is empty; write `none` for a healthy machine, or one of {}",
        words()
    )]
    Empty,
    /// Healthy, and with a fault.
    #[error(
        "reading the faults: `none` is a machine without any; leave it out, or leave out the others"
    )]
    NoneAndMore,
}

fn words() -> String {
    KINDS.map(|(_, word, _)| word).join(", ")
}

impl FromStr for Fault {
    type Err = FaultError;

    fn from_str(text: &str) -> Result<Self, FaultError> {
        let (word, degree) = match text.split_once(':') {
            Some((word, degree)) => (word.trim(), Some(degree.trim())),
            None => (text.trim(), None),
        };
        let Some(&(kind, _, usual)) = KINDS.iter().find(|(_, known, _)| *known == word) else {
            return Err(FaultError::Unknown {
                word: word.to_owned(),
            });
        };
        let Some(degree) = degree else {
            return Ok(Fault {
                kind,
                degree: usual,
            });
        };
        match degree.parse::<f64>() {
            Ok(value) if (0.0..=1.0).contains(&value) => Ok(Fault {
                kind,
                // As fine as anyone can mean it; and minus nought is told without its sign.
                degree: (value * 1e6).round() / 1e6 + 0.0,
            }),
            _ => Err(FaultError::Degree {
                word: word.to_owned(),
                degree: degree.to_owned(),
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn every_word_reads_back() {
        for kind in FaultKind::all() {
            assert_eq!(kind.word().parse::<Fault>().unwrap(), Fault::from(kind));
            assert_eq!(Fault::from(kind).to_string(), kind.word());
        }
    }

    #[test]
    fn lists_and_degrees() {
        let faults = Fault::parse_list("lift-pump-weak:0.6 + pump-control-unit-dead").unwrap();
        assert_eq!(faults[0].to_string(), "lift-pump-weak:0.6");
        assert_eq!(faults[1].kind, FaultKind::PumpControlUnitDead);
        assert!(Fault::parse_list("").unwrap().is_empty());
        assert!(Fault::parse_list(" none ").unwrap().is_empty());
        let mild = Fault::parse_list("tank-empty:-0").unwrap();
        assert_eq!(mild[0].to_string(), "tank-empty:0");
    }

    #[test]
    fn lists_asked_for_are_joined_without_doubles() {
        let none: [&str; 0] = [];
        assert_eq!(Fault::parse_lists(&none), Ok(Vec::new()));
        assert_eq!(Fault::parse_lists(&["none"]), Ok(Vec::new()));
        let both = Fault::parse_lists(&["tank-empty", "battery-weak:0.5+starter-slow"]);
        let both = both.unwrap();
        assert_eq!(
            Fault::words(&both),
            "tank-empty+battery-weak:0.5+starter-slow"
        );
        assert_eq!(Fault::parse_list(&Fault::words(&both)), Ok(both));
        assert_eq!(Fault::words(&[]), "none");
        let why = |texts: &[&str]| Fault::parse_lists(texts).unwrap_err().to_string();
        for twice in [
            &["tank-empty", "tank-empty"][..],
            &["tank-empty+battery-weak", "tank-empty:0.3"],
            &["tank-empty:0.5 + tank-empty:0.5"],
        ] {
            assert!(why(twice).contains("`tank-empty` is there twice"));
        }
        for empty in [&[""][..], &["  "], &["tank-empty", ""], &["tank-empty+"]] {
            assert!(why(empty).contains("write `none`"), "{empty:?}");
        }
        for more in [&["none", "tank-empty"][..], &["tank-empty+none"]] {
            assert_eq!(Fault::parse_lists(more), Err(FaultError::NoneAndMore));
        }
        // Healthy, said twice, is no contradiction.
        assert_eq!(Fault::parse_lists(&["none", "none"]), Ok(Vec::new()));
        let list = Fault::parse_list("tank-empty+tank-empty");
        assert_eq!(list, Err(FaultError::Twice { word: "tank-empty" }));
    }

    #[test]
    fn errors_name_the_word_and_the_way_out() {
        let unknown = "lift-pump-tired".parse::<Fault>().unwrap_err().to_string();
        assert!(
            unknown.contains("`lift-pump-tired`") && unknown.contains("lift-pump-weak"),
            "{unknown}"
        );
        for degree in ["1.5", "-0.1", "NaN", "bad"] {
            assert!(
                format!("tank-empty:{degree}").parse::<Fault>().is_err(),
                "{degree}"
            );
        }
    }
}
