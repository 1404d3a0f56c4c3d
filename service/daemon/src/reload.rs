//! SIGHUP: a new configuration is validated as a whole, then what changed is put in place of what
//! was. Nothing changes on a mistake, and what did not change is not touched.

use std::path::Path;
use std::sync::PoisonError;

use trisect_bay::catalog::{LONGEST_FILE, Origin, compile, for_bays};
use trisect_bay::instruments::Plugins;
use trisect_bay::setup::{InstrumentSetup, PluginExchange, exchanges};
use trisect_bay::{AttachRequest, BayError, BayHandle};
use trisect_front::{HandedOver, SocketError, Sockets};
use trisect_kit::read_text;
use trisect_wire::WireError;

use crate::config::check::of_settings;
use crate::config::{BaySettings, ConfigError, InstrumentSettings, Settings};
use crate::convert;
use crate::observe::log;
use crate::runtime::{attach_request, barometer, files, webhooks};
use crate::service::{Service, StartError};

/// Why a configuration was not taken up; the one before it goes on.
#[derive(Debug, thiserror::Error)]
pub enum ReloadError {
    /// It has mistakes.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// It cannot be put in place.
    #[error(transparent)]
    Start(#[from] StartError),
    /// A bay refused its part.
    #[error("bay {bay}: {source}")]
    Bay {
        /// The bay.
        bay: String,
        /// Why.
        source: Box<WireError>,
    },
}

impl Service {
    /// Takes a configuration up; says what was changed.
    ///
    /// # Errors
    /// What is wrong with it. Nothing has been changed then, unless a port of a bay's instrument
    /// was refused after all: the other bays are as the new configuration has them.
    pub async fn reload(&mut self, settings: Settings) -> Result<Vec<String>, ReloadError> {
        let all: Vec<_> = of_settings(&settings).into_iter().collect();
        if !all.is_empty() {
            return Err(ConfigError::Several { all }.into());
        }
        if settings.journal != self.settings.journal {
            return Err(StartError::Fixed { key: "journal" }.into());
        }
        if settings.attach != self.settings.attach {
            return Err(StartError::Fixed { key: "attach" }.into());
        }
        if settings.traces != self.settings.traces {
            return Err(StartError::Fixed { key: "traces" }.into());
        }
        let webhooks = webhooks(&settings.webhooks)?;
        let exchanges = self.exchanges(&settings).await?;
        let mut changed = Vec::new();
        // What the system may refuse comes first.
        if front_differs(&self.settings, &settings) {
            self.move_front(&settings).await?;
            changed.push("the front".to_owned());
        }
        let context = &self.runtime.context;
        let told = context
            .deliveries
            .take_up(webhooks, &self.runtime.delivering)
            .await;
        let told = told.map_err(StartError::from)?;
        changed.extend(told.iter().map(|name| format!("webhook {name}")));
        if settings.log != self.settings.log {
            log::set(&settings.log)?;
            changed.push("the log".to_owned());
        }
        if settings.keep != self.settings.keep {
            let mut keep = self
                .housekeeping
                .keep
                .write()
                .unwrap_or_else(PoisonError::into_inner);
            keep.clone_from(&settings.keep);
            changed.push("how long things are kept".to_owned());
        }
        let plugins = context.plugins.changed(&settings.plugins);
        context.plugins.take_up(&settings.plugins);
        changed.extend(plugins.iter().map(|name| format!("plugin {name}")));
        for exchange in exchanges {
            changed.push(exchange.carry_out(&self.runtime.setup).await);
        }
        self.take_up_rule_sets(&settings, &mut changed)?;
        self.take_up_bays(&settings, &mut changed).await?;
        self.settings = settings;
        self.runtime
            .audit
            .note("service.reload", &changed.join(", "));
        Ok(changed)
    }

    /// The instruments whose plugin changes, prepared; those that change themselves are their bay's matter.
    async fn exchanges(&self, settings: &Settings) -> Result<Vec<PluginExchange>, ReloadError> {
        let context = &self.runtime.context;
        let changed = context.plugins.changed(&settings.plugins);
        if changed.is_empty() {
            return Ok(Vec::new());
        }
        let plugins = Plugins::new(&settings.plugins);
        let stays = |params: &AttachRequest| {
            let of = |all: &Settings| {
                let bay = all.bays.iter().find(|one| one.bay == params.bay)?;
                let mut all = bay.instruments.iter();
                let found = all.find(|one| one.instrument == params.instrument);
                Some(found.cloned())
            };
            let after = of(settings);
            after.is_some() && after == of(&self.settings)
        };
        exchanges(context.bays(), &changed, &plugins, stays)
            .await
            .map_err(|(bay, source)| ReloadError::Bay {
                bay,
                source: Box::new(convert::refused(source)),
            })
    }

    /// Opens what is new to listen on, lets the old front finish, and serves anew.
    async fn move_front(&mut self, settings: &Settings) -> Result<(), StartError> {
        let files = files(settings)?;
        let sockets = Sockets::open(
            &settings.sockets(),
            HandedOver::default(),
            Some(&self.sockets),
        )?;
        let front = self
            .runtime
            .serve(settings, &sockets, &files)
            .map_err(|source| SocketError::Tcp {
                listen: settings.listen,
                source,
            })?;
        self.sockets.hand_on(&sockets);
        self.sockets = sockets;
        *self
            .housekeeping
            .files
            .write()
            .unwrap_or_else(PoisonError::into_inner) = files;
        std::mem::replace(&mut self.front, front).stop().await;
        Ok(())
    }

