//! The adapter: asks at a period and hands over what was answered.

use std::time::Duration;

use tokio::time::Instant;
use trisect_kit::ports::{Ending, Port, Session, keep_open};
use trisect_kit::{Adapter, BadFrame, Context, Description, Running};
use trisect_measure::{Amount, Flags, Function, Sample, Unit};

use crate::line::{Answer, Failure, Line, Timing};
use crate::{ReplyError, Request, WordOrder};

pub(crate) struct TransducerAdapter {
    pub description: Description,
    pub port: Port,
    pub polling: Polling,
}

/// What is asked, how often, and what the answer means.
pub(crate) struct Polling {
    pub request: Request,
    pub order: WordOrder,
    pub function: Function,
    pub unit: Unit,
    pub scale: f64,
    pub offset: f64,
    pub span: Option<f64>,
    pub channel: u16,
    pub period: Duration,
    pub silent_after: Duration,
    pub timing: Timing,
}

impl Adapter for TransducerAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            keep_open(&self.port, &mut self.polling, &context).await;
            Ok(())
        })
    }
}

impl Session for Polling {
    async fn serve<S>(&mut self, stream: &mut S, context: &Context) -> Ending
    where
        S: tokio::io::AsyncRead + tokio::io::AsyncWrite + Unpin + Send,
    {
        let mut line = Line::new(stream, context, self.timing);
        let mut heard = Instant::now();
        loop {
            let asked = Instant::now();
            let turn = async {
                line.settle().await?;
                match line.ask(self.request).await {
                    Ok(answer) => self.take(answer, &mut heard, context).await?,
                    Err(Failure::Reply(error)) => {
                        context.health.bad(&error.to_string(), context.now());
                        self.judge(heard, context);
                        let late = line.settle().await?;
                        self.hint(error, late, context);
                        self.judge(heard, context);
                    }
                    Err(failure) => return Err(failure),
                }
                line.listen_until(asked + self.period).await
            };
            match turn.await {
                Ok(_) | Err(Failure::Reply(_)) => {}
                Err(Failure::Stopped) => return Ending::Stopped,
                Err(Failure::Lost(why)) => return Ending::Lost(why),
            }
        }
    }
}

impl Polling {
    async fn take(
        &self,
        answer: Answer,
        heard: &mut Instant,
        context: &Context,
    ) -> Result<(), Failure> {
        match self.sample(&answer.registers) {
            Ok(sample) => {
                context
                    .emit(sample, answer.at)
                    .await
                    .map_err(|_| Failure::Stopped)?;
                *heard = Instant::now();
            }
            Err(error) => {
                context.health.bad(&error.to_string(), answer.at);
                self.judge(*heard, context);
            }
        }
        Ok(())
    }

    fn sample(&self, registers: &[u16]) -> Result<Sample, BadFrame> {
        let registers = registers
            .try_into()
            .map_err(|_| BadFrame::new("not two registers"))?;
        let raw = self.order.float(registers);
        if !raw.is_finite() {
            return Err(BadFrame::new(format!(
                "the float is {raw}: the sensor may be broken, or the word order wrong"
            )));
        }
        // By way of its shortest decimal: 5.3 is to read 5.3 and not
        // 5.300000190734863, and either is what the device may have meant.
        let raw = raw.to_string().parse().unwrap_or(f64::from(raw));
        let value = self.unit.to_si(raw * self.scale + self.offset);
        if !value.is_finite() {
            return Err(BadFrame::new("the scaled value is beyond all numbers"));
        }
        Ok(Sample {
            channel: self.channel,
            function: self.function,
            amount: Amount::Exactly(value),
            digit: None,
            span: self.span,
            coupling: None,
            flags: Flags::empty(),
        })
    }

    /// Falls silent if the last valid reply is too long ago.
    fn judge(&self, heard: Instant, context: &Context) {
        if heard.elapsed() < self.silent_after {
            return;
        }
        let last = context.health.vitals().last_error.unwrap_or_default();
        context.silent(&last);
    }

    /// Bytes after a silence were the reply, too late: say so.
    fn hint(&self, error: ReplyError, late: usize, context: &Context) {
        if late > 0 && matches!(error, ReplyError::Silence { .. }) {
            let why = format!(
                "device {} replied later than {} ms, and the reply was thrown away: raise reply_timeout_ms",
                self.request.device,
                self.timing.reply_timeout.as_millis()
            );
            context.health.error(&why, context.now());
        }
    }
}
