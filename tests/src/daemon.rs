//! The service as a program of its own, so that it can be measured, told to stop, and killed.

use std::net::SocketAddr;
use std::path::Path;
use std::process::{ExitStatus, Stdio};
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, BufReader, Lines};
use tokio::process::{Child, ChildStdout, Command};

use crate::programs::program;
use crate::wait::within;

/// A running `trisectd serve`; killed when dropped.
pub struct Daemon {
    child: Child,
    /// What it says on standard output after the first line.
    said: Lines<BufReader<ChildStdout>>,
    /// Where it listens.
    pub address: SocketAddr,
}

impl Daemon {
    /// Starts the one that was built for the tests, on a journal.
    pub async fn start(journal: &Path) -> Daemon {
        Daemon::start_program(&program("trisectd"), journal).await
    }

    /// Starts a certain build of it.
    pub async fn start_program(program: &Path, journal: &Path) -> Daemon {
        Daemon::spawn(program, journal, &[]).await
    }

    /// Starts a certain build of it with a configuration file.
    pub async fn start_configured(program: &Path, journal: &Path, file: &Path) -> Daemon {
        Daemon::spawn(program, journal, &[Path::new("--config"), file]).await
    }

    async fn spawn(program: &Path, journal: &Path, more: &[&Path]) -> Daemon {
        let mut command = Command::new(program);
        command
            .args([
                "serve",
                "--listen",
                "127.0.0.1:0",
                "--log",
                "warn",
                "--loopback",
                "manage",
                "--journal",
            ])
            .arg(journal)
            .args(more);
        Daemon::start_command(command).await
    }

    /// Starts one by a configuration file.
    pub async fn serve(config: &Path) -> Daemon {
        let mut command = Command::new(program("trisectd"));
        command.args(["serve", "--config"]).arg(config);
        Daemon::start_command(command).await
    }

    /// Starts a command that becomes one.
    pub async fn start_command(mut command: Command) -> Daemon {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let first = within("the first line", lines.next_line()).await.unwrap();
        let first = first.expect("trisectd ended before it listened");
        let address = first
            .split("http://")
            .nth(1)
            .and_then(|rest| rest.split('/').next());
        let address = address.and_then(|address| address.parse().ok());
        Daemon {
            child,
            said: lines,
            address: address.unwrap_or_else(|| panic!("no address in: {first}")),
        }
    }

    /// The port on which it speaks TLS, which it says in its second line.
    pub async fn tls_port(&mut self) -> u16 {
        let line = within("the second line", self.said.next_line())
            .await
            .unwrap();
        let port = line.as_deref().and_then(|line| {
            let rest = line.split("https://").nth(1)?;
            rest.split('/').next()?.parse::<SocketAddr>().ok()
        });
        port.unwrap_or_else(|| panic!("no TLS address in: {line:?}"))
            .port()
    }

    /// What it holds in memory, in bytes: `/proc/PID/statm`, second column, in pages.
    pub fn resident(&self) -> u64 {
        let id = self.child.id().expect("it runs");
        let statm = std::fs::read_to_string(format!("/proc/{id}/statm")).unwrap();
        let pages: u64 = statm.split_whitespace().nth(1).unwrap().parse().unwrap();
        pages * rustix::param::page_size() as u64
    }

    /// Its process.
    pub fn process(&self) -> rustix::process::Pid {
        let id = i32::try_from(self.child.id().expect("it runs")).unwrap();
        rustix::process::Pid::from_raw(id).unwrap()
    }

    /// Has it take up its configuration.
    pub fn reload(&self) {
        rustix::process::kill_process(self.process(), rustix::process::Signal::HUP).unwrap();
    }

    /// What it has used of the processors: `/proc/PID/stat`, columns 14 and 15, in hundredths of a second.
    pub fn processor_time(&self) -> Duration {
        let id = self.child.id().expect("it runs");
        let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
        // The second column is a name in brackets, which may have spaces.
        let (_, columns) = stat.rsplit_once(") ").unwrap();
        let ticks = columns.split_whitespace().skip(11).take(2);
        let ticks: u64 = ticks.map(|ticks| ticks.parse::<u64>().unwrap()).sum();
        Duration::from_millis(ticks * 1000 / rustix::param::clock_ticks_per_second())
    }

    /// Sends SIGTERM and waits for its end.
    pub async fn terminate(mut self) -> ExitStatus {
        let id = self.process();
        rustix::process::kill_process(id, rustix::process::Signal::TERM).unwrap();
        within("the end after SIGTERM", self.child.wait())
            .await
            .unwrap()
    }

    /// Ends it at once, as a power cut would.
    pub async fn kill(mut self) {
        within("the end after SIGKILL", self.child.kill())
            .await
            .unwrap();
    }
}
