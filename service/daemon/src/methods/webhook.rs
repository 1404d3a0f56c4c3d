//! `webhook.*`.

use std::sync::Arc;

use jsonrpsee::RpcModule;
use trisect_webhooks::Webhook;
use trisect_wire::serve::register;
use trisect_wire::table::WebhookList;
use trisect_wire::types::{self as wire, Webhooks};
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert::refusal;

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<WebhookList, _, _, _>(module, |context, _| async move { context.webhooks().await });
}

impl Context {
    pub(super) fn webhook(&self, name: &str) -> Result<Arc<Webhook>, WireError> {
        let all = self.deliveries.webhooks();
        let found = all.iter().find(|one| one.name == name);
        found.cloned().ok_or_else(|| {
            ErrorKind::UnknownWebhook
                .because(format!("there is no webhook `{name}`"))
                .at("webhook")
                .hint_nearest(name, all.iter().map(|one| one.name.as_str()))
        })
    }

    async fn webhooks(&self) -> Result<Webhooks, WireError> {
        let mut webhooks = Vec::new();
        for one in self.deliveries.webhooks().iter() {
            let counts = self.deliveries.outbox.counts(&one.name).await;
            let counts = counts.map_err(|error| refusal(&error))?;
            webhooks.push(wire::Webhook {
                webhook: one.name.clone(),
                url: one.url.to_string(),
                about: one.about.clone(),
                waiting: counts.waiting,
                dead: counts.dead,
                gone: one.is_gone(),
                note: one.failure(),
            });
        }
        Ok(Webhooks { webhooks })
    }
}
