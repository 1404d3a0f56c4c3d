//! `ruleset.install`.

use trisect_journal::{Installed, RuleSetText};
use trisect_rules::RuleSet;
use trisect_wire::types::{RulesetInstallParams, RulesetInstalled};
use trisect_wire::{ErrorKind, WireError};

use super::not_too_long;
use crate::computations::Computation;
use crate::context::Context;
use crate::convert;
use crate::convert::{internal, refusal};
use trisect_bay::catalog::{CatalogError, Origin, compile, for_bays};

/// Keeps the rule set in the journal first, then has new jobs use it: what was
/// answered is there after a restart, and what was refused is nowhere.
pub(super) async fn install(
    context: &Context,
    params: RulesetInstallParams,
) -> Result<RulesetInstalled, WireError> {
    not_too_long(&params.text)?;
    let at = context.clock.wall(context.clock.now()).to_string();
    let origin = Origin::Installed { at: at.clone() };
    let text = params.text;
    let computations = &context.computations;
    let place = computations.wait(Computation::Install).await?;
    let compiled = computations
        .run(place, move |_| {
            compile("text", &text, origin).and_then(|entry| for_bays(entry, "text"))
        })
        .await?;
    let entry = compiled.map_err(|error| match error {
        CatalogError::Defects { defects, .. } => refused(&defects),
        CatalogError::Runs { .. } => ErrorKind::DefectiveRuleset
            .because(error.to_string())
            .at("text"),
        other => internal(&other),
    })?;
    let rules = entry.model.rules();
    bounded(context, rules)?;
    let (ruleset, defects) = (convert::digest(rules), convert::defects(&entry.warnings));
    let kept = Installed {
        rule_set: RuleSetText {
            digest: rules.digest.clone(),
            id: rules.id.clone(),
            version: rules.version.clone(),
            text: entry.text.to_string(),
        },
        at,
        by: params.by,
    };
    let _one = context.installing.lock().await;
    let is_new = context.catalog.by_digest(&ruleset.digest).is_none();
    if is_new && context.catalog.entries().len() >= MOST {
        return Err(ErrorKind::TooLarge
            .because(format!(
                "the service has {MOST} rule sets, which is the most"
            ))
            .at("text")
            .hint("start on another journal, or use one that is installed"));
    }
    let stored = context.journal.install_rule_set(kept).await;
    stored.map_err(|error| refusal(&error))?;
    let before = context.catalog.install(entry);
    tracing::info!(
        id = ruleset.id,
        version = ruleset.version,
        digest = ruleset.digest,
        "installed a rule set"
    );
    Ok(RulesetInstalled {
        ruleset,
        before: before.map(|entry| entry.model.rules().digest.clone()),
        defects,
    })
}

/// Rule sets of a service, of all versions: `ruleset.list` has no pages.
const MOST: usize = 1000;
/// Characters of a version and a title, which stand in lists and in every verdict.
const NAME: usize = 200;

/// Refuses a rule set that could be installed but not be listed or shown.
fn bounded(context: &Context, rules: &RuleSet) -> Result<(), WireError> {
    for (what, text) in [("version", &rules.version), ("title", &rules.title)] {
        if text.chars().count() > NAME {
            return Err(ErrorKind::TooLarge
                .because(format!("the rule set's {what} is too long"))
                .at("text")
                .hint(format!("a rule set's {what} has at most {NAME} characters")));
        }
    }
    if context.has_room_for(&super::show(rules))? {
        return Ok(());
    }
    Err(ErrorKind::TooLarge
        .because("the rule set is longer than a reply, as ruleset.show tells it")
        .at("text")
        .hint("shorten its cautions: each check repeats those it has"))
}

/// A text with errors, with every defect of it.
pub(super) fn refused(defects: &[trisect_rules::Defect]) -> WireError {
    let count = defects.len();
    let plural = if count == 1 { "" } else { "s" };
    ErrorKind::DefectiveRuleset
        .because(format!("the rule set has {count} defect{plural}"))
        .at("text")
        .hint("mend every one of `defects`; nothing was done")
        .listing(convert::defects(defects))
}
