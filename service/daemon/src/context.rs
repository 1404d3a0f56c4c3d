//! The context of a call: what the methods reach.

use std::sync::atomic::AtomicUsize;
use std::sync::{Arc, PoisonError, RwLock};

use tokio::sync::{Mutex, Semaphore};
use trisect_bay::BayHandle;
use trisect_bay::catalog::Catalog;
use trisect_bay::clock::BayClock;
use trisect_bay::instruments::Plugins;
use trisect_journal::Journal;
use trisect_webhooks::Deliveries;
use trisect_wire::serve::Publisher;
use trisect_wire::table::InstrumentWatch;
use trisect_wire::types::{About, RulesetName, Time};
use trisect_wire::{ErrorKind, WireError};

use crate::config::AttachSettings;
use crate::convert;
use crate::publish::BayPublisher;

/// What the methods reach: the bays, the rule sets and the journal.
pub(crate) struct Context {
    pub(crate) bays: RwLock<Vec<ServedBay>>,
    pub(crate) catalog: Arc<Catalog>,
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) all_instruments: Publisher<InstrumentWatch>,
    pub(crate) started: String,
    pub(crate) clock: BayClock,
    pub(crate) plugins: Plugins,
    /// What instruments that are attached over the wire may do.
    pub(crate) attach: AttachSettings,
    /// Who is told what happens.
    pub(crate) deliveries: Deliveries,
    /// One installs at a time, so that journal and catalog agree on the order.
    pub(crate) installing: Mutex<()>,
    /// Examinations, proofs and trials at once: each keeps a processor busy.
    pub(crate) computations: Arc<Semaphore>,
    /// Bytes of one reply, as the configuration has it now.
    pub(crate) reply_bytes: AtomicUsize,
}

/// A bay that is served, and where its subscribers are told.
pub(crate) struct ServedBay {
    pub(crate) handle: BayHandle,
    pub(crate) publisher: BayPublisher,
}

impl Context {
    /// The bay of a name.
    pub(crate) fn bay(&self, name: &str) -> Result<BayHandle, WireError> {
        self.served(name, |bay| bay.handle.clone())
    }

    /// Where the subscribers of a bay are told.
    pub(crate) fn publisher(&self, name: &str) -> Result<BayPublisher, WireError> {
        self.served(name, |bay| bay.publisher.clone())
    }

    fn served<T>(&self, name: &str, take: impl Fn(&ServedBay) -> T) -> Result<T, WireError> {
        let bays = self.bays.read().unwrap_or_else(PoisonError::into_inner);
        let bay = bays.iter().find(|bay| bay.handle.name() == name);
        bay.map(take).ok_or_else(|| {
            ErrorKind::UnknownBay
                .because(format!("there is no bay `{name}`"))
                .at("bay")
                .hint_nearest(name, bays.iter().map(|bay| bay.handle.name()))
        })
    }

    /// All bays there are now.
    pub(crate) fn bays(&self) -> Vec<BayHandle> {
        let bays = self.bays.read().unwrap_or_else(PoisonError::into_inner);
        bays.iter().map(|bay| bay.handle.clone()).collect()
    }

    pub(crate) fn about(&self) -> About {
        About {
            name: "trisectd".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            started: Time(self.started.clone()),
            adapters: trisect_bay::instruments::about()
                .into_iter()
                .map(convert::adapter)
                .collect(),
            rulesets: self
                .catalog
                .ids()
                .into_iter()
                .map(|ruleset| RulesetName { ruleset })
                .collect(),
        }
    }
}
