//! One life of a plugin's process, from start to end.

use std::time::Duration;

use serde_json::json;
use tokio::time::{Instant, MissedTickBehavior, interval_at, sleep_until};
use trisect_measure::Function;

use super::adapter::{PluginAdapter, describe};
use super::limits::Watch;
use super::lines::ReceivedLine;
use super::message::{self, Heard, StateSaid};
use super::peer::Peer;
use super::sample::SampleSaid;
use crate::{Context, Description, State, Stopped, error_chain};

/// How often the limits are looked after: [`Watch::LOOKS`] of these are a minute.
const LOOK: Duration = Duration::from_secs(5);

impl PluginAdapter {
    /// Runs the program once. `None`: it was told to stop, and has; otherwise
    /// why it ended.
    pub(super) async fn session(&self, context: &Context) -> Option<String> {
        let mut peer = match Peer::start(&self.program) {
            Ok(peer) => peer,
            Err(error) => return Some(error_chain(&error)),
        };
        let mut session = Session::new(&self.description, self.program.limits.silent_after);
        let ended = tokio::select! {
            biased;
            () = context.stop.cancelled() => None,
            why = self.converse(&mut peer, &mut session, context) => why,
        };
        // Told to stop, or failed: either way nothing of it may go on.
        let grace = self.program.limits.grace;
        peer.stop(if ended.is_none() {
            grace
        } else {
            Duration::ZERO
        })
        .await;
        ended
    }

    async fn converse(
        &self,
        peer: &mut Peer,
        session: &mut Session,
        context: &Context,
    ) -> Option<String> {
        if let Err(why) = self.begin(peer, context).await {
            return Some(why);
        }
        let limits = &self.program.limits;
        let mut watch = Watch::new(peer.process.group, limits.clone());
        let mut looks = interval_at(Instant::now() + LOOK, LOOK);
        looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            let taken = tokio::select! {
                line = peer.line() => match line {
                    Ok(line) => session.take(peer, line, context).await,
                    Err(why) => Err(Some(why)),
                },
                () = sleep_until(session.due()) => session.quiet(peer, context).await,
                _ = looks.tick() => watch.look().map_err(Some),
            };
            match taken {
                Ok(()) => {}
                Err(Some(why)) if why.contains("used up its processor time") => {
                    return Some(watch.too_long());
                }
                Err(why) => return why,
            }
        }
    }

    /// `describe` and `start`: it must still be what it was when it was attached.
    async fn begin(&self, peer: &mut Peer, context: &Context) -> Result<(), String> {
        let described = describe(peer, &self.program, &self.settings).await;
        let described = described.map_err(|error| error_chain(&error))?;
        if described.channels != self.description.channels {
            return Err(
                "its channels are others than when it was attached: attach it anew".to_owned(),
            );
        }
        let params = json!({"settings": self.settings});
        let early = |why: &str| context.health.bad(why, context.now());
        let started = peer
            .ask("start", &params, self.program.limits.patience, early)
            .await;
        started.map(|_| ()).map_err(|error| error_chain(&error))
    }
}

/// What is known of a plugin while it runs.
struct Session {
    channels: Vec<(u16, Option<Function>)>,
    silent_after: Duration,
    /// The time of the newest sample, and of the clock then: times do not go back unless the clock does.
    newest: i64,
    clock: i64,
    /// When it counts as silent unless a sample comes.
    silence: Instant,
    /// When it is asked whether it still answers, unless it says something.
    doubt: Instant,
    /// What it was asked then, and until when it has to answer.
    doubted: Option<(u64, Instant)>,
    /// What it said to have lost, in all.
    bad_frames: u64,
    skipped_bytes: u64,
}

type Taken = Result<(), Option<String>>;

impl Session {
    fn new(description: &Description, silent_after: Duration) -> Session {
        let now = Instant::now();
        Session {
            channels: description
                .channels
                .iter()
                .map(|c| (c.channel, c.function))
                .collect(),
            silent_after,
            newest: i64::MIN,
            clock: i64::MIN,
            silence: now + silent_after,
            doubt: now + silent_after,
            doubted: None,
            bad_frames: 0,
            skipped_bytes: 0,
        }
    }

    fn due(&self) -> Instant {
        let answer = self.doubted.map(|(_, until)| until);
        [Some(self.silence), Some(self.doubt), answer]
            .into_iter()
            .flatten()
            .min()
            .unwrap_or(self.silence)
    }

