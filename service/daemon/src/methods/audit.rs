//! `audit.*`.

use jsonrpsee::RpcModule;
use trisect_journal::AuditFilter;
use trisect_wire::WireError;
use trisect_wire::serve::register;
use trisect_wire::table::AuditList;
use trisect_wire::types::{AuditEntry, AuditListParams, AuditTrail};

use super::page::Paging;
use super::time_of;
use crate::context::Context;
use crate::convert::refusal;

const PAGING: Paging = Paging {
    usual: 100,
    most: 1000,
    items: "entries",
    hint: "ask for the next page with `before`",
};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<AuditList, _, _, _>(module, |context, params| async move {
        context.audit_trail(params).await
    });
}

impl Context {
    async fn audit_trail(&self, params: AuditListParams) -> Result<AuditTrail, WireError> {
        let wanted = PAGING.limit(params.limit)?;
        let filter = AuditFilter {
            who: params.who,
            subject: params.subject,
            before: params
                .before
                .map(|seq| i64::try_from(seq).unwrap_or(i64::MAX)),
        };
        // One more than asked for tells whether there are more.
        let rows = self.journal.audit_trail(filter, wanted + 1).await;
        let mut rows = rows.map_err(|error| refusal(&error))?;
        let mut more = rows.len() > wanted;
        rows.truncate(wanted);
        let entries = rows.into_iter().map(|stored| {
            let row = stored.row;
            Ok(AuditEntry {
                seq: stored.seq.unsigned_abs(),
                time: time_of(row.wall)?,
                until: time_of(row.until)?,
                count: row.count,
                who: row.who,
                peer: row.peer,
                what: row.what,
                subject: row.subject,
                outcome: row.outcome,
            })
        });
        let mut entries = entries.collect::<Result<Vec<_>, WireError>>()?;
        more |= self.fit(&mut entries, Clone::clone)?;
        Ok(AuditTrail { entries, more })
    }
}
