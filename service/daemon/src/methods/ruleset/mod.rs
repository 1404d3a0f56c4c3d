//! `ruleset.*`.

mod examine;
mod install;
mod trial;

use jsonrpsee::RpcModule;
use trisect_rules::{self as rules, How, Measured, RuleSet};
use trisect_wire::serve::register;
use trisect_wire::table::{RulesetExamine, RulesetInstall, RulesetList, RulesetShow, RulesetTrial};
use trisect_wire::types::{
    CautionShown, CheckShown, ComplaintShown, HowShown, Ruleset, RulesetOrigin, RulesetSummary,
    Rulesets, SuspectShown, TestPointShown, Time,
};
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert;
use trisect_bay::catalog::{Entry, Origin};

/// A rule set's text may be so long: the shipped one has 60 kB.
const LONGEST: usize = 1024 * 1024;

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<RulesetList, _, _, _>(module, |context, _| async move {
        let all = context.catalog.entries();
        Ok(Rulesets {
            rulesets: all.iter().map(summary).collect(),
        })
    });
    register::<RulesetShow, _, _, _>(module, |context, params| async move {
        Ok(show(context.rules(&params.ruleset)?.model.rules()))
    });
    register::<RulesetExamine, _, _, _>(module, |context, params| async move {
        examine::examine(&context, params).await
    });
    register::<RulesetInstall, _, _, _>(module, |context, params| async move {
        install::install(&context, params).await
    });
    register::<RulesetTrial, _, _, _>(module, |context, params| async move {
        trial::trial(&context, params).await
    });
}

impl Context {
    /// The rule set of an id or a digest, among those that can be used.
    pub(super) fn rules(&self, name: &str) -> Result<Entry, WireError> {
        self.catalog.find(name).ok_or_else(|| {
            ErrorKind::UnknownRuleset
                .because(format!("there is no rule set `{name}`"))
                .at("ruleset")
                .hint_nearest(name, self.catalog.ids().iter().map(String::as_str))
        })
    }
}

/// Refuses a rule set's text that is too long.
fn not_too_long(text: &str) -> Result<(), WireError> {
    if text.len() <= LONGEST {
        return Ok(());
    }
    Err(ErrorKind::TooLarge
        .because(format!("the text has {} bytes", text.len()))
        .at("text")
        .hint(format!("a rule set has at most {LONGEST} bytes")))
}

fn summary((entry, current): &(Entry, bool)) -> RulesetSummary {
    let rules = entry.model.rules();
    let (origin, installed) = match &entry.origin {
        Origin::Shipped => (RulesetOrigin::Shipped, None),
        Origin::File => (RulesetOrigin::File, None),
        Origin::Installed { at } => (RulesetOrigin::Installed, Some(Time(at.clone()))),
    };
    RulesetSummary {
        ruleset: convert::digest(rules),
        title: rules.title.clone(),
        current: *current,
        origin: Some(origin),
        installed,
    }
}

fn show(set: &RuleSet) -> Ruleset {
    Ruleset {
        ruleset: convert::digest(set),
        title: set.title.clone(),
        test_points: (0..set.test_points.len() + set.derived.len())
            .map(|point| test_point(set, point))
            .collect(),
        checks: set.checks.iter().map(|check| shown(set, check)).collect(),
        suspects: set
            .suspects
            .iter()
            .map(|s| SuspectShown {
                id: s.id.clone(),
                side: convert::side(s.side),
                title: s.title.clone(),
                remedy: s.remedy.clone(),
            })
            .collect(),
        complaints: set
            .complaints
            .iter()
            .map(|c| ComplaintShown {
                id: c.id.clone(),
                title: c.title.clone(),
            })
            .collect(),
        cautions: (0..set.cautions.len())
            .map(|caution| caution_shown(set, caution))
            .collect(),
    }
}

fn test_point(set: &RuleSet, point: usize) -> TestPointShown {
    let unit = set.point_unit(point);
    let plausible = set.test_points.get(point).and_then(|p| p.plausible);
    TestPointShown {
        id: set.point_id(point).to_owned(),
        title: set.point_title(point).to_owned(),
        quantity: unit.quantity().word().to_owned(),
        unit: unit.symbol().to_owned(),
        plausible: plausible.map(|(low, high)| [unit.from_si(low), unit.from_si(high)]),
        minus: set
            .derived_at(point)
            .map(|d| [d.minuend, d.subtrahend].map(|p| set.point_id(p).to_owned())),
    }
}

fn caution_shown(set: &RuleSet, caution: usize) -> CautionShown {
    let caution = &set.cautions[caution];
    CautionShown {
        id: caution.id.clone(),
        text: caution.text.clone(),
    }
}

fn shown(set: &RuleSet, check: &rules::Check) -> CheckShown {
    let (drive, how) = match &check.how {
        How::Measured(measured) => (measured.drive, measured_shown(set, measured)),
        How::Asked(asked) => {
            let how = HowShown::Asked {
                ask: asked.ask.clone(),
                answers: asked.answers.clone(),
            };
            (asked.drive, how)
        }
    };
    CheckShown {
        id: check.id.clone(),
        title: check.title.clone(),
        minutes: check.minutes,
        needs: check
            .needs
            .iter()
            .map(|need| set.checks[*need].id.clone())
            .collect(),
        drive: drive.map(convert::drive),
        cautions: check
            .cautions
            .iter()
            .map(|c| caution_shown(set, *c))
            .collect(),
        note: check.note.clone(),
        how,
    }
}

fn measured_shown(set: &RuleSet, measured: &Measured) -> HowShown {
    let seconds = |nanos: i64| nanos as f64 / 1e9;
    HowShown::Measured {
        point: set.point_id(measured.point).to_owned(),
        phase: measured
            .phases
            .iter()
            .map(|phase| convert::phase(*phase))
            .collect(),
        take: measured.take.word().to_owned(),
        after: seconds(measured.after),
        over: measured.over.map(seconds),
        limit: trisect_diagnosis::limit_in_words(set, measured),
    }
}
