//! Instruments of the bay, and where their probes are.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use trisect_journal::{EventRow, Happened, Probe};
use trisect_kit::Networks;
use trisect_rules::{Drive, Phase};

use super::entry::test_point;
use super::record::refusal;
use super::state::Bay;
use crate::instruments::{Built, Instrument, InstrumentStatus, Plugins, build, next_id};
use crate::request::{AttachRequest, PlaceProbeRequest};
use crate::status::BayStatus;

/// An instrument to be attached, built before the bay is asked: a plugin takes its time to describe itself,
/// and the bay does not wait for it.
pub struct Attaching {
    instrument: String,
    adapter: String,
    settings: serde_json::Map<String, serde_json::Value>,
    networks: Networks,
    built: Built,
}

impl Attaching {
    /// Builds what is asked for.
    ///
    /// # Errors
    /// An adapter that is not there, settings that do not fit it, or a plugin that fails.
    pub async fn prepare(params: AttachRequest, plugins: &Plugins) -> Result<Attaching, BayError> {
        let built = build(&params.adapter, params.settings.clone(), plugins).await?;
        Ok(Attaching {
            instrument: params.instrument,
            adapter: params.adapter,
            settings: params.settings,
            networks: params.networks,
            built,
        })
    }

    /// How many calibrations its settings give.
    pub fn calibrations(&self) -> usize {
        self.built.chain.calibrations().count()
    }
}

/// The instrument that has a port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortUser {
    /// Its bay.
    pub bay: String,
    /// Its name.
    pub instrument: String,
}

impl Bay {
    /// Attaches an instrument; it reconnects by itself until it is detached.
    ///
    /// # Errors
    /// A name that is none or is taken, or a journal that does not keep its calibrations.
    pub async fn attach(&mut self, params: Attaching) -> Result<InstrumentStatus, BayError> {
        let name = &params.instrument;
        if self.instruments.contains_key(name) {
            return Err(ErrorKind::Busy
                .because(format!("{} has an instrument `{name}` already", self.name))
                .at("instrument")
                .hint("choose another name, or detach that one first"));
        }
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || name.len() > 64 || !name.chars().all(plain) {
            return Err(ErrorKind::InvalidRequest
                .because(format!("`{name}` is no name"))
                .at("instrument")
                .hint("use up to 64 small letters, digits and hyphens"));
        }
        let built = params.built;
        // Kept before a reading can name them.
        for calibrated in built.chain.calibrations() {
            let kept = self.journal.put_calibration(calibrated.kept()).await;
            kept.map_err(|error| refusal(&error))?;
        }
        let mut instrument = Instrument::start(
            next_id(),
            name,
            params.adapter,
            (built, params.networks),
            self.clock,
            self.arrivals.clone(),
            &self.tracker,
        );
        instrument.settings = params.settings;
        let shown = instrument.status(&self.name, &self.clock);
        self.instruments.insert(params.instrument, instrument);
        self.observer.instrument_changed(shown.clone());
        Ok(shown)
    }

    /// Closes an instrument and forgets it; its last state.
    ///
    /// # Errors
    /// A name that is not there, or a journal that does not store that its probes were lifted.
    pub async fn detach(&mut self, name: &str) -> Result<InstrumentStatus, BayError> {
        let placed = self.instrument(name)?.placed();
        // On the timeline first: where that fails, the instrument is still there, and its probes are.
        self.record_lifted(placed).await?;
        let removed = self.instruments.remove(name);
        let removed = removed.ok_or_else(|| ErrorKind::Internal.because("it was just there"))?;
        removed.stop();
        self.observer.instrument_detached(&self.name, name);
        Ok(removed.status(&self.name, &self.clock))
    }

    /// The instruments that are read through one of these plugins, as they were attached.
    pub fn through(&self, plugins: &BTreeSet<String>) -> Vec<AttachRequest> {
        let chosen = |one: &Instrument| {
            let plugin = one.settings.get("plugin").and_then(|name| name.as_str());
            one.adapter == "plugin" && plugin.is_some_and(|name| plugins.contains(name))
        };
        let found = self.instruments.iter().filter(|(_, one)| chosen(one));
        found
            .map(|(name, one)| AttachRequest {
                bay: self.name.clone(),
                instrument: name.clone(),
                adapter: one.adapter.clone(),
                settings: one.settings.clone(),
                networks: one.networks.clone(),
            })
            .collect()
    }

    /// All instruments, as they stand.
    pub fn instruments_status(&self) -> Vec<InstrumentStatus> {
        self.instruments
            .values()
            .map(|one| one.status(&self.name, &self.clock))
            .collect()
    }

    /// The ports of the instruments, each with whose it is.
    pub fn ports(&self) -> Vec<(PathBuf, PortUser)> {
        let attached = self.instruments.iter().filter_map(|(name, one)| {
            let to = PortUser {
                bay: self.name.clone(),
                instrument: name.clone(),
            };
            Some((one.port.clone()?, to))
        });
        attached.collect()
    }

