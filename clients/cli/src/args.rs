//! The command line: commands, arguments, help.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;
use trisect_survey::MOST_THREADS;
use trisect_wire::types::{Drive, JobState, Phase};

/// Finds which side is at fault: supply, controller or pump.
#[derive(Debug, Parser)]
#[command(name = "trisect", version = BUILD, after_help = EXIT_CODES)]
pub struct Command {
    /// The service to talk to: ws:// or http://, wss:// or https://, or unix:PATH.
    #[arg(
        long,
        global = true,
        env = "TRISECT_SERVER",
        default_value = "ws://127.0.0.1:7474/rpc",
        value_name = "URL"
    )]
    pub server: String,
    /// The token to call with.
    #[arg(
        long,
        global = true,
        env = "TRISECT_TOKEN",
        hide_env_values = true,
        value_name = "TOKEN"
    )]
    pub token: Option<String>,
    /// Certificates (PEM) to trust instead of the system's, for wss:// and https://.
    #[arg(long, global = true, env = "TRISECT_CA", value_name = "FILE")]
    pub ca: Option<PathBuf>,
    /// Answer in JSON, for programs.
    #[arg(long, global = true)]
    pub json: bool,
    #[command(subcommand)]
    pub subject: Subject,
}

/// Version, commit and day of this build.
const BUILD: &str = concat!(env!("CARGO_PKG_VERSION"), " (", env!("BUILT_FROM"), ")");

const EXIT_CODES: &str = "Exit codes: 0 as wished, 1 cases or rules fell short, 2 the request was wrong or could not be carried out.";

#[derive(Debug, Subcommand)]
pub enum Subject {
    /// Open, list, show, answer and close jobs.
    #[command(subcommand)]
    Job(Job),
    /// Enter a reading a person took.
    Enter(Enter),
    /// Follow readings and verdict changes as they happen.
    Watch(Watch),
    /// Set the engine's phase, the drive that is connected, or both.
    Phase(PhaseSay),
    /// Place a probe at a test point, or lift it.
    #[command(subcommand)]
    Probe(Probe),
    /// List, attach and detach instruments.
    #[command(subcommand)]
    Instrument(Instrument),
    /// Examine rule sets and try cases on them, without a service; install and list those of a service.
    #[command(subcommand)]
    Ruleset(Ruleset),
    /// Show who did what, newest first.
    Audit(Audit),
    /// Decode instrument bytes on standard input, one JSON sample a line; needs no service.
    Decode(Decode),
    /// Check a program against the plugin contract; needs no service.
    #[command(subcommand)]
    Adapter(Adapter),
    /// Print the completions for a shell; needs no service.
    Completions(Completions),
    /// Write the man pages into a folder; needs no service.
    #[command(hide = true)]
    Man(Man),
}

#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    pub shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub struct Man {
    /// The folder, which is there.
    pub directory: PathBuf,
}

#[derive(Debug, Subcommand)]
pub enum Job {
    /// Open a job for a machine in a bay.
    Open(JobOpen),
    /// List jobs, newest first.
    List(JobList),
    /// Show a job with its answers and its verdict.
    Show {
        /// The job.
        job: String,
    },
    /// Answer an asked check.
    Answer(JobAnswer),
    /// Close a job, and record what the fault really was.
    Close(JobClose),
    /// Replay a job with its own rule set or another one, and show what differs in the verdict.
    Replay {
        /// The job.
        job: String,
        /// Another rule set, by id or digest.
        #[arg(long, value_name = "ID-OR-DIGEST")]
        ruleset: Option<String>,
    },
    /// Verify a job by its chain of hashes: whether anything of it was altered.
    Verify {
        /// The job.
        job: String,
        /// The digest that was noted elsewhere; it has to be the same.
        #[arg(long, value_name = "HEX")]
        digest: Option<String>,
    },
    /// Export a job as a case with its readings, for `trisect ruleset trial`.
    Export {
        /// The job.
        job: String,
        /// Where to write them.
        #[arg(short, long, value_name = "DIR", default_value = ".")]
        output: PathBuf,
    },
}

#[derive(Debug, Args)]
pub struct JobOpen {
    /// The bay.
    pub bay: String,
    /// The machine, as the shop calls it.
    pub machine: String,
    /// What is complained of, by the rule set's id, such as cranks-no-start.
    #[arg(long, value_name = "ID")]
    pub complaint: Option<String>,
    /// The rule set; the bay's own if left out.
    #[arg(long, value_name = "ID")]
    pub ruleset: Option<String>,
    /// Who opens it.
    #[arg(long, env = "USER", value_name = "NAME")]
    pub by: Option<String>,
}

#[derive(Debug, Args)]
pub struct JobList {
    /// One bay only.
    #[arg(long)]
    pub bay: Option<String>,
    /// Only jobs that are open, or closed.
    #[arg(long, value_name = "open|closed")]
    pub state: Option<JobState>,
    /// Before this job: the last one of the page before.
    #[arg(long, value_name = "JOB")]
    pub before: Option<String>,
    /// At most so many.
    #[arg(long)]
    pub limit: Option<u32>,
}

