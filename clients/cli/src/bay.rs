//! `trisect phase`, `probe` and `instrument`: what a technician says at the bay.

use crate::args::{Instrument, PhaseSay, Probe};
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::job::tell;
use crate::server::{Server, call};
use crate::show;
use serde_json::{Map, Value};
use trisect_wire::{table, types as wire};

/// Says the phase, the drive, or both.
///
/// # Errors
/// That the service refused or could not be reached, or the answer could not be written.
pub fn phase(
    server: &Server,
    json: bool,
    what: &PhaseSay,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let params = wire::PhaseSayParams {
        bay: what.bay.clone(),
        phase: what.phase,
        drive: what.drive,
    };
    let bay = call::<table::PhaseSay>(server, &params)?;
    tell(json, &bay, show::bay, io)
}

/// Says where a probe is.
///
/// # Errors
/// As [`phase`].
pub fn probe(
    server: &Server,
    json: bool,
    what: Probe,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let instrument = match what {
        Probe::Place {
            bay,
            instrument,
            channel,
            point,
        } => call::<table::ProbePlace>(
            server,
            &wire::ProbePlaceParams {
                bay,
                instrument,
                channel,
                point,
            },
        )?,
        Probe::Lift {
            bay,
            instrument,
            channel,
        } => call::<table::ProbeLift>(
            server,
            &wire::ProbeLiftParams {
                bay,
                instrument,
                channel,
            },
        )?,
    };
    tell(json, &instrument, show::instrument, io)
}

/// Carries out one of the instrument commands.
///
/// # Errors
/// As [`phase`]; a setting that is none.
pub fn instrument(
    server: &Server,
    json: bool,
    what: Instrument,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let one = match what {
        Instrument::List { bay } => {
            let all = call::<table::InstrumentList>(server, &wire::InstrumentListParams { bay })?;
            let text = |all: &wire::Instruments| match &all.instruments[..] {
                [] => "no instruments\n".to_owned(),
                some => some.iter().map(show::instrument).collect(),
            };
            return tell(json, &all, text, io);
        }
        Instrument::Attach {
            bay,
            instrument,
            adapter,
            settings,
        } => call::<table::InstrumentAttach>(
            server,
            &wire::InstrumentAttachParams {
                bay,
                instrument,
                adapter,
                settings: parsed(&settings)?,
            },
        )?,
        Instrument::Detach { bay, instrument } => {
            call::<table::InstrumentDetach>(server, &wire::InstrumentName { bay, instrument })?
        }
    };
    tell(json, &one, show::instrument, io)
}

/// `key=value` as settings: dots in a key lead into a table, a value is JSON if it can be read as such.
fn parsed(settings: &[String]) -> Result<Map<String, Value>, CliError> {
    let mut all = Map::new();
    for setting in settings {
        let wrong = |why: &str| CliError::Wrong(format!("`{setting}` is no setting: {why}"));
        let (key, value) = setting
            .split_once('=')
            .ok_or_else(|| wrong("write key=value, such as port=/dev/ttyUSB0"))?;
        let value = serde_json::from_str(value).unwrap_or_else(|_| Value::from(value));
        let (tables, last) = key
            .rsplit_once('.')
            .map_or(("", key), |(tables, last)| (tables, last));
        let mut into = &mut all;
        for table in tables.split('.').filter(|table| !table.is_empty()) {
            let inner = into
                .entry(table)
                .or_insert_with(|| Value::Object(Map::new()));
            into = inner
                .as_object_mut()
                .ok_or_else(|| wrong("its key leads into a setting that is no table"))?;
        }
        into.insert(last.to_owned(), value);
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(settings: &[&str], expected: &str) {
        let settings: Vec<String> = settings.iter().map(|s| (*s).to_owned()).collect();
        let parsed = parsed(&settings).map(|map| Value::Object(map).to_string());
        match parsed {
            Ok(json) => assert_eq!(json, expected),
            Err(fault) => assert!(fault.to_string().contains(expected), "{fault}"),
        }
    }

    #[test]
    fn settings_are_text_unless_they_are_json() {
        check(
            &["port=/dev/ttyUSB0", "device=1"],
            r#"{"device":1,"port":"/dev/ttyUSB0"}"#,
        );
        check(
            &[
                "accuracy.voltage=0.5 % rdg + 3 dgt",
                "accuracy.current=1 % rdg",
            ],
            r#"{"accuracy":{"current":"1 % rdg","voltage":"0.5 % rdg + 3 dgt"}}"#,
        );
        check(&["speeds=[1, 2]"], r#"{"speeds":[1,2]}"#);
        check(&["port"], "write key=value");
        check(&["a=1", "a.b=2"], "leads into a setting that is no table");
    }
}
