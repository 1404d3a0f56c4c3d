//! Instruments of the bay, and where their probes are.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use trisect_wire::types::{
    self, AttachedTo, InstrumentAttachParams, InstrumentItem, InstrumentName, PhaseSayParams,
    ProbeLiftParams, ProbePlaceParams,
};
use trisect_wire::{ErrorKind, WireError};
use trisect_journal::{EventRow, Happened, Probe};

use super::entry::test_point;
use super::record::{internal, refusal};
use super::state::Bay;
use crate::convert;
use crate::instruments::{Built, Instrument, Plugins, build, next_id};

/// An instrument to be attached, built before the bay is asked: a plugin takes its time to describe itself,
/// and the bay does not wait for it.
pub(crate) struct Attaching {
    instrument: String,
    adapter: String,
    settings: serde_json::Map<String, serde_json::Value>,
    built: Built,
}

impl Attaching {
    /// Builds what `instrument.attach` asks for.
    pub(crate) async fn prepare(
        params: InstrumentAttachParams,
        plugins: &Plugins,
    ) -> Result<Attaching, WireError> {
        let built = build(&params.adapter, params.settings.clone(), plugins).await?;
        Ok(Attaching {
            instrument: params.instrument,
            adapter: params.adapter,
            settings: params.settings,
            built,
        })
    }
}

impl Bay {
    /// `instrument.attach`.
    pub(crate) async fn attach(
        &mut self,
        params: Attaching,
    ) -> Result<wire::Instrument, WireError> {
        let name = &params.instrument;
        if self.instruments.contains_key(name) {
            return Err(ErrorKind::BayBusy
                .because(format!("{} has an instrument `{name}` already", self.name))
                .at("instrument")
                .hint("choose another name, or detach that one first"));
        }
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || name.len() > 64 || !name.chars().all(plain) {
            return Err(ErrorKind::InvalidParams
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
            built,
            self.clock,
            self.arrivals.clone(),
            &self.tracker,
        );
        instrument.settings = params.settings;
        let shown = instrument.shown(&self.name, &self.clock);
        self.instruments.insert(params.instrument, instrument);
        self.tell(&InstrumentItem::Instrument(shown.clone()))?;
        Ok(shown)
    }

    /// `instrument.detach`.
    pub(crate) async fn detach(
        &mut self,
        params: &InstrumentName,
    ) -> Result<wire::Instrument, WireError> {
        let placed = self.instrument(&params.instrument)?.placed();
        self.record_lifted(placed).await?;
        let removed = self.instruments.remove(&params.instrument);
        let removed = removed.ok_or_else(|| ErrorKind::Internal.because("it was just there"))?;
        removed.stop();
        self.tell(&InstrumentItem::Detached {
            bay: self.name.clone(),
            instrument: params.instrument.clone(),
        })?;
        Ok(removed.shown(&self.name, &self.clock))
    }

    /// The instruments that are read through one of these plugins, as they were attached.
    pub(crate) fn through(&self, plugins: &BTreeSet<String>) -> Vec<InstrumentAttachParams> {
        let chosen = |one: &Instrument| {
            let plugin = one.settings.get("plugin").and_then(|name| name.as_str());
            one.adapter == "plugin" && plugin.is_some_and(|name| plugins.contains(name))
        };
        let found = self.instruments.iter().filter(|(_, one)| chosen(one));
        found
            .map(|(name, one)| InstrumentAttachParams {
                bay: self.name.clone(),
                instrument: name.clone(),
                adapter: one.adapter.clone(),
                settings: one.settings.clone(),
            })
            .collect()
    }

    /// All instruments, as they stand.
    pub(crate) fn instruments_shown(&self) -> Vec<wire::Instrument> {
        self.instruments
            .values()
            .map(|one| one.shown(&self.name, &self.clock))
            .collect()
    }

    /// The ports of the instruments, each with whose it is.
    pub(crate) fn ports(&self) -> Vec<(PathBuf, AttachedTo)> {
        let attached = self.instruments.iter().filter_map(|(name, one)| {
            let to = AttachedTo {
                bay: self.name.clone(),
                instrument: name.clone(),
            };
            Some((one.port.clone()?, to))
        });
        attached.collect()
    }

    /// `probe.place`.
    pub(crate) async fn place(
        &mut self,
        params: ProbePlaceParams,
    ) -> Result<wire::Instrument, WireError> {
        let (rules, at) = self.moment()?;
        let wall = self.wall_of(at);
        let point = test_point(&rules, &params.point, "point")?;
        let instrument = self.instrument(&params.instrument)?;
        let channel = channel(instrument, &params.channel)?;
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

    /// `probe.lift`.
    pub(crate) async fn lift(
        &mut self,
        params: &ProbeLiftParams,
    ) -> Result<wire::Instrument, WireError> {
        let instrument = self.instrument(&params.instrument)?;
        let channel = channel(instrument, &params.channel)?;
        let mut placed = instrument.placed();
        placed.retain(|probe| probe.channel == Some(channel));
        instrument.probes.remove(&channel);
        instrument.refused = None;
        self.record_lifted(placed).await?;
        self.show_and_tell(&params.instrument)
    }

    /// Puts on the timeline that probes were taken off, if there is a job.
    async fn record_lifted(&mut self, placed: Vec<Probe>) -> Result<(), WireError> {
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

    /// `phase.say`.
    pub(crate) async fn say(&mut self, params: &PhaseSayParams) -> Result<wire::Bay, WireError> {
        let (_, at) = self.moment()?;
        let wall = self.wall_of(at);
        let drive = params
            .drive
            .map(|drive| Happened::Drive(convert::drive_said(drive)));
        let phase = params
            .phase
            .map(|phase| Happened::Phase(convert::phase_said(phase)));
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
            return Err(ErrorKind::InvalidParams
                .because("neither a phase nor a drive is said")
                .at("phase")
                .hint("give `phase`, `drive`, or both"));
        }
        self.record(said, None).await?;
        Ok(self.shown())
    }

    /// Tells the subscribers how an instrument stands.
    pub(crate) fn tell_instrument(&self, id: u64) {
        let Some(instrument) = self.instruments.values().find(|one| one.id == id) else {
            return;
        };
        let item = InstrumentItem::Instrument(instrument.shown(&self.name, &self.clock));
        // An item of plain texts and numbers: writing it cannot fail.
        let _ = self.tell(&item);
    }

    fn tell(&self, item: &InstrumentItem) -> Result<(), WireError> {
        for publisher in [&self.news.instruments, &self.news.all_instruments] {
            publisher.publish(item).map_err(|error| internal(&error))?;
        }
        Ok(())
    }

    fn show_and_tell(&mut self, name: &str) -> Result<wire::Instrument, WireError> {
        let shown = self.instrument(name)?.id;
        self.tell_instrument(shown);
        let (bay, clock) = (self.name.clone(), self.clock);
        Ok(self.instrument(name)?.shown(&bay, &clock))
    }

    fn instrument(&mut self, name: &str) -> Result<&mut Instrument, WireError> {
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

fn channel(instrument: &Instrument, name: &str) -> Result<u16, WireError> {
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