#[derive(Debug, Args)]
pub struct JobAnswer {
    /// The job.
    pub job: String,
    /// The asked check, such as fuel-seen.
    pub check: String,
    /// One of its answers, such as seen.
    pub answer: String,
    /// Who answers.
    #[arg(long, env = "USER", value_name = "NAME")]
    pub by: Option<String>,
}

#[derive(Debug, Args)]
pub struct JobClose {
    /// The job.
    pub job: String,
    /// A suspect that was really present; may be repeated.
    #[arg(long, value_name = "SUSPECT")]
    pub confirmed: Vec<String>,
    /// Anything worth keeping.
    #[arg(long)]
    pub note: Option<String>,
}

#[derive(Debug, Args)]
pub struct Enter {
    /// The bay, which must have an open job.
    pub bay: String,
    /// The test point, such as pump-inlet-pressure.
    pub point: String,
    /// The value with its unit, such as "12.4 V", "-3 inHg" or OL.
    #[arg(allow_hyphen_values = true)]
    pub value: String,
    /// Standard uncertainty with its unit, such as "0.2 psi"; from the digits of the value if left out.
    #[arg(long)]
    pub uncertainty: Option<String>,
    /// The phase it was taken in, such as cranking, if the engine has left it since.
    #[arg(long)]
    pub phase: Option<Phase>,
    /// Who took it.
    #[arg(long, env = "USER", value_name = "NAME")]
    pub by: String,
    /// What it was taken with.
    #[arg(long, value_name = "NAME")]
    pub instrument: Option<String>,
    /// A key of your own, such as a UUID: entered again under it, the reading is stored once.
    #[arg(long)]
    pub key: Option<String>,
}

#[derive(Debug, Args)]
pub struct Watch {
    /// One bay only; all bays if left out.
    #[arg(long)]
    pub bay: Option<String>,
}

#[derive(Debug, Args)]
pub struct PhaseSay {
    /// The bay, which must have an open job.
    pub bay: String,
    /// The phase the engine is in, such as cranking.
    #[arg(required_unless_present = "drive")]
    pub phase: Option<Phase>,
    /// The drive that is connected.
    #[arg(long, value_name = "harness|bypass")]
    pub drive: Option<Drive>,
}

#[derive(Debug, Subcommand)]
pub enum Probe {
    /// Place the probe of a channel at a test point.
    Place {
        /// The bay.
        bay: String,
        /// The instrument.
        instrument: String,
        /// Its channel.
        channel: String,
        /// The test point, such as pump-inlet-pressure.
        point: String,
    },
    /// Lift the probe of a channel: it measures nowhere.
    Lift {
        /// The bay.
        bay: String,
        /// The instrument.
        instrument: String,
        /// Its channel.
        channel: String,
    },
}

#[derive(Debug, Subcommand)]
pub enum Instrument {
    /// List instruments with their state, channels and probes.
    List {
        /// One bay only.
        #[arg(long)]
        bay: Option<String>,
    },
    /// Open an instrument in a bay.
    Attach {
        /// The bay.
        bay: String,
        /// The name it shall have there.
        instrument: String,
        /// The adapter, such as multimeter.
        adapter: String,
        /// A setting, such as port=/dev/ttyUSB0 or accuracy.voltage="0.5 % rdg"; JSON where it is not plain text.
        #[arg(value_name = "KEY=VALUE")]
        settings: Vec<String>,
    },
    /// Close an instrument and forget it.
    Detach {
        /// The bay.
        bay: String,
        /// The instrument.
        instrument: String,
    },
}

#[derive(Debug, Subcommand)]
pub enum Ruleset {
    /// List every defect of rule sets, and what their checks can tell apart.
    Examine {
        /// The rule sets: files, or ids of shipped ones.
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
        /// Search every combination of outcomes for one that names a side whose proof is missing, and
        /// find the shortest set of tests that names each side.
        #[arg(long)]
        prove: bool,
    },
    /// Run recorded cases against a rule set and show what differs.
    Trial(Trial),
    /// Run a rule set over many simulated machines: how often it is right, how sure, and how quick.
    Survey(Survey),
    /// List the rule sets of the service.
    List,
    /// Install a rule set in the service: new jobs use it, open ones keep their own.
    Install {
        /// Its file.
        file: PathBuf,
        /// Who installs it.
        #[arg(long, env = "USER", value_name = "NAME")]
        by: Option<String>,
    },
}

#[derive(Debug, Args)]
pub struct Trial {
    /// The rule set: the id of a shipped one, a file, or a directory of files.
    #[arg(value_name = "RULESET-OR-DIR")]
    pub ruleset: PathBuf,
    /// Recorded cases.
    #[arg(required = true, value_name = "CASE")]
    pub cases: Vec<PathBuf>,
    /// Also write the results as JUnit XML.
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// List the limits that could be moved, the needs and proofs that could be dropped, and the rows that could be flattened without a case noticing.
    #[arg(long)]
    pub sensitivity: bool,
}