    /// A line came.
    async fn take(&mut self, peer: &mut Peer, line: ReceivedLine, context: &Context) -> Taken {
        let at = context.now();
        let line = match Peer::whole(line) {
            Ok(line) => line,
            Err(why) => {
                context.health.bad(&why, at);
                return Ok(());
            }
        };
        match message::read(&line) {
            Ok(Heard::Samples(samples)) => {
                self.heard();
                self.samples(&samples, at, context)
                    .await
                    .map_err(|Stopped| None)
            }
            Ok(Heard::State(said)) => {
                self.heard();
                self.state(&said, context);
                Ok(())
            }
            Ok(Heard::Answer { id, .. }) => {
                match self.doubted.take_if(|(asked, _)| *asked == id) {
                    Some(_) => self.heard(),
                    None => context
                        .health
                        .bad(&format!("an answer to {id}, which was not asked"), at),
                }
                Ok(())
            }
            Ok(Heard::Asked { id, method }) => peer
                .decline(id, &method, self.silent_after)
                .await
                .map_err(Some),
            Err(why) => {
                context.health.bad(&why, at);
                Ok(())
            }
        }
    }

    /// It said something of the contract: it does not hang.
    fn heard(&mut self) {
        self.doubt = Instant::now() + self.silent_after;
    }

    async fn samples(
        &mut self,
        said: &[SampleSaid<'_>],
        at: i64,
        context: &Context,
    ) -> Result<(), Stopped> {
        if at < self.clock {
            self.newest = i64::MIN;
        }
        self.clock = at;
        for one in said {
            match self.fits(one).and_then(|()| one.sample()) {
                Ok((sample, age)) => {
                    let read = at.saturating_sub(age).max(self.newest);
                    self.newest = read;
                    context.emit(sample, read).await?;
                }
                Err(why) => context.health.bad(&why, at),
            }
        }
        // Counted from now, not from the line: a full queue may have held us.
        let now = Instant::now();
        self.silence = now + self.silent_after;
        self.doubt = now + self.silent_after;
        Ok(())
    }

    /// Whether a sample is of a channel that it described, and says what that measures.
    fn fits(&self, said: &SampleSaid<'_>) -> Result<(), String> {
        let known = self
            .channels
            .iter()
            .find(|(channel, _)| *channel == said.channel);
        match known {
            None => Err(format!(
                "a sample of channel {}, which it did not describe",
                said.channel
            )),
            Some((channel, Some(function))) if *function != said.function => Err(format!(
                "a sample of {} on channel {channel}, which it described as {}",
                said.function.word(),
                function.word()
            )),
            Some(_) => Ok(()),
        }
    }

    fn state(&mut self, said: &StateSaid<'_>, context: &Context) {
        let at = context.now();
        let frames = said.bad_frames.saturating_sub(self.bad_frames);
        let bytes = said.skipped_bytes.saturating_sub(self.skipped_bytes);
        (self.bad_frames, self.skipped_bytes) = (said.bad_frames, said.skipped_bytes);
        let why = said.why.as_deref();
        if frames > 0 || bytes > 0 {
            context
                .health
                .lost(frames, bytes, why.unwrap_or("the plugin lost some"), at);
        }
        match said.state {
            State::Silent => context.silent(why.unwrap_or("the plugin says so")),
            State::Stopped => context
                .health
                .bad("the state `stopped`, which only the service enters", at),
            state => {
                if let Some(why) = why {
                    context.health.error(why, at);
                }
                context.health.enter(state, at);
            }
        }
    }

    /// Something is due although no line came.
    async fn quiet(&mut self, peer: &mut Peer, context: &Context) -> Taken {
        let now = Instant::now();
        if self.doubted.is_some_and(|(_, until)| until <= now) {
            return Err(Some("it hangs: it answers nothing any more".to_owned()));
        }
        if self.silence <= now {
            self.silence = now + self.silent_after;
            context.silent(&format!(
                "no sample for {} ms",
                self.silent_after.as_millis()
            ));
        }
        if self.doubt <= now {
            self.doubt = now + self.silent_after;
            if self.doubted.is_none() {
                let asked = peer.put("describe", &json!({}), self.silent_after).await;
                self.doubted = Some((asked.map_err(Some)?, now + self.silent_after));
            }
        }
        Ok(())
    }
}