    /// Says that a channel now measures at a test point; the point's windows start again.
    ///
    /// # Errors
    /// An instrument, channel or point that is not there, a channel of another quantity, no open job, or a
    /// journal that does not store it.
    pub async fn place(&mut self, params: PlaceProbeRequest) -> Result<InstrumentStatus, BayError> {
        let (rules, at) = self.moment()?;
        let wall = self.wall_of(at);
        let point = test_point(&rules, &params.point, "point")?;
        let instrument = self.instrument(&params.instrument)?;
        let channel = channel_of(instrument, &params.channel)?;
        let described = instrument
            .description
            .channels
            .iter()
            .find(|c| c.channel == channel);
        if let Some(function) = described.and_then(|c| c.function)
            && function.quantity() != point.quantity
        {
            return Err(ErrorKind::WrongQuantity
                .because(format!(
                    "channel {} of `{}` measures {}, but `{}` is a {}",
                    params.channel,
                    params.instrument,
                    function.quantity(),
                    point.id,
                    point.quantity
                ))
                .at("point")
                .hint("place another instrument there"));
        }
        let id: Arc<str> = Arc::from(point.id.as_str());
        let probe = Probe {
            point: Arc::clone(&id),
            instrument: Some(Arc::clone(&instrument.name)),
            channel: Some(channel),
        };
        instrument.probes.insert(channel, id);
        instrument.refused = None;
        let what = Happened::Window(probe);
        self.record(
            vec![EventRow {
                at,
                wall,
                by: None,
                what,
            }],
            None,
        )
        .await?;
        self.show_and_tell(&params.instrument)
    }

    /// Says that a channel measures nowhere.
    ///
    /// # Errors
    /// An instrument or channel that is not there, or a journal that does not store it.
    pub async fn lift(&mut self, name: &str, channel: &str) -> Result<InstrumentStatus, BayError> {
        let instrument = self.instrument(name)?;
        let channel = channel_of(instrument, channel)?;
        let mut placed = instrument.placed();
        placed.retain(|probe| probe.channel == Some(channel));
        instrument.probes.remove(&channel);
        instrument.refused = None;
        self.record_lifted(placed).await?;
        self.show_and_tell(name)
    }

    /// Puts on the timeline that probes were taken off, if there is a job.
    async fn record_lifted(&mut self, placed: Vec<Probe>) -> Result<(), BayError> {
        if placed.is_empty() || self.job.is_none() {
            return Ok(());
        }
        let (_, at) = self.moment()?;
        let wall = self.wall_of(at);
        let row = |probe| EventRow {
            at,
            wall,
            by: None,
            what: Happened::Lifted(probe),
        };
        self.record(placed.into_iter().map(row).collect(), None)
            .await?;
        Ok(())
    }

    /// Puts the probes back where the timeline left them, after a restart.
    pub(super) fn replace(&mut self, placed: &[Probe]) {
        for probe in placed {
            let (Some(name), Some(channel)) = (&probe.instrument, probe.channel) else {
                continue;
            };
            // An instrument that is not in the configuration has to be attached anew.
            if let Some(instrument) = self.instruments.get_mut(&**name)
                && instrument.channel(&channel.to_string()).is_some()
            {
                instrument.probes.insert(channel, Arc::clone(&probe.point));
            }
        }
    }

    /// Says the engine's phase, the drive connected, or both; the phase's windows start again.
    ///
    /// # Errors
    /// Nothing that is said, no open job, or a journal that does not store it.
    pub async fn say(
        &mut self,
        phase: Option<Phase>,
        drive: Option<Drive>,
    ) -> Result<BayStatus, BayError> {
        let (_, at) = self.moment()?;
        let wall = self.wall_of(at);
        let drive = drive.map(Happened::Drive);
        let phase = phase.map(Happened::Phase);
        let said: Vec<EventRow> = drive
            .into_iter()
            .chain(phase)
            .map(|what| EventRow {
                at,
                wall,
                by: None,
                what,
            })
            .collect();
        if said.is_empty() {
            return Err(ErrorKind::InvalidRequest
                .because("neither a phase nor a drive is said")
                .at("phase")
                .hint("give `phase`, `drive`, or both"));
        }
        self.record(said, None).await?;
        Ok(self.status())
    }

    /// Tells the subscribers how an instrument stands.
    pub(crate) fn tell_instrument(&self, id: u64) {
        let Some(instrument) = self.instruments.values().find(|one| one.id == id) else {
            return;
        };
        self.observer
            .instrument_changed(instrument.status(&self.name, &self.clock));
    }

    fn show_and_tell(&mut self, name: &str) -> Result<InstrumentStatus, BayError> {
        let shown = self.instrument(name)?.id;
        self.tell_instrument(shown);
        let (bay, clock) = (self.name.clone(), self.clock);
        Ok(self.instrument(name)?.status(&bay, &clock))
    }

    fn instrument(&mut self, name: &str) -> Result<&mut Instrument, BayError> {
        let bay = &self.name;
        let known: Vec<String> = self.instruments.keys().cloned().collect();
        self.instruments.get_mut(name).ok_or_else(|| {
            ErrorKind::UnknownInstrument
                .because(format!("there is no instrument `{name}` in {bay}"))
                .at("instrument")
                .hint_nearest(name, known.iter().map(String::as_str))
        })
    }
}

fn channel_of(instrument: &Instrument, name: &str) -> Result<u16, BayError> {
    instrument.channel(name).ok_or_else(|| {
        let known: Vec<String> = instrument
            .description
            .channels
            .iter()
            .map(|c| c.channel.to_string())
            .collect();
        ErrorKind::UnknownChannel
            .because(format!("`{}` has no channel `{name}`", instrument.name))
            .at("channel")
            .hint(format!("it has {}", known.join(", ")))
    })
}
