//! `webhook.list`, `letter.list` and `letter.resend`.

use std::sync::Arc;

use jiff::Timestamp;
use jsonrpsee::RpcModule;
use trisect_api::serve::register;
use trisect_api::table::{LetterList, LetterResend, WebhookList};
use trisect_api::wire::{
    Letter, LetterListParams, LetterResendParams, Letters, LettersResent, Time, Webhooks,
};
use trisect_api::{ErrorKind, WireError, wire};

use super::Hall;
use crate::bay::refusal;
use crate::webhooks::{Webhook, event_id, event_kind};

/// Letters of one answer.
const USUAL: u32 = 100;
const MOST: u32 = 10_000;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<WebhookList, _, _, _>(module, |hall, _| async move { hall.webhooks().await });
    register::<LetterList, _, _, _>(
        module,
        |hall, params| async move { hall.letters(params).await },
    );
    register::<LetterResend, _, _, _>(
        module,
        |hall, params| async move { hall.resend(params).await },
    );
}

impl Hall {
    fn webhook(&self, name: &str) -> Result<Arc<Webhook>, WireError> {
        let all = self.office.webhooks();
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
        for one in self.office.webhooks().iter() {
            let counts = self.office.outbox.counts(&one.name).await;
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

    async fn letters(&self, params: LetterListParams) -> Result<Letters, WireError> {
        if let Some(name) = &params.webhook {
            self.webhook(name)?;
        }
        let limit = params.limit.unwrap_or(USUAL);
        if limit > MOST {
            return Err(ErrorKind::TooLarge
                .because(format!("at most {MOST} letters are listed at once"))
                .at("limit")
                .hint("ask for fewer"));
        }
        let limit = usize::try_from(limit).unwrap_or(usize::MAX);
        let outbox = &self.office.outbox;
        let found = outbox
            .letters(params.webhook.as_deref(), !params.waiting, limit)
            .await;
        let found = found.map_err(|error| refusal(&error))?;
        let letters = found.into_iter().map(|one| Letter {
            letter: one.seq.unsigned_abs(),
            id: event_id(&one),
            event: event_kind(&one),
            // Letters never tried are due from the beginning of time: at once.
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
        Ok(Letters {
            letters: letters.collect(),
        })
    }

    async fn resend(&self, params: LetterResendParams) -> Result<LettersResent, WireError> {
        let webhook = self.webhook(&params.webhook)?;
        let places = |seqs: Vec<u64>| {
            seqs.into_iter()
                .filter_map(|seq| i64::try_from(seq).ok())
                .collect()
        };
        webhook.forgive();
        let revived = self
            .office
            .outbox
            .revive(&webhook.name, params.letters.map(places))
            .await;
        let letters = revived.map_err(|error| refusal(&error))?;
        Ok(LettersResent { letters })
    }
}
