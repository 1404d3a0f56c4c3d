//! `ruleset.install`.

use trisect_journal::{Installed, RuleSetText};
use trisect_wire::types::{RulesetInstallParams, RulesetInstalled};
use trisect_wire::{ErrorKind, WireError};

use super::not_too_long;
use crate::context::Context;
use crate::convert;
use crate::convert::{internal, refusal};
use trisect_bay::catalog::{CatalogError, Origin, compile};

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
    let compiled = context
        .compute(move || compile("text", &text, origin))
        .await?;
    let entry = compiled.map_err(|error| match error {
        CatalogError::Defects { defects, .. } => refused(&defects),
        other => internal(&other),
    })?;
    let rules = entry.model.rules();
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
