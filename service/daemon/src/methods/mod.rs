//! The methods of `trisect-wire`, answered: one file a noun.

mod audit;
mod bay;
mod instrument;
mod job;
mod outside;
mod port;
mod probe;
mod reading;
mod replay;
mod ruleset;
mod webhook;

use std::sync::{Arc, PoisonError, RwLock};

use jsonrpsee::RpcModule;
use tokio::sync::{Mutex, Semaphore};
use trisect_wire::serve::{Publisher, register, register_discover};
use trisect_wire::table::{InstrumentWatch, ServiceAbout};
use trisect_wire::types::{About, RulesetName, Time};
use trisect_wire::{ErrorKind, WireError};
use trisect_journal::Journal;

use crate::bay::BayHandle;
use crate::catalog::Catalog;
use crate::clock::BayClock;
use crate::instruments::Plugins;
use crate::webhooks::Office;

/// What the methods reach: the bays, the rule sets and the journal.
pub(crate) struct Hall {
    pub(crate) bays: RwLock<Vec<BayHandle>>,
    pub(crate) catalog: Arc<Catalog>,
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) all_instruments: Publisher<InstrumentWatch>,
    pub(crate) started: String,
    pub(crate) clock: BayClock,
    pub(crate) plugins: Plugins,
    /// Who is told what happens.
    pub(crate) office: Office,
    /// One installs at a time, so that journal and catalog agree on the order.
    pub(crate) installing: Mutex<()>,
    /// Examinations, proofs and trials at once: each keeps a processor busy.
    pub(crate) desks: Arc<Semaphore>,
}

impl Hall {
    /// The bay of a name.
    pub(crate) fn bay(&self, name: &str) -> Result<BayHandle, WireError> {
        let bays = self.bays.read().unwrap_or_else(PoisonError::into_inner);
        let bay = bays.iter().find(|bay| bay.name() == name);
        bay.cloned().ok_or_else(|| {
            ErrorKind::UnknownBay
                .because(format!("there is no bay `{name}`"))
                .at("bay")
                .hint_nearest(name, bays.iter().map(BayHandle::name))
        })
    }

    /// All bays there are now.
    pub(crate) fn bays(&self) -> Vec<BayHandle> {
        let bays = self.bays.read().unwrap_or_else(PoisonError::into_inner);
        bays.clone()
    }

    fn about(&self) -> About {
        About {
            name: "trisectd".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            started: Time(self.started.clone()),
            adapters: crate::instruments::about(),
            rulesets: self
                .catalog
                .ids()
                .into_iter()
                .map(|ruleset| RulesetName { ruleset })
                .collect(),
        }
    }
}

/// All methods and subscriptions, registered.
pub(crate) fn module(hall: Arc<Hall>) -> RpcModule<Hall> {
    let mut module = RpcModule::from_arc(hall);
    register::<ServiceAbout, _, _, _>(&mut module, |hall, _| async move { Ok(hall.about()) });
    register_discover(&mut module);
    audit::register_all(&mut module);
    bay::register_all(&mut module);
    instrument::register_all(&mut module);
    port::register_all(&mut module);
    probe::register_all(&mut module);
    reading::register_all(&mut module);
    job::register_all(&mut module);
    ruleset::register_all(&mut module);
    webhook::register_all(&mut module);
    module
}
