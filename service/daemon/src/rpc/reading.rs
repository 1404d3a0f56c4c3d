//! `reading.*`.

use jsonrpsee::RpcModule;
use trisect_api::serve::{register, register_watch};
use trisect_api::table::{ReadingEnter, ReadingHistory, ReadingSubmit, ReadingWatch};
use trisect_api::wire::{HistoryFormat, ReadingHistoryParams, Readings};
use trisect_api::{ErrorKind, WireError};
use trisect_journal::ReadingFilter;

use super::Hall;
use crate::bay::{refusal, stored_reading};
use crate::replay::rule_set;

/// Readings of one page, unless the caller wants fewer.
const PAGE: u32 = 1000;
/// Readings of one page at the most.
const MOST: u32 = 10_000;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<ReadingSubmit, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(bay.submit(params))).await
    });
    register::<ReadingEnter, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(bay.enter(params))).await
    });
    register::<ReadingHistory, _, _, _>(module, |hall, params| async move {
        hall.history(params).await
    });
    register_watch::<ReadingWatch, _, _, _>(module, |hall, params| async move {
        Ok(hall.bay(&params.bay)?.news().readings.feed())
    });
}

impl Hall {
    async fn history(&self, params: ReadingHistoryParams) -> Result<Readings, WireError> {
        let limit = params.limit.unwrap_or(PAGE);
        if limit == 0 || limit > MOST {
            return Err(ErrorKind::TooLarge
                .because(format!("a page has 1 to {MOST} readings"))
                .at("limit")
                .hint("ask for the next page with `after_seq`"));
        }
        let job = self.job_meant(params.job, params.bay.as_deref()).await?;
        let kept = self.kept_job(&job).await?;
        let rules = rule_set(&*self.journal, &self.catalog, &kept.opened.rule_set).await?;
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
            ..ReadingFilter::default()
        };
        let after = i64::try_from(params.after_seq.unwrap_or(0)).unwrap_or(i64::MAX);
        // One more than asked for tells whether there are more.
        let wanted = limit as usize;
        let page = self.journal.readings(filter, after, wanted + 1).await;
        let mut page = page.map_err(|error| refusal(&error))?;
        let more = page.len() > wanted;
        page.truncate(wanted);
        let last_seq = page.last().map(|event| event.seq.unsigned_abs());
        let as_senml = params.format == Some(HistoryFormat::Senml);
        let readings = page.iter().filter(|_| !as_senml);
        Ok(Readings {
            more,
            readings: readings.filter_map(|e| stored_reading(rules, e)).collect(),
            senml: as_senml
                .then(|| crate::senml::pack(rules, &page))
                .transpose()?,
            last_seq,
        })
    }

    /// The job of an id, or the open job of a bay: one of the two is given.
    pub(super) async fn job_meant(
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
        bay.ask(|bay| Box::pin(async move { Ok(bay.open_job()?.job.job.clone()) }))
            .await
    }
}
