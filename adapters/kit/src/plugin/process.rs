//! A plugin's process: in a group of its own, held to its limits, killed with
//! everything it started.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process_group};
use tokio::process::{Child, ChildStdin, ChildStdout, Command};
use tokio::task::JoinHandle;

use super::log;

/// A program that speaks the contract.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Program {
    /// The name under which it is logged.
    pub name: String,
    /// The program and its arguments; looked for in `PATH` unless it has a `/`.
    pub command: Vec<String>,
    /// Where it runs; the service's own folder if left out.
    pub directory: Option<PathBuf>,
    /// Variables added to the few it is given ([`PASSED`]).
    pub environment: BTreeMap<String, String>,
    /// What it may use.
    pub limits: Limits,
}

impl Program {
    /// Looks whether the program is there, without starting it.
    ///
    /// # Errors
    /// It is not.
    pub fn look_for(&self) -> io::Result<()> {
        let name = self.command.first().map_or("", String::as_str);
        find(name, self.directory.as_deref())
    }
}

/// What a plugin may use, and how patient the service is with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Memory of each of its processes, in bytes (`RLIMIT_DATA`): more cannot be
    /// had.
    pub memory: u64,
    /// Processor time of each of its processes in any minute, in whole seconds
    /// (`RLIMIT_CPU`): who uses more is ended.
    pub cpu: u64,
    /// Processes at once.
    pub processes: usize,
    /// How long without a sample is silence; then it is also asked whether it
    /// still answers.
    pub silent_after: Duration,
    /// How long an answer takes at most.
    pub patience: Duration,
    /// How long it has to end after `stop`; then it is killed.
    pub grace: Duration,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            memory: 512 << 20,
            cpu: 30,
            processes: 64,
            silent_after: Duration::from_secs(5),
            patience: Duration::from_secs(5),
            grace: Duration::from_millis(500),
        }
    }
}

/// What of the service's own environment a plugin sees: no token, no secret.
pub(super) const PASSED: [&str; 7] = ["PATH", "HOME", "LANG", "LC_ALL", "TZ", "TMPDIR", "USER"];

/// The shell sets the limits and becomes the program: they hold from its first
/// instruction, and for whatever it starts.
const WITHIN_LIMITS: &str =
    "ulimit -c 0; ulimit -d \"$1\" && ulimit -S -t \"$2\" && shift 2 && exec \"$@\"";

/// A running plugin; killed with its group when dropped.
#[derive(Debug)]
pub(super) struct Process {
    pub child: Child,
    pub group: Pid,
    pub stdin: Option<ChildStdin>,
    pub stdout: ChildStdout,
    log: JoinHandle<()>,
}

impl Process {
    /// Starts a program.
    pub(super) fn start(program: &Program) -> io::Result<Process> {
        program.look_for()?;
        let mut command = Command::new("/bin/sh");
        command
            .args(["-c", WITHIN_LIMITS, "plugin"])
            .arg(program.limits.memory.div_ceil(1024).to_string())
            .arg(program.limits.cpu.max(1).to_string())
            .args(&program.command)
            .env_clear()
            .envs(
                PASSED
                    .iter()
                    .filter_map(|key| Some((key, std::env::var_os(key)?))),
            )
            .envs(&program.environment)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(0)
            .kill_on_drop(true);
        if let Some(directory) = &program.directory {
            command.current_dir(directory);
        }
        let mut child = command.spawn()?;
        let gone = || io::Error::other("it was gone at once");
        let id = child.id().and_then(|id| i32::try_from(id).ok());
        let group = id.and_then(Pid::from_raw).ok_or_else(gone)?;
        let (stdin, stdout) = (child.stdin.take(), child.stdout.take().ok_or_else(gone)?);
        let stderr = child.stderr.take().ok_or_else(gone)?;
        let log = tokio::spawn(log::copy(stderr, program.name.clone()));
        Ok(Process {
            child,
            group,
            stdin,
            stdout,
            log,
        })
    }

    /// Kills whatever is left of the group.
    pub(super) fn kill(&self) {
        // Nobody may be left. Should the leader have been waited for already, its
        // number is still taken as long as one of its group lives.
        let _ = kill_process_group(self.group, Signal::KILL);
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
        self.log.abort();
    }
}

/// Looks for the program before a shell does: its words would be in the log alone.
fn find(name: &str, directory: Option<&Path>) -> io::Result<()> {
    let missing = |what: String| io::Error::new(io::ErrorKind::NotFound, what);
    if name.is_empty() {
        return Err(missing("no command is given".to_owned()));
    }
    if name.contains('/') {
        let path = directory.unwrap_or(Path::new(".")).join(name);
        if path.is_file() {
            return Ok(());
        }
        return Err(missing(format!("there is no program {}", path.display())));
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    let there = |folder: &Path| folder.join(OsStr::new(name)).is_file();
    if std::env::split_paths(&path).any(|folder| there(&folder)) {
        return Ok(());
    }
    Err(missing(format!("there is no program `{name}` in the PATH")))
}
