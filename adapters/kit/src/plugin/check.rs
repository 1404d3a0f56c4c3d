//! The contract suite for any program, in words: what `trisect adapter check` runs.

use std::fmt;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::time::{Instant, timeout_at};

use super::adapter::{describe, described};
use super::lines::ReceivedLine;
use super::message::{self, Heard};
use super::peer::Peer;
use super::{PluginError, Program};
use crate::{Description, error_chain};

/// What is checked, and on what.
#[derive(Clone, Debug)]
pub struct Trial {
    /// The program.
    pub program: Program,
    /// The settings it is started on.
    pub settings: Value,
    /// How long its first sample, or a state, is waited for.
    pub wait: Duration,
}

/// What came of one check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finding {
    /// It keeps this part of the contract.
    Kept,
    /// It does not, and how.
    Broken(String),
    /// It could not be tried, and why.
    Untried(String),
}

/// One check and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// What the contract asks.
    pub asks: &'static str,
    /// What came of it.
    pub finding: Finding,
}

impl fmt::Display for Checked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.finding {
            Finding::Kept => write!(f, "kept     {}", self.asks),
            Finding::Broken(how) => write!(f, "broken   {}: {how}", self.asks),
            Finding::Untried(why) => write!(f, "untried  {}: {why}", self.asks),
        }
    }
}

type Held = Result<(), String>;

/// Holds a program against the contract of plugins. Takes a few seconds.
pub async fn check(trial: &Trial) -> Vec<Checked> {
    let mut report = Report(Vec::new());
    report.note(
        "it describes itself, always the same",
        describes(trial).await,
    );
    // Without a description there is nothing to hold what it says against.
    let Some(Finding::Kept) = report.0.first().map(|one| one.finding.clone()) else {
        return report.0;
    };
    report.note(
        "it answers what it does not know with an error",
        unknown(trial).await,
    );
    report.note(
        "a line that is no message does not upset it",
        noise(trial).await,
    );
    let unfit = settings(trial).await.err();
    if let Some(why) = &unfit {
        let why =
            format!("the settings do not fit its schema ({why}): give others with --settings");
        report.0.push(Checked {
            asks: "it starts, and says samples or how it is doing",
            finding: Finding::Untried(why),
        });
    } else {
        report.note(
            "it starts, and says samples or how it is doing",
            starts(trial).await,
        );
        report.note("whatever it says is of the contract", says(trial).await);
        report.note("it answers while it runs", answers(trial).await);
        report.note("it waits while nobody reads", waits(trial).await);
        report.note(
            "it ends in time when it is told to stop",
            stops(trial).await,
        );
        report.note(
            "it ends when its standard input ends",
            orphaned(trial).await,
        );
    }
    report.note(
        "it ends in time if it was never started",
        stops_idle(trial).await,
    );
    report.0
}

struct Report(Vec<Checked>);

impl Report {
    fn note(&mut self, asks: &'static str, held: Held) {
        let finding = held.map_or_else(Finding::Broken, |()| Finding::Kept);
        self.0.push(Checked { asks, finding });
    }
}

/// A started program with what it says aside.
struct PluginUnderTest {
    peer: Peer,
    noise: Vec<String>,
    patience: Duration,
}

impl PluginUnderTest {
    fn open(trial: &Trial) -> Result<PluginUnderTest, String> {
        let patience = trial.program.limits.patience;
        let peer = Peer::start(&trial.program).map_err(|error| error_chain(&error))?;
        Ok(PluginUnderTest {
            peer,
            noise: Vec::new(),
            patience,
        })
    }

    async fn ask(&mut self, method: &'static str, params: Value) -> Result<Value, PluginError> {
        let noise = &mut self.noise;
        let aside = |why: &str| noise.push(why.to_owned());
        self.peer.ask(method, &params, self.patience, aside).await
    }

    /// What was found amiss on the way, if anything.
    fn quiet(&self) -> Held {
        self.noise.first().map_or(Ok(()), |why| Err(why.clone()))
    }

    async fn started(trial: &Trial) -> Result<PluginUnderTest, String> {
        let mut plugin = PluginUnderTest::open(trial)?;
        plugin
            .ask("start", json!({"settings": trial.settings}))
            .await
            .map_err(|e| error_chain(&e))?;
        plugin.quiet()?;
        Ok(plugin)
    }
}

async fn describes(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::open(trial)?;
    let first = plugin
        .ask("describe", json!({}))
        .await
        .map_err(|e| error_chain(&e))?;
    let again = plugin
        .ask("describe", json!({}))
        .await
        .map_err(|e| error_chain(&e))?;
    plugin.quiet()?;
    if first != again {
        return Err("two descriptions of one process differ".to_owned());
    }
    let one = described(first).map_err(|e| error_chain(&e))?;
    super::settings::compile(&one.settings).map(|_| ())
}

async fn settings(trial: &Trial) -> Result<Description, String> {
    let mut plugin = PluginUnderTest::open(trial)?;
    let found = describe(&mut plugin.peer, &trial.program, &trial.settings).await;
    found.map_err(|error| match error {
        PluginError::Settings(unfit) => unfit.to_string(),
        other => error_chain(&other),
    })
}