    /// New and changed rule-set files are used for new jobs. One that is named no more stays
    /// until the service restarts.
    fn take_up_rule_sets(
        &self,
        settings: &Settings,
        changed: &mut Vec<String>,
    ) -> Result<(), StartError> {
        let catalog = &self.runtime.context.catalog;
        for path in &settings.rulesets {
            let Ok(text) = read_text(path, LONGEST_FILE) else {
                continue;
            };
            let name = path.display().to_string();
            let entry = for_bays(compile(&name, &text, Origin::File)?, &name)?;
            if catalog.by_digest(&entry.model.rules().digest).is_none() {
                changed.push(format!("rule set {}", entry.model.rules().id));
                catalog.install(entry);
            }
        }
        Ok(())
    }

    async fn take_up_bays(
        &self,
        settings: &Settings,
        changed: &mut Vec<String>,
    ) -> Result<(), ReloadError> {
        let context = &self.runtime.context;
        for old in &self.settings.bays {
            if !settings.bays.iter().any(|new| new.bay == old.bay) {
                let mut bays = context.bays.write().unwrap_or_else(PoisonError::into_inner);
                bays.iter()
                    .filter(|bay| bay.handle.name() == old.bay)
                    .for_each(|bay| bay.handle.end());
                bays.retain(|bay| bay.handle.name() != old.bay);
                changed.push(format!("bay {} removed", old.bay));
            }
        }
        for new in &settings.bays {
            let Some(old) = self.settings.bays.iter().find(|old| old.bay == new.bay) else {
                self.runtime.add(new, settings).await?;
                changed.push(format!("bay {} added", new.bay));
                continue;
            };
            let keeps = !settings.keep.outside_jobs.is_none();
            let kept = !self.settings.keep.outside_jobs.is_none();
            if old == new && keeps == kept {
                continue;
            }
            let refused = |source| ReloadError::Bay {
                bay: new.bay.clone(),
                source: Box::new(source),
            };
            let handle = context.bay(&new.bay).map_err(refused)?;
            change(handle, old, new, keeps, &self.runtime.setup, changed)
                .await
                .map_err(|error| refused(convert::refused(error)))?;
        }
        Ok(())
    }
}

/// Whether the front has to start anew.
fn front_differs(old: &Settings, new: &Settings) -> bool {
    let of = |s: &Settings| {
        (
            s.listen,
            s.token_file.clone(),
            s.access.clone(),
            s.tls.clone(),
            s.unix.clone(),
            s.limits.clone(),
            s.host_names.clone(),
            s.origins.clone(),
        )
    };
    of(old) != of(new)
}

/// Changes a bay: what it is called and uses, and the instruments that differ.
async fn change(
    handle: BayHandle,
    old: &BaySettings,
    new: &BaySettings,
    keeps_outside: bool,
    setup: &InstrumentSetup,
    changed: &mut Vec<String>,
) -> Result<(), BayError> {
    let bay = &new.bay;
    let (title, ruleset) = (new.title.clone(), new.ruleset.clone());
    let air = (old.barometer != new.barometer).then(|| barometer(new).ok().flatten());
    let name = bay.clone();
    handle
        .ask(move |bay| {
            bay.reconfigure(title.unwrap_or(name), ruleset, keeps_outside);
            if let Some(air) = air {
                bay.set_barometer(air);
            }
            Box::pin(async { Ok(()) })
        })
        .await?;
    let of = |bay: &BaySettings, name: &str| -> Option<InstrumentSettings> {
        bay.instruments
            .iter()
            .find(|one| one.instrument == name)
            .cloned()
    };
    for gone in &old.instruments {
        if of(new, &gone.instrument).as_ref() == Some(gone) {
            continue;
        }
        let name = gone.instrument.clone();
        let detached = handle
            .ask(move |bay| Box::pin(async move { bay.detach(&name).await }))
            .await;
        // Somebody may have detached it already.
        if detached.is_ok() {
            changed.push(format!("instrument {} of {bay} stopped", gone.instrument));
        }
    }
    for come in &new.instruments {
        if of(old, &come.instrument).as_ref() == Some(come) {
            continue;
        }
        // One whose plugin fails is tried again, as when the service starts.
        if !setup.attach(&handle, attach_request(bay, come)).await? {
            continue;
        }
        changed.push(format!("instrument {} of {bay} started", come.instrument));
    }
    changed.push(format!("bay {bay}"));
    Ok(())
}

/// Says in the log what became of a reload.
pub fn told(file: Option<&Path>, outcome: &Result<Vec<String>, ReloadError>) {
    let file = file.map(Path::display);
    let file = file.as_ref().map(tracing::field::display);
    match outcome {
        Ok(changed) if changed.is_empty() => {
            tracing::info!(file, "the configuration says what it said before");
        }
        Ok(changed) => tracing::info!(
            file,
            changed = changed.join(", "),
            "took up the configuration"
        ),
        Err(error) => {
            tracing::error!(file, %error, "the configuration is refused; the one before it goes on");
        }
    }
}