#[derive(Debug, Subcommand)]
pub enum Adapter {
    /// Run the conformance suite of plugins on a program, and list what it breaks.
    Check(AdapterCheck),
}

#[derive(Debug, Args)]
pub struct AdapterCheck {
    /// The settings it is started on, as JSON; `{}` if left out.
    #[arg(long, value_name = "JSON")]
    pub settings: Option<String>,
    /// Milliseconds that its first sample, or a state, is waited for.
    #[arg(long, default_value_t = 2000, value_name = "MS")]
    pub wait: u64,
    /// The program and its arguments.
    #[arg(
        required = true,
        trailing_var_arg = true,
        allow_hyphen_values = true,
        value_name = "COMMAND"
    )]
    pub command: Vec<String>,
}

#[derive(Debug, Args)]
pub struct Survey {
    /// The rule set: the id of a shipped one, or a file.
    pub ruleset: PathBuf,
    /// How many machines.
    #[arg(long, value_name = "N", default_value_t = 1000, value_parser = some, allow_negative_numbers = true)]
    pub machines: u64,
    /// Which machines: the same seed gives the same report, to the byte.
    #[arg(long, value_name = "S", default_value_t = 1, value_parser = whole, allow_negative_numbers = true)]
    pub seed: u64,
    /// On how many threads; all cores unless said. The report does not depend on it.
    #[arg(long, value_name = "N", value_parser = threads, allow_negative_numbers = true)]
    pub threads: Option<usize>,
    /// Also draw the calibration curve and the confusion as SVG.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// Instead: every number of the rule set's checks beside how often the check fails in the machine
    /// model, on this many machines of each suspect.
    #[arg(long, value_name = "N", value_parser = some, allow_negative_numbers = true, conflicts_with_all = ["svg", "cases", "machines"])]
    pub numbers: Option<u64>,
    /// Also write the twenty worst jobs as cases into this directory.
    #[arg(long, value_name = "DIR")]
    pub cases: Option<PathBuf>,
}

fn whole(text: &str) -> Result<u64, String> {
    text.parse()
        .map_err(|_| format!("give a whole number from 0 to {}", u64::MAX))
}

/// So many that there is something to do.
fn some(text: &str) -> Result<u64, String> {
    match whole(text) {
        Ok(0) | Err(_) => Err(format!("give a whole number from 1 to {}", u64::MAX)),
        some => some,
    }
}

fn threads(text: &str) -> Result<usize, String> {
    let wrong = || {
        format!(
            "give a whole number from 1 to {MOST_THREADS}, or leave it out: all cores are used then"
        )
    };
    let threads = text.parse().map_err(|_| wrong())?;
    match threads {
        1..=MOST_THREADS => Ok(threads),
        _ => Err(wrong()),
    }
}

#[derive(Debug, Args)]
pub struct Audit {
    /// Of this caller, such as token:display.
    #[arg(long)]
    pub who: Option<String>,
    /// About this bay, job or bay/instrument.
    #[arg(long)]
    pub subject: Option<String>,
    /// At most so many.
    #[arg(long)]
    pub limit: Option<u32>,
}

#[derive(Debug, Args)]
pub struct Decode {
    /// The protocol, such as fs9922; --list names them all.
    #[arg(required_unless_present = "list")]
    pub protocol: Option<String>,
    /// Standard input is hexadecimal text; spaces, line ends and 0x are let pass.
    #[arg(long)]
    pub hex: bool,
    /// List the protocols.
    #[arg(long)]
    pub list: bool,
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_declaration_is_sound() {
        Command::command().debug_assert();
    }

    #[test]
    fn a_negative_value_needs_no_escape() {
        let line = [
            "trisect",
            "enter",
            "bay-1",
            "tank-suction",
            "-3 inHg",
            "--by",
            "A",
        ];
        match Command::try_parse_from(line).unwrap().subject {
            Subject::Enter(enter) => {
                assert_eq!((enter.value.as_str(), enter.by.as_str()), ("-3 inHg", "A"));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_survey_of_what_cannot_be_is_refused_with_what_can() {
        let refused = |flag: &str, value: &str| {
            let line = ["trisect", "ruleset", "survey", "x", flag, value];
            Command::try_parse_from(line).unwrap_err().to_string()
        };
        for (flag, value, said) in [
            ("--threads", "0", "from 1 to 1024"),
            ("--threads", "-1", "from 1 to 1024"),
            ("--threads", "100000", "from 1 to 1024"),
            ("--seed", "-1", "from 0 to 18446744073709551615"),
            ("--machines", "-5", "from 1 to"),
            ("--machines", "0", "from 1 to"),
            ("--machines", "99999999999999999999", "from 1 to"),
            ("--numbers", "0", "from 1 to"),
        ] {
            let text = refused(flag, value);
            assert!(
                text.contains(flag) && text.contains(said),
                "{flag} {value}: {text}"
            );
        }
    }
}