async fn unknown(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::open(trial)?;
    match plugin.ask("no-such-method", json!({})).await {
        Err(PluginError::Refused { code: -32601, .. }) => {}
        Err(PluginError::Refused { code, .. }) => {
            return Err(format!("the error's code is {code}, not -32601"));
        }
        Err(error) => return Err(error_chain(&error)),
        Ok(_) => return Err("it answered a method that does not exist with a result".to_owned()),
    }
    plugin.quiet()
}

async fn noise(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::open(trial)?;
    for line in [
        &b"this is no JSON\n"[..],
        b"{\"jsonrpc\":\"2.0\",\"method\":\"no-such-news\"}\n",
    ] {
        plugin.peer.write(line, plugin.patience).await?;
    }
    // It may answer the first with an error that has no id: nothing else is asked of it.
    plugin
        .ask("describe", json!({}))
        .await
        .map(|_| ())
        .map_err(|e| error_chain(&e))
}

async fn starts(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::started(trial).await?;
    let until = Instant::now() + trial.wait;
    match timeout_at(until, plugin.peer.line()).await {
        Err(_) => Err(format!(
            "nothing for {} ms after the start",
            trial.wait.as_millis()
        )),
        Ok(line) => line.map(|_| ()),
    }
}

/// Every line of a while: its shape, its channels, its units.
async fn says(trial: &Trial) -> Held {
    let described = settings(trial).await?;
    let mut plugin = PluginUnderTest::started(trial).await?;
    let until = Instant::now() + trial.wait;
    for _ in 0..1000 {
        let Ok(line) = timeout_at(until, plugin.peer.line()).await else {
            break;
        };
        one(line?, &described)?;
    }
    Ok(())
}

fn one(line: ReceivedLine, described: &Description) -> Held {
    let line = Peer::whole(line)?;
    let shown = || line.get(..200).unwrap_or(&line).escape_ascii().to_string();
    let wrong = |why: String| format!("{why}, in {}", shown());
    match message::read(&line).map_err(wrong)? {
        Heard::Samples(samples) => samples.iter().try_for_each(|sample| {
            sample.sample().map_err(wrong)?;
            let channel = described
                .channels
                .iter()
                .find(|c| c.channel == sample.channel);
            match channel.map(|c| c.function) {
                None => Err(wrong(format!(
                    "channel {} was not described",
                    sample.channel
                ))),
                Some(Some(function)) if function != sample.function => Err(wrong(format!(
                    "channel {} was described as {}",
                    sample.channel,
                    function.word()
                ))),
                Some(_) => Ok(()),
            }
        }),
        Heard::State(said) if said.state == crate::State::Stopped => Err(wrong(
            "the state `stopped` is the service's alone".to_owned(),
        )),
        Heard::State(_) => Ok(()),
        Heard::Answer { .. } => Err(wrong("an answer to nothing that was asked".to_owned())),
        Heard::Asked { .. } => Err(wrong("a plugin asks the service nothing".to_owned())),
    }
}

async fn answers(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::started(trial).await?;
    plugin
        .ask("describe", json!({}))
        .await
        .map(|_| ())
        .map_err(|e| error_chain(&e))
}

/// A full pipe holds it back and does not end it.
async fn waits(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::started(trial).await?;
    let pause = trial.wait.min(Duration::from_secs(1));
    let ended = tokio::time::timeout(pause, plugin.peer.process.child.wait()).await;
    if ended.is_ok() {
        return Err("it ended while nobody read what it said".to_owned());
    }
    plugin
        .ask("describe", json!({}))
        .await
        .map(|_| ())
        .map_err(|e| error_chain(&e))
}

async fn stops(trial: &Trial) -> Held {
    ended_well(PluginUnderTest::started(trial).await?, trial).await
}

async fn stops_idle(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::open(trial)?;
    // Once it answers it is up: how long that takes is not what is asked here.
    plugin
        .ask("describe", json!({}))
        .await
        .map_err(|e| error_chain(&e))?;
    ended_well(plugin, trial).await
}

async fn ended_well(mut plugin: PluginUnderTest, trial: &Trial) -> Held {
    let grace = trial.program.limits.grace;
    if !plugin.peer.stop(grace).await {
        return Err(format!(
            "it was still there {} ms after `stop`, and was killed",
            grace.as_millis()
        ));
    }
    match plugin.peer.status() {
        Some(status) if !status.success() => Err(format!("it ended with {status}")),
        _ => Ok(()),
    }
}

async fn orphaned(trial: &Trial) -> Held {
    let mut plugin = PluginUnderTest::started(trial).await?;
    drop(plugin.peer.process.stdin.take());
    let until = Instant::now() + Duration::from_secs(2);
    let ended = timeout_at(until, async { while plugin.peer.line().await.is_ok() {} }).await;
    ended.map_err(|_| "it was still there 2 s later: it would outlive the service".to_owned())
}
