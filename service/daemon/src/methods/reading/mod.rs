//! `reading.*`.

mod outside;
mod senml;

use jsonrpsee::RpcModule;
use serde::Serialize;
use trisect_bay::{Beyond, EnterRequest, SubmitRequest, SubmittedReading};
use trisect_journal::{ReadingFilter, StoredEvent};
use trisect_wire::serve::{register, register_watch};
use trisect_wire::table::{ReadingEnter, ReadingHistory, ReadingSubmit, ReadingWatch};
use trisect_wire::types::{
    self as wire, HistoryFormat, ReadingHistoryParams, ReadingSubmitParams, ReadingSubmitted,
    Readings, Time,
};
use trisect_wire::{ErrorKind, WireError};

use super::page::Paging;
use crate::context::Context;
use crate::convert::{self, entered_reading, refusal, refused, stored_reading};
use trisect_bay::replay::rule_set;

const PAGING: Paging = Paging {
    usual: 1000,
    most: 10_000,
    items: "readings",
    hint: "ask for the next page with `after_seq`",
};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<ReadingSubmit, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let request = submission(params);
        let submitted = bay.ask(move |bay| Box::pin(bay.submit(request)));
        let submitted = submitted.await.map_err(refused)?;
        Ok(ReadingSubmitted {
            accepted: submitted.accepted,
            repeated: submitted.repeated,
        })
    });
    register::<ReadingEnter, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let request = EnterRequest {
            point: params.point,
            value: params.value,
            uncertainty: params.uncertainty,
            phase: params.phase.map(convert::phase_said),
            by: params.by,
            instrument: params.instrument,
            key: params.key,
        };
        let entered = bay.ask(move |bay| Box::pin(bay.enter(request)));
        entered_reading(&entered.await.map_err(refused)?)
    });
    register::<ReadingHistory, _, _, _>(module, |context, params| async move {
        context.history(params).await
    });
    register_watch::<ReadingWatch, _, _, _>(module, |context, params| async move {
        Ok(context.publisher(&params.bay)?.readings.feed())
    });
}

/// A submission as the bay takes it.
fn submission(params: ReadingSubmitParams) -> SubmitRequest {
    let readings = params.readings.map(|readings| {
        let readings = readings.into_iter().map(|reading| SubmittedReading {
            point: reading.point,
            value: reading.value,
            unit: reading.unit,
            uncertainty: reading.uncertainty,
            beyond: reading.beyond.map(|beyond| match beyond {
                wire::Beyond::Above => Beyond::Above,
                wire::Beyond::Below => Beyond::Below,
            }),
            time: reading.time.map(|time| time.0),
        });
        readings.collect()
    });
    SubmitRequest {
        readings,
        senml: params.senml,
        key: params.key,
    }
}

/// Stored readings, and whether there are more after them.
pub(super) struct Page {
    pub(super) events: Vec<StoredEvent>,
    pub(super) more: bool,
}

/// A time that was asked for, in microseconds since 1970.
pub(super) fn time_asked(time: Option<&Time>, field: &str) -> Result<Option<i64>, WireError> {
    let Some(Time(text)) = time else {
        return Ok(None);
    };
    let parsed: Result<jiff::Timestamp, _> = text.parse();
    parsed.map(|time| Some(time.as_microsecond())).map_err(|_| {
        ErrorKind::InvalidTime
            .because(format!("`{text}` is no time"))
            .at(field)
            .hint("write RFC 3339, such as 2026-11-24T07:31:05Z")
    })
}

impl Context {
    async fn history(&self, params: ReadingHistoryParams) -> Result<Readings, WireError> {
        let limit = PAGING.limit(params.limit)?;
        if params.outside {
            return self.outside(params, limit).await;
        }
        for (given, field) in [
            (params.instrument.is_some(), "instrument"),
            (params.channel.is_some(), "channel"),
            (params.quantity.is_some(), "quantity"),
        ] {
            if given {
                return Err(ErrorKind::InvalidParams
                    .because(format!("`{field}` chooses among readings outside any job"))
                    .at(field)
                    .hint("choose a job's readings by `point`, or ask with `outside`"));
            }
        }
        let job = self.job_meant(params.job, params.bay.as_deref()).await?;
        let kept = self.kept_job(&job).await?;
        let rules = rule_set(&*self.journal, &self.catalog, &kept.opened.rule_set)
            .await
            .map_err(refused)?;
        let rules = rules.model.rules();
        if let Some(point) = &params.point
            && rules.point_index(point).is_none()
        {
            return Err(ErrorKind::UnknownPoint
                .because(format!("there is no test point `{point}`"))
                .at("point")
                .hint_nearest(point, rules.point_ids()));
        }
        let filter = ReadingFilter {
            job: Some(job),
            point: params.point,
            from: time_asked(params.from.as_ref(), "from")?,
            until: time_asked(params.until.as_ref(), "until")?,
            ..ReadingFilter::default()
        };
        let shown = |event: &StoredEvent| stored_reading(rules, event);
        let page = self.page(filter, params.after_seq, limit, shown).await?;
        let Page { events, more } = page;
        let as_senml = params.format == Some(HistoryFormat::Senml);
        let readings = events.iter().filter(|_| !as_senml);
        Ok(Readings {
            more,
            readings: readings.filter_map(|e| stored_reading(rules, e)).collect(),
            outside: None,
            senml: as_senml
                .then(|| {
                    senml::pack(&events, |point| {
                        let point = rules.point_index(point)?;
                        Some(rules.point_unit(point).quantity())
                    })
                })
                .transpose()?,
            last_seq: events.last().map(|event| event.seq.unsigned_abs()),
        })
    }

    /// A page of what a filter lets through, as long as a reply has room for it as it is shown. As SenML it is shorter.
    pub(super) async fn page<S: Serialize>(
        &self,
        filter: ReadingFilter,
        after_seq: Option<u64>,
        limit: usize,
        shown: impl Fn(&StoredEvent) -> S,
    ) -> Result<Page, WireError> {
        let after = i64::try_from(after_seq.unwrap_or(0)).unwrap_or(i64::MAX);
        // One more than asked for tells whether there are more.
        let page = self.journal.readings(filter, after, limit + 1).await;
        let mut events = page.map_err(|error| refusal(&error))?;
        let mut more = events.len() > limit;
        events.truncate(limit);
        more |= self.fit(&mut events, shown)?;
        Ok(Page { events, more })
    }

    /// The job of an id, or the open job of a bay: one of the two is given.
    pub(in crate::methods) async fn job_meant(
        &self,
        job: Option<String>,
        bay: Option<&str>,
    ) -> Result<String, WireError> {
        match (job, bay) {
            (Some(job), None) => Ok(job),
            (None, Some(bay)) => self.open_job_of(bay).await,
            _ => Err(ErrorKind::InvalidParams
                .because("what is asked for is of a job or of a bay's open job")
                .at("job")
                .hint("give one of `job` and `bay`")),
        }
    }

    async fn open_job_of(&self, bay: &str) -> Result<String, WireError> {
        let bay = self.bay(bay)?;
        bay.ask(|bay| Box::pin(async move { bay.open_job_id() }))
            .await
            .map_err(refused)
    }
}
