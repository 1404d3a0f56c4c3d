//! `ruleset.*`.

use jsonrpsee::RpcModule;
use trisect_api::serve::register;
use trisect_api::table::{RulesetExamine, RulesetList, RulesetShow};
use trisect_api::wire::{
    CautionShown, CheckShown, ComplaintShown, Defect, HowShown, Ruleset, RulesetExamined,
    RulesetSummary, Rulesets, Severity, SuspectShown, TestPointShown,
};
use trisect_api::{ErrorKind, WireError};
use trisect_rules::{self as rules, How, Measured, RuleSet, examine};

use super::Hall;
use crate::convert;

/// A rule set's text may be so long: the shipped one has 60 kB.
const LONGEST: usize = 1024 * 1024;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<RulesetList, _, _, _>(module, |hall, _| async move {
        let summary = |rules: &RuleSet| RulesetSummary {
            ruleset: convert::digest(rules),
            title: rules.title.clone(),
        };
        let all = hall.catalog.entries();
        Ok(Rulesets {
            rulesets: all.map(|entry| summary(entry.model.rules())).collect(),
        })
    });
    register::<RulesetShow, _, _, _>(module, |hall, params| async move {
        let entry = hall.catalog.get(&params.ruleset).ok_or_else(|| {
            ErrorKind::UnknownRuleset
                .because(format!("there is no rule set `{}`", params.ruleset))
                .at("ruleset")
                .hint_nearest(&params.ruleset, hall.catalog.ids())
        })?;
        Ok(show(entry.model.rules()))
    });
    register::<RulesetExamine, _, _, _>(module, |_, params| async move {
        if params.text.len() > LONGEST {
            return Err::<_, WireError>(
                ErrorKind::TooLarge
                    .because(format!("the text has {} bytes", params.text.len()))
                    .at("text")
                    .hint(format!("a rule set has at most {LONGEST} bytes")),
            );
        }
        // Off the connection's thread: a hostile text takes a second.
        let examined = tokio::task::spawn_blocking(move || examine(&params.text));
        let found = examined
            .await
            .map_err(|error| crate::bay::internal(&error))?;
        Ok(RulesetExamined {
            ok: found.rule_set.is_some(),
            defects: found.defects.iter().map(defect).collect(),
        })
    });
}

fn defect(found: &rules::Defect) -> Defect {
    Defect {
        kind: found.kind.word().to_owned(),
        severity: match found.severity {
            rules::Severity::Error => Severity::Error,
            rules::Severity::Warning => Severity::Warning,
        },
        line: found.line as u64,
        column: found.column as u64,
        message: found.message.clone(),
        hint: found.hint.clone(),
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
