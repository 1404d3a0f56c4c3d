//! Asks again and again, and says what was answered.

use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use http::HeaderMap;
use http::header::{
    ACCEPT, AUTHORIZATION, ETAG, HeaderName, HeaderValue, IF_MODIFIED_SINCE, IF_NONE_MATCH,
    LAST_MODIFIED,
};
use jiff::Timestamp;
use serde_json::Value;
use tokio::time::Instant;
use trisect_kit::ports::back_off_between;
use trisect_kit::{Adapter, Context, Description, Running, State, Stopped, read_text};

use crate::reading::{Found, Place};
use crate::settings::Credentials;
use crate::{CallError, HttpClient, HttpRequest, HttpResponse, Tls, Url, retry_after};

/// The longest answer that is taken.
const LONGEST: usize = 1 << 20;
/// The longest file of credentials that is taken.
const LONGEST_SECRET: u64 = 64 << 10;
/// Waits after a failure: the first, and the longest.
const FIRST: Duration = Duration::from_millis(100);
const LONGEST_WAIT: Duration = Duration::from_secs(10);
/// A `Retry-After` beyond this is cut: the bay would be blind for a job.
const LONGEST_ASKED: Duration = Duration::from_secs(600);

/// An instrument that answers with JSON over HTTP. [`crate::HttpSettings`] makes one.
#[derive(Debug)]
pub struct HttpAdapter {
    pub(crate) description: Description,
    pub(crate) url: Url,
    pub(crate) tls: Tls,
    pub(crate) places: Vec<Place>,
    pub(crate) credentials: Option<Credentials>,
    pub(crate) every: Duration,
    pub(crate) timeout: Duration,
    pub(crate) silent_after: Duration,
}

impl Adapter for HttpAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            context.health.enter(State::Starting, context.now());
            let client = HttpClient::new(
                self.url.clone(),
                self.tls.clone(),
                context.networks.clone(),
                self.timeout,
                LONGEST,
            );
            let mut poller = Poller {
                settings: self,
                client,
                validators: HeaderMap::new(),
                last: Vec::new(),
                times: vec![None; self.places.len()],
                received: 0,
                heard: Instant::now(),
            };
            // Ends only when it is told to stop.
            let Err(Stopped) = poller.poll(&context).await;
            context.health.enter(State::Stopped, context.now());
            Ok(())
        })
    }
}

/// A question that was not answered with readings.
struct Failed {
    why: String,
    /// How long the answer asks to wait.
    wait: Option<Duration>,
    /// Nobody is there: silence at once.
    gone: bool,
}

impl Failed {
    fn of(why: String) -> Failed {
        Failed {
            why,
            wait: None,
            gone: false,
        }
    }
}

struct Poller<'a> {
    settings: &'a HttpAdapter,
    client: HttpClient,
    /// What a conditional request says of the answer it knows (RFC 9110, 13.1).
    validators: HeaderMap,
    /// The readings of the newest answer.
    last: Vec<Found>,
    /// By place, the time of its newest reading.
    times: Vec<Option<String>>,
    /// Bytes that had come in when the last answer was understood.
    received: u64,
    /// When a reading was last understood.
    heard: Instant,
}

