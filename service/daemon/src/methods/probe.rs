//! `probe.*`: which channel is at which test point.

use jsonrpsee::RpcModule;
use trisect_bay::PlaceProbeRequest;
use trisect_journal::{Happened, Probe, StoredEvent};
use trisect_wire::WireError;
use trisect_wire::serve::register;
use trisect_wire::table::{ProbeLift, ProbeList, ProbePlace};
use trisect_wire::types::{Placement, Placements, Time};

use super::page::Paging;
use super::{PAGE, time_of};
use crate::context::Context;
use crate::convert::{instrument, refusal, refused};

const PAGING: Paging = Paging {
    usual: 1000,
    most: 10_000,
    items: "placements",
    hint: "ask for the next page with `after_seq`",
};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<ProbePlace, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let request = PlaceProbeRequest {
            instrument: params.instrument,
            channel: params.channel,
            point: params.point,
        };
        let placed = bay.ask(move |bay| Box::pin(bay.place(request)));
        placed.await.map(instrument).map_err(refused)
    });
    register::<ProbeLift, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let (name, channel) = (params.instrument, params.channel);
        let lifted = bay.ask(move |bay| Box::pin(async move { bay.lift(&name, &channel).await }));
        lifted.await.map(instrument).map_err(refused)
    });
    register::<ProbeList, _, _, _>(module, |context, params| async move {
        let job = context.job_meant(params.job, params.bay.as_deref()).await?;
        let limit = PAGING.limit(params.limit)?;
        context.placements(&job, params.after_seq, limit).await
    });
}

impl Context {
    async fn placements(
        &self,
        job: &str,
        after_seq: Option<u64>,
        limit: usize,
    ) -> Result<Placements, WireError> {
        let kept = self.kept_job(job).await?;
        let (mut placements, mut after) = (Vec::new(), 0);
        loop {
            let page = self.journal.events(job, after, PAGE).await;
            let page = page.map_err(|error| refusal(&error))?;
            for event in &page {
                after = event.seq;
                follow(&mut placements, event)?;
            }
            if page.len() < PAGE {
                break;
            }
        }
        // A job that is closed has no probes placed any more.
        for placement in placements.iter_mut().filter(|p| p.until.is_none()) {
            placement.until = kept.closed_at.clone().map(Time);
        }
        // When one ends is in what comes after it, so that all are followed whichever are asked for.
        placements.retain(|placement| after_seq.is_none_or(|after| placement.seq > after));
        let mut more = placements.len() > limit;
        placements.truncate(limit);
        more |= self.fit(&mut placements, Clone::clone)?;
        Ok(Placements { placements, more })
    }
}

fn follow(placements: &mut Vec<Placement>, event: &StoredEvent) -> Result<(), WireError> {
    let (Happened::Window(probe) | Happened::Lifted(probe)) = &event.row.what else {
        return Ok(());
    };
    let Probe {
        point,
        instrument: Some(instrument),
        channel: Some(channel),
    } = probe
    else {
        // Placed by an older service, which did not say what.
        return Ok(());
    };
    let (time, channel) = (time_of(event.row.wall)?, channel.to_string());
    let before = placements
        .iter_mut()
        .filter(|p| p.until.is_none() && *p.instrument == **instrument && p.channel == channel);
    before.for_each(|placement| placement.until = Some(time.clone()));
    if matches!(event.row.what, Happened::Window(_)) {
        placements.push(Placement {
            seq: event.seq.unsigned_abs(),
            instrument: instrument.to_string(),
            channel,
            point: point.to_string(),
            from: time,
            until: None,
        });
    }
    Ok(())
}
