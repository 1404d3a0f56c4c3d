//! A plugin as an adapter: started, watched, started again.

use std::time::Duration;

use serde::Deserialize;
use serde_json::{Value, json};
use tokio::time::Instant;

use super::peer::Peer;
use super::settings::{Unfit, compile, hold};
use super::{CONTRACT, Program};
use crate::ports::back_off_between;
use crate::{Adapter, ChannelDescription, Context, Description, Running, State};

/// The waits before a plugin is started again: the first, and the longest.
const FIRST: Duration = Duration::from_millis(100);
const LONGEST: Duration = Duration::from_secs(30);
/// A plugin that ran so long has recovered: the next wait is the first again.
const STEADY: Duration = Duration::from_secs(10);

/// Why a plugin cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum PluginError {
    /// Its program cannot be started.
    #[error("cannot start `{command}`; is it installed, and may it be run?")]
    Start {
        /// The command.
        command: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// It did not answer in time.
    #[error("the plugin did not answer `{method}` within {} ms; see its standard error in the log", patience.as_millis())]
    NoAnswer {
        /// What was asked.
        method: &'static str,
        /// How long was waited.
        patience: Duration,
    },
    /// It answered with an error.
    #[error("the plugin refused `{method}`: {message} ({code})")]
    Refused {
        /// What was asked.
        method: &'static str,
        /// Its code.
        code: i64,
        /// Its words.
        message: String,
    },
    /// The conversation broke off.
    #[error("the plugin failed at `{method}`: {why}; see its standard error in the log")]
    Broken {
        /// What was asked.
        method: &'static str,
        /// What happened.
        why: String,
    },
    /// It does not describe itself as the contract asks.
    #[error(
        "the plugin's description breaks the contract: {why}; `trisect adapter check` says all that does"
    )]
    Description {
        /// What is wrong with it.
        why: String,
    },
    /// Its settings do not fit its own schema.
    #[error("the plugin's settings do not fit its schema: {0}")]
    Settings(Unfit),
}

/// What `describe` answers.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Described {
    contract: u32,
    name: String,
    version: String,
    #[serde(default)]
    title: Option<String>,
    channels: Vec<ChannelDescription>,
    settings: Value,
}

/// An adapter that is a program of its own. [`PluginAdapter::prepare`] makes one.
#[derive(Debug)]
pub struct PluginAdapter {
    pub(super) program: Program,
    pub(super) settings: Value,
    pub(super) description: Description,
}

impl PluginAdapter {
    /// Starts the program, has it describe itself, holds the settings against
    /// its schema, and ends it again: nothing touches an instrument.
    ///
    /// # Errors
    /// See [`PluginError`].
    pub async fn prepare(program: Program, settings: Value) -> Result<PluginAdapter, PluginError> {
        let mut peer = Peer::start(&program)?;
        let described = describe(&mut peer, &program, &settings).await;
        peer.stop(program.limits.grace).await;
        Ok(PluginAdapter {
            description: described?,
            program,
            settings,
        })
    }
}

/// Has a plugin describe itself: without settings for their schema, and with them, once they fit, for
/// what it is then.
pub(super) async fn describe(
    peer: &mut Peer,
    program: &Program,
    settings: &Value,
) -> Result<Description, PluginError> {
    let patience = program.limits.patience;
    let noise =
        |why: &str| tracing::warn!(plugin = program.name, "while it describes itself: {why}");
    let first = peer.ask("describe", &json!({}), patience, noise).await?;
    let schema = described(first)?.settings;
    let validator = compile(&schema).map_err(|why| PluginError::Description { why })?;
    hold(&validator, settings).map_err(PluginError::Settings)?;
    let params = json!({"settings": settings});
    let second = peer.ask("describe", &params, patience, noise).await?;
    let mut description = described(second)?;
    description.settings = schema;
    Ok(description)
}

/// Reads a description, and holds it against the contract.
pub(super) fn described(answer: Value) -> Result<Description, PluginError> {
    let broken = |why: String| PluginError::Description { why };
    let said: Described = serde_json::from_value(answer).map_err(|e| broken(e.to_string()))?;
    if said.contract != CONTRACT {
        return Err(broken(format!(
            "it speaks contract {}, this service speaks {CONTRACT}",
            said.contract
        )));
    }
    let empty = |what: &str| broken(format!("`{what}` is empty"));
    if said.name.is_empty() {
        return Err(empty("name"));
    }
    if said.version.is_empty() {
        return Err(empty("version"));
    }
    if said.channels.is_empty() {
        return Err(empty("channels"));
    }
    let mut seen = std::collections::BTreeSet::new();
    if let Some(twice) = said.channels.iter().find(|c| !seen.insert(c.channel)) {
        return Err(broken(format!("channel {} is there twice", twice.channel)));
    }
    if !said.settings.is_object() {
        return Err(broken("`settings` is no object".to_owned()));
    }
    Ok(Description {
        title: said.title.unwrap_or_else(|| said.name.clone()),
        name: said.name,
        version: said.version,
        channels: said.channels,
        settings: said.settings,
    })
}

/// A seed for the jitter: two plugins that ended together do not start together.
fn seed(program: &Program) -> u64 {
    let bytes = program.name.bytes().chain(std::process::id().to_le_bytes());
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

impl Adapter for PluginAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            context.health.enter(State::Starting, context.now());
            let (mut attempt, seed) = (0, seed(&self.program));
            loop {
                let began = Instant::now();
                let Some(why) = self.session(&context).await else {
                    break;
                };
                if began.elapsed() >= STEADY {
                    attempt = 0;
                }
                let wait = back_off_between(attempt, seed, FIRST, LONGEST);
                attempt = attempt.saturating_add(1);
                context.silent(&format!(
                    "{why}; it is started again in {} ms",
                    wait.as_millis()
                ));
                tracing::warn!(plugin = self.program.name, why, "a plugin failed");
                if context.pause(wait).await.is_err() {
                    break;
                }
            }
            context.health.enter(State::Stopped, context.now());
            Ok(())
        })
    }
}
