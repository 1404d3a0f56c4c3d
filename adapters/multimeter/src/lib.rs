//! Multimeters: one codec per chip protocol, one file per codec; and bench meters
//! that speak SCPI.
//!
//! A codec is pure: bytes in, samples out. [`codecs`] names them all;
//! [`MultimeterSettings::adapter`] puts one on a port. A SCPI meter is asked
//! rather than listened to: [`ScpiSettings::adapter`].
//!
//! Invariants, each an absence:
//! - no frame whose fields contradict each other becomes a sample;
//! - no overload becomes a number;
//! - no maker or model is known here: the chip's protocol is the name.

mod ascii14;
mod dtm0660;
mod es51922;
mod es51962;
mod es51986;
mod es519xx;
mod fs9721;
mod fs9922;
mod lcd;
mod line_framing;
pub mod scpi;
mod settings;
mod shown;

#[cfg(test)]
mod captured;
#[cfg(test)]
mod conformance;
#[cfg(test)]
mod reading;
#[cfg(test)]
mod resynchronising;
#[cfg(test)]
mod tests;

pub use scpi::{ScpiFunction, ScpiSettings};
pub use settings::MultimeterSettings;
use trisect_kit::Codec;
pub use trisect_kit::sample_json;

/// Every protocol, by name.
pub fn codecs() -> &'static [Codec] {
    const ALL: &[Codec] = &[
        fs9922::CODEC,
        fs9721::CODEC,
        es51922::CODEC,
        es51962::CODEC,
        es51986::CODEC,
        dtm0660::CODEC,
        ascii14::CODEC,
    ];
    ALL
}

/// The protocol of a name, such as `fs9922`.
pub fn codec(name: &str) -> Option<&'static Codec> {
    codecs().iter().find(|codec| codec.name == name)
}