impl Poller<'_> {
    async fn poll(&mut self, context: &Context) -> Result<std::convert::Infallible, Stopped> {
        // So that instruments that failed together, a switch without power say, do not come back together.
        let seed = u64::from(self.settings.url.port) ^ self.settings.url.host.len() as u64;
        let mut failures = 0;
        loop {
            // From question to question, so that a slow answer does not make the readings rarer.
            let next = Instant::now() + self.settings.every;
            let asked = tokio::select! {
                biased;
                () = context.stop.cancelled() => return Err(Stopped),
                asked = self.ask() => asked,
            };
            match asked {
                Ok(answer) => match self.read_answer(&answer, context).await? {
                    Ok(()) => {
                        failures = 0;
                        context
                            .pause(next.saturating_duration_since(Instant::now()))
                            .await?;
                        continue;
                    }
                    Err(failed) => self.failed(&failed, failures, seed, context).await?,
                },
                Err(failed) => self.failed(&failed, failures, seed, context).await?,
            }
            failures = failures.saturating_add(1);
        }
    }

    async fn failed(
        &mut self,
        failed: &Failed,
        failures: u32,
        seed: u64,
        context: &Context,
    ) -> Result<(), Stopped> {
        let at = context.now();
        let came = self.client.received();
        // What came in since the last answer that was understood is what could not be read.
        let bytes = came - std::mem::replace(&mut self.received, came);
        context.health.lost(1, bytes, &failed.why, at);
        if failed.gone || self.heard.elapsed() >= self.settings.silent_after {
            context.silent(&failed.why);
        }
        let wait = back_off_between(failures, seed, FIRST, LONGEST_WAIT);
        let asked = failed.wait.unwrap_or_default().min(LONGEST_ASKED);
        self.pause(wait.max(asked), context).await
    }

    /// Waits, and falls silent on the way when it is time to.
    async fn pause(&mut self, wait: Duration, context: &Context) -> Result<(), Stopped> {
        let left = self
            .settings
            .silent_after
            .saturating_sub(self.heard.elapsed());
        if left < wait && context.health.vitals().state != State::Silent {
            context.pause(left).await?;
            let why = context.health.vitals().last_error;
            context.silent(&why.unwrap_or_else(|| "no readings".to_owned()));
            return context.pause(wait - left).await;
        }
        context.pause(wait).await
    }

    async fn ask(&mut self) -> Result<HttpResponse, Failed> {
        let mut headers = self.validators.clone();
        headers.insert(ACCEPT, HeaderValue::from_static("application/json"));
        if let Some(credentials) = &self.settings.credentials {
            let said = credentials.header().map_err(Failed::of)?;
            headers.insert(AUTHORIZATION, said);
        }
        let answer = self.client.call(&HttpRequest::get(headers)).await;
        answer.map_err(|error| Failed {
            // Late or too long, somebody is there all the same.
            gone: !matches!(error, CallError::Late { .. } | CallError::TooLong { .. }),
            ..Failed::of(error.to_string())
        })
    }

    async fn read_answer(
        &mut self,
        answer: &HttpResponse,
        context: &Context,
    ) -> Result<Result<(), Failed>, Stopped> {
        let at = context.now();
        match answer.status {
            200 => match self.read_document(answer) {
                // All of them or none: half an answer would be a machine of two moments.
                Ok(found) => self.last = found,
                Err(failed) => return Ok(Err(failed)),
            },
            // What it answered last still holds: only where it was asked so, or there would be nothing to hold.
            304 if !self.validators.is_empty() => {}
            _ => return Ok(Err(self.explain_status(answer))),
        }
        self.received = self.client.received();
        let mut fresh = false;
        for (index, found) in self.last.iter().enumerate() {
            let Some(newest) = self.times.get_mut(index) else {
                continue;
            };
            // The same time once more is the same reading once more.
            if found.time.is_some() && *newest == found.time {
                continue;
            }
            newest.clone_from(&found.time);
            fresh = true;
            context.emit(found.sample, at).await?;
        }
        if fresh {
            self.heard = Instant::now();
        } else if self.heard.elapsed() >= self.settings.silent_after {
            context.silent(&format!(
                "{}: the time of its readings stands still",
                self.settings.url
            ));
        }
        Ok(Ok(()))
    }

    fn read_document(&mut self, answer: &HttpResponse) -> Result<Vec<Found>, Failed> {
        let url = &self.settings.url;
        let document: Value = serde_json::from_slice(&answer.body).map_err(|error| {
            Failed::of(format!(
                "{url} answered what is no JSON, at line {} column {}",
                error.line(),
                error.column()
            ))
        })?;
        let found = self
            .settings
            .places
            .iter()
            .map(|place| place.read(&document));
        let found: Result<Vec<_>, String> = found.collect();
        let found = found.map_err(|why| Failed::of(format!("{url}: {why}")))?;
        // Of the old answer nothing holds any more, also where the new one names none.
        self.validators.clear();
        for (says, asks) in [(ETAG, IF_NONE_MATCH), (LAST_MODIFIED, IF_MODIFIED_SINCE)] {
            self.remember(answer, &says, asks);
        }
        Ok(found)
    }

    fn remember(&mut self, answer: &HttpResponse, says: &HeaderName, asks: HeaderName) {
        if let Some(said) = answer.headers.get(says) {
            self.validators.insert(asks, said.clone());
        }
    }

    /// What is to be said of an answer without readings.
    fn explain_status(&self, answer: &HttpResponse) -> Failed {
        let (url, status) = (&self.settings.url, answer.status);
        let why = match status {
            // Where to is not said: whoever reads it may be somebody else than who may see that answer.
            300..=399 => {
                format!("{url} redirects to another address ({status}): write that one as `url`")
            }
            401 | 403 => {
                format!("{url} refuses the credentials ({status}): are they there, and right?")
            }
            404 => format!("{url} is not there (404): is the path right?"),
            429 => format!("{url} is asked too often (429): raise `every`"),
            _ => format!("{url} answered {status}"),
        };
        Failed {
            wait: retry_after(&answer.headers, Timestamp::now()),
            ..Failed::of(why)
        }
    }
}

impl Credentials {
    /// What the `Authorization` header says; read anew each time, so that a secret can be changed.
    fn header(&self) -> Result<HeaderValue, String> {
        let secret = |path: &std::path::Path| {
            let read = read_text(path, LONGEST_SECRET);
            let read = read.map_err(|error| {
                format!("cannot read the credentials in {}: {error}", path.display())
            })?;
            Ok::<_, String>(read.trim().to_owned())
        };
        let text = match self {
            Credentials::Basic {
                user,
                password_file,
            } => {
                let password = secret(password_file)?;
                format!("Basic {}", STANDARD.encode(format!("{user}:{password}")))
            }
            Credentials::BearerFile(path) => format!("Bearer {}", secret(path)?),
        };
        let mut value = HeaderValue::from_str(&text)
            .map_err(|_| "the credentials hold what a header cannot".to_owned())?;
        value.set_sensitive(true);
        Ok(value)
    }
}
