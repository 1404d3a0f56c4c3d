//! `ruleset.examine`.

use trisect_diagnosis::trial::prove;
use trisect_rules::testability::testability;
use trisect_wire::WireError;
use trisect_wire::types::{RulesetExamineParams, RulesetExamined};

use super::not_too_long;
use crate::computations::Computation;
use crate::context::Context;
use crate::convert;

pub(super) async fn examine(
    context: &Context,
    params: RulesetExamineParams,
) -> Result<RulesetExamined, WireError> {
    not_too_long(&params.text)?;
    let place = context.computations.place(Computation::Examine)?;
    let examined = context.computations.run(place, move |going| {
        let found = trisect_rules::examine(&params.text);
        let rules = found.rule_set.as_ref();
        let proving = rules.filter(|_| params.prove);
        let proving = proving.map(|rules| prove(rules, &|| going.on()));
        RulesetExamined {
            ok: rules.is_some(),
            defects: convert::defects(&found.defects),
            testability: rules.map(testability).map(convert::testability),
            proving: proving.map(convert::proving),
        }
    });
    examined.await
}
