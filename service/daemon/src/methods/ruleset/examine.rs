//! `ruleset.examine`.

use trisect_diagnosis::trial::prove;
use trisect_rules::testability::testability;
use trisect_wire::WireError;
use trisect_wire::types::{RulesetExamineParams, RulesetExamined};

use super::not_too_long;
use crate::context::Context;
use crate::convert;

pub(super) async fn examine(
    context: &Context,
    params: RulesetExamineParams,
) -> Result<RulesetExamined, WireError> {
    not_too_long(&params.text)?;
    let examined = context.compute(move || {
        let found = trisect_rules::examine(&params.text);
        let rules = found.rule_set.as_ref();
        let proving = rules.filter(|_| params.prove).map(prove);
        RulesetExamined {
            ok: rules.is_some(),
            defects: convert::defects(&found.defects),
            testability: rules.map(testability).map(convert::testability),
            proving: proving.map(convert::proving),
        }
    });
    examined.await
}
