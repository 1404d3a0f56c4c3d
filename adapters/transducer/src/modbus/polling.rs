//! The adapter: asks each input at its period and hands over what was answered.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::time::Instant;
use trisect_kit::ports::{Ending, Port, Session, TcpPort, keep_open};
use trisect_kit::{Adapter, Context, Description, Running};

use super::ReplyError;
use super::bus::{Answer, Bus, Failure};
use super::connection::Connection;
use super::input::Input;
use super::line::SerialLine;
use super::schedule::Schedule;

pub(crate) struct TransducerAdapter {
    pub description: Description,
    pub place: Place,
    pub polling: Polling,
}

/// Where the devices are.
pub(crate) enum Place {
    Serial(Port),
    Tcp(TcpPort),
}

/// What carries the requests, with the least pause between two.
#[derive(Clone, Copy)]
pub(crate) enum Carrier {
    Rtu { pause: Duration },
    Tcp { pause: Duration },
}

/// What is asked, how often, and what the answers mean.
pub(crate) struct Polling {
    pub inputs: Vec<Input>,
    pub carrier: Carrier,
    pub silent_after: Duration,
}

impl Adapter for TransducerAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            match &self.place {
                Place::Serial(port) => keep_open(port, &mut self.polling, &context).await,
                Place::Tcp(address) => keep_open(address, &mut self.polling, &context).await,
            }
            Ok(())
        })
    }
}

impl Session for Polling {
    async fn serve<S>(&mut self, stream: &mut S, context: &Context) -> Ending
    where
        S: AsyncRead + AsyncWrite + Unpin + Send,
    {
        let failure = match self.carrier {
            Carrier::Rtu { pause } => {
                let slowest = self.inputs.iter().map(|input| input.patience.longest_reply);
                let longest_reply = slowest.max().unwrap_or_default();
                let line = SerialLine::new(stream, context, pause, longest_reply);
                self.poll(line, context).await
            }
            Carrier::Tcp { pause } => {
                let connection = Connection::new(stream, context, pause);
                self.poll(connection, context).await
            }
        };
        match failure {
            Failure::Stopped => Ending::Stopped,
            Failure::Lost(why) => Ending::Lost(why),
            // Polling goes on after it.
            Failure::Reply(error) => Ending::Lost(error.to_string()),
        }
    }
}

impl Polling {
    /// Asks on and on, until the port is lost or the adapter is told to stop.
    async fn poll<B: Bus>(&mut self, bus: B, context: &Context) -> Failure {
        let start = Instant::now();
        let inputs = self.inputs.iter();
        let mut round = Round {
            bus,
            context,
            start,
            schedule: Schedule::new(inputs.map(|input| (input.request.device, input.period))),
            silent_after: self.silent_after,
            numbered: matches!(self.carrier, Carrier::Tcp { .. }),
            heard: start,
            replied: start,
        };
        loop {
            match round.turn(&mut self.inputs).await {
                Ok(()) | Err(Failure::Reply(_)) => {}
                Err(failure) => return failure,
            }
        }
    }
}

/// The state of polling over one opening of the port.
struct Round<'a, B> {
    bus: B,
    context: &'a Context,
    start: Instant,
    schedule: Schedule,
    silent_after: Duration,
    /// Whether a connection may be dead without a word: one over TCP.
    numbered: bool,
    /// When a reply was last of use.
    heard: Instant,
    /// When any device last replied, be it to refuse.
    replied: Instant,
}

impl<B: Bus> Round<'_, B> {
    /// Waits for the next input's turn, asks, and takes the answer.
    async fn turn(&mut self, inputs: &mut [Input]) -> Result<(), Failure> {
        self.bus.settle().await?;
        let next = self.schedule.next();
        let Some((index, input, due)) =
            next.and_then(|(index, due)| Some((index, inputs.get_mut(index)?, due)))
        else {
            return Err(Failure::Lost("there is no input to ask".to_owned()));
        };
        self.wait(self.start + due).await?;
        let asked = self.start.elapsed();
        self.schedule.asked(index, asked);
        match self.bus.ask(input.request, input.patience).await {
            Ok(answer) => {
                self.replied = Instant::now();
                self.schedule.answered(index);
                self.take(input, &answer).await
            }
            Err(Failure::Reply(error)) => {
                self.failed(input, error).await?;
                let now = self.start.elapsed();
                self.schedule.failed(index, asked, now);
                Ok(())
            }
            Err(failure) => Err(failure),
        }
    }

    /// Waits, and notices silence meanwhile. Looks at the port at least once.
    async fn wait(&mut self, due: Instant) -> Result<(), Failure> {
        loop {
            let silence = self.heard + self.silent_after;
            // Once silent there is nothing more to notice.
            let wake = if silence > Instant::now() {
                due.min(silence)
            } else {
                due
            };
            self.bus.listen_until(wake).await?;
            self.judge();
            if Instant::now() >= due {
                return Ok(());
            }
        }
    }

    async fn take(&mut self, input: &mut Input, answer: &Answer) -> Result<(), Failure> {
        match input.sample(&answer.registers, answer.at) {
            Ok(sample) => {
                if let Some(sample) = sample {
                    let emitted = self.context.emit(sample, answer.at).await;
                    emitted.map_err(|_| Failure::Stopped)?;
                }
                self.heard = Instant::now();
            }
            Err(error) => {
                let why = format!("{}: {}", input.title, error.why);
                self.context.health.bad(&why, answer.at);
                self.judge();
            }
        }
        Ok(())
    }

    /// A request was left without a usable reply.
    async fn failed(&mut self, input: &Input, error: ReplyError) -> Result<(), Failure> {
        let context = self.context;
        context.health.bad(&error.to_string(), context.now());
        // A refusal, too, shows that somebody is at the other end: a new connection would not help.
        if !matches!(error, ReplyError::Silence { .. }) {
            self.replied = Instant::now();
        }
        self.judge();
        let late = self.bus.settle().await?;
        if late > 0 && matches!(error, ReplyError::Silence { .. }) {
            let why = format!(
                "device {} replied later than {} ms, and the reply was thrown away: raise reply_timeout_ms",
                input.request.device,
                input.patience.reply_timeout.as_millis()
            );
            context.health.error(&why, context.now());
        }
        self.judge();
        if self.numbered && self.replied.elapsed() >= self.silent_after {
            return Err(Failure::Lost(format!("{error}; connecting anew")));
        }
        Ok(())
    }

    /// Falls silent if the last usable reply is too long ago.
    fn judge(&self) {
        if self.heard.elapsed() >= self.silent_after {
            let last = self.context.health.vitals().last_error;
            self.context
                .silent(last.as_deref().unwrap_or("no reply yet"));
        }
    }
}
