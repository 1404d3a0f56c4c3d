//! The rule sets that come with the program.

use crate::{RuleSet, examine};

const SHIPPED: &[(&str, &str)] =
    &[("distributor-pump-12v", include_str!("../rulesets/distributor-pump-12v.toml"))];

/// The shipped rule sets: id and text.
pub const fn shipped() -> &'static [(&'static str, &'static str)] {
    SHIPPED
}

/// A shipped rule set, read; `None` for an id that is not shipped.
pub fn shipped_rule_set(id: &str) -> Option<RuleSet> {
    let (_, text) = SHIPPED.iter().find(|(known, _)| *known == id)?;
    examine(text).rule_set
}
