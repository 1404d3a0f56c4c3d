//! The one list of all targets.

use crate::{instruments, texts};

/// What is fed with bytes.
type Run = Box<dyn Fn(&[u8]) + Send + Sync>;

pub struct Target {
    /// Its name, also that of its folder in the corpus.
    pub name: String,
    pub run: Run,
}

/// Every target: one for each codec that there is, and the rest.
pub fn all() -> Vec<Target> {
    let fixed: [(&str, fn(&[u8])); 11] = [
        ("scpi", instruments::scpi),
        ("modbus-rtu", instruments::modbus_rtu),
        ("modbus-tcp", instruments::modbus_tcp),
        ("text-line", instruments::text_line),
        ("text-pattern", instruments::text_pattern),
        ("settings", instruments::settings),
        ("unit-and-entry", texts::unit_and_entry),
        ("accuracy", texts::accuracy),
        ("senml", texts::senml),
        ("rule-set", texts::rule_set),
        ("case", texts::case),
    ];
    let codecs = trisect_multimeter::codecs().iter().map(|codec| Target {
        name: format!("codec-{}", codec.name),
        run: Box::new(move |data| instruments::codec(codec, data)),
    });
    let fixed = fixed.into_iter().map(|(name, run)| Target {
        name: name.to_owned(),
        run: Box::new(run),
    });
    codecs.chain(fixed).collect()
}
