//! Encoders, one file for each kind of frame.

pub(crate) mod ascii14;
pub(crate) mod es519xx;
pub(crate) mod fs9922;
pub(crate) mod lcd;
mod scene;
