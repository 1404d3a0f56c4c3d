//! Frames made from the protocols' description alone, by encoders that share
//! nothing with the codecs: every function and range comes back as it was shown.

mod encode;
pub(crate) mod generated;
