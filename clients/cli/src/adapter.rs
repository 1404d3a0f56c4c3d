//! `trisect adapter check`: any program against the contract of plugins.

use crate::args::{Adapter, AdapterCheck};
use crate::exit::{CliError, Ending};
use crate::io::Io;
use std::time::Duration;
use trisect_kit::plugin::{Checked, Finding, Limits, Program, Trial, check};

/// Runs the contract suite, and says what is kept and what is broken.
pub fn adapter(json: bool, what: Adapter, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let Adapter::Check(what) = what;
    let trial = trial(what)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| CliError::Wrong(format!("cannot start: {error}")))?;
    let report = runtime.block_on(check(&trial));
    if json {
        io.json(&as_json(&report))?;
    } else {
        io.say(&as_text(&report))?;
    }
    let kept = |one: &Checked| one.finding == Finding::Kept;
    if report.iter().all(kept) {
        return Ok(Ending::AsWished);
    }
    Ok(Ending::FellShort)
}

fn trial(what: AdapterCheck) -> Result<Trial, CliError> {
    let settings = what.settings.as_deref().unwrap_or("{}");
    let settings = serde_json::from_str(settings)
        .map_err(|error| CliError::Wrong(format!("the settings are no JSON: {error}")))?;
    Ok(Trial {
        program: Program {
            name: what.command.first().cloned().unwrap_or_default(),
            command: what.command,
            directory: None,
            environment: Default::default(),
            limits: Limits::default(),
        },
        settings,
        wait: Duration::from_millis(what.wait),
    })
}

fn as_text(report: &[Checked]) -> String {
    let lines = report.iter().map(|one| format!("{one}\n"));
    let kept = report
        .iter()
        .filter(|one| one.finding == Finding::Kept)
        .count();
    lines.collect::<String>() + &format!("{kept} of {} kept\n", report.len())
}

fn as_json(report: &[Checked]) -> serde_json::Value {
    let checks = report.iter().map(|one| {
        let (finding, why) = match &one.finding {
            Finding::Kept => ("kept", None),
            Finding::Broken(how) => ("broken", Some(how)),
            Finding::Untried(why) => ("untried", Some(why)),
        };
        serde_json::json!({"asks": one.asks, "finding": finding, "why": why})
    });
    let checks: Vec<_> = checks.collect();
    serde_json::json!({"checks": checks})
}
