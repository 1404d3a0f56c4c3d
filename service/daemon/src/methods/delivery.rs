//! `delivery.*`: what is on its way to webhooks, and what was given up.

use jiff::Timestamp;
use jsonrpsee::RpcModule;
use trisect_webhooks::{event_id, event_kind};
use trisect_wire::WireError;
use trisect_wire::serve::register;
use trisect_wire::table::{DeliveryList, DeliveryResend};
use trisect_wire::types::{
    Deliveries, DeliveriesResent, Delivery, DeliveryListParams, DeliveryResendParams, Time,
};

use super::page::Paging;
use crate::context::Context;
use crate::convert::refusal;

const PAGING: Paging = Paging {
    usual: 100,
    most: 10_000,
    items: "deliveries",
    hint: "ask for the next page with `after`",
};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<DeliveryList, _, _, _>(module, |context, params| async move {
        context.deliveries(params).await
    });
    register::<DeliveryResend, _, _, _>(module, |context, params| async move {
        context.resend(params).await
    });
}

impl Context {
    async fn deliveries(&self, params: DeliveryListParams) -> Result<Deliveries, WireError> {
        if let Some(name) = &params.webhook {
            self.webhook(name)?;
        }
        let limit = PAGING.limit(params.limit)?;
        let after = i64::try_from(params.after.unwrap_or(0)).unwrap_or(i64::MAX);
        let outbox = &self.deliveries.outbox;
        // One more than asked for tells whether there are more.
        let found = outbox
            .deliveries(params.webhook.as_deref(), !params.waiting, after, limit + 1)
            .await;
        let mut found = found.map_err(|error| refusal(&error))?;
        let mut more = found.len() > limit;
        found.truncate(limit);
        let deliveries = found.into_iter().map(|one| Delivery {
            delivery: one.seq.unsigned_abs(),
            id: event_id(&one),
            event: event_kind(&one),
            // Deliveries never tried are due from the beginning of time: at once.
            due: Timestamp::from_millisecond(one.due)
                .ok()
                .filter(|_| !one.dead)
                .map(|due| {
                    if one.due == 0 {
                        Time(one.posted.clone())
                    } else {
                        Time(due.to_string())
                    }
                }),
            webhook: one.webhook,
            subject: one.lane,
            posted: Time(one.posted),
            attempts: u64::from(one.attempts),
            note: one.why,
        });
        let mut deliveries = deliveries.collect();
        more |= self.fit(&mut deliveries, Clone::clone)?;
        Ok(Deliveries { deliveries, more })
    }

    async fn resend(&self, params: DeliveryResendParams) -> Result<DeliveriesResent, WireError> {
        let webhook = self.webhook(&params.webhook)?;
        let places = |seqs: Vec<u64>| {
            seqs.into_iter()
                .filter_map(|seq| i64::try_from(seq).ok())
                .collect()
        };
        webhook.allow_retries();
        let revived = self
            .deliveries
            .outbox
            .revive(&webhook.name, params.deliveries.map(places))
            .await;
        let deliveries = revived.map_err(|error| refusal(&error))?;
        Ok(DeliveriesResent { deliveries })
    }
}
