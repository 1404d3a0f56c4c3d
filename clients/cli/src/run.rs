//! From a command line to its end.

use crate::args::{Command, Subject};
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::server::Server;
use crate::{adapter, audit, bay, decode, documents, job, reading, ruleset, watch};
use std::process::ExitCode;
use trisect_wire::escape;

/// Carries a command out; says on standard error why it could not be.
pub fn run(command: Command, io: &mut Io<'_>) -> ExitCode {
    match carry_out(command, io) {
        Ok(Ending::AsWished) => ExitCode::SUCCESS,
        Ok(Ending::FellShort) => ExitCode::from(1),
        Err(fault) if fault.reader_left() => ExitCode::SUCCESS,
        Err(fault) => {
            // If standard error cannot be written either, the exit code has to do.
            let said = match &fault {
                // What the service says is one line; ours may be a list.
                CliError::Client(refusal) => escape(&refusal.to_string()).into_owned(),
                ours => ours.to_string(),
            };
            let _ = io.warn(&format!("trisect: {said}\n"));
            ExitCode::from(2)
        }
    }
}

fn carry_out(command: Command, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let Command {
        server,
        token,
        ca,
        json,
        subject,
    } = command;
    let server = Server {
        url: server,
        token,
        ca,
    };
    match subject {
        Subject::Job(what) => job::job(&server, json, what, io),
        Subject::Enter(what) => reading::enter(&server, json, what, io),
        Subject::Watch(what) => watch::watch(&server, json, what, io),
        Subject::Phase(what) => bay::phase(&server, json, &what, io),
        Subject::Probe(what) => bay::probe(&server, json, what, io),
        Subject::Instrument(what) => bay::instrument(&server, json, what, io),
        Subject::Ruleset(what) => ruleset::ruleset(&server, json, what, io),
        Subject::Audit(what) => audit::audit(&server, json, what, io),
        Subject::Decode(what) => decode::decode(&what, io),
        Subject::Adapter(what) => adapter::adapter(json, what, io),
        Subject::Completions(what) => documents::completions(&what, io),
        Subject::Man(what) => documents::man(&what, io),
    }
}
