//! `instrument.probe`, and attaching what it finds.

use std::path::Path;

use serde_json::Value;
use trisect_bay::instruments::{Patience, probe};
use trisect_kit::ports::{self, same_port};
use trisect_wire::types::{
    InstrumentAttachParams, InstrumentProbeParams, InstrumentProbed, ProbeFinding,
};
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert::port_probe;

/// The adapter's name that stands for whichever finds something to understand.
const AUTO: &str = "auto";
/// A second protocol that makes sense of so much of what was heard leaves a doubt.
const RIVAL_SHARE: f64 = 0.9;

impl Context {
    /// With `auto` as adapter, the adapter and settings of what speaks on the port; else what was asked.
    pub(super) async fn found(
        &self,
        asked: InstrumentAttachParams,
    ) -> Result<InstrumentAttachParams, WireError> {
        if asked.adapter != AUTO {
            return Ok(asked);
        }
        let mut given = asked.settings;
        let allow_writing = match given.remove("allow_writing") {
            None => false,
            Some(Value::Bool(allowed)) => allowed,
            Some(_) => {
                return Err(unusable(
                    "allow_writing",
                    "`allow_writing` is true or false",
                ));
            }
        };
        let Some(port) = given.get("port").and_then(Value::as_str) else {
            let why = "no port to listen on: write its path, such as one that port.list has";
            return Err(unusable("port", why));
        };
        let probed = self.probe(InstrumentProbeParams {
            port: port.to_owned(),
            allow_writing,
        });
        let probed = probed.await.map_err(|error| error.at("settings.port"))?;
        let (finding, others) = match &probed.findings[..] {
            [finding, others @ ..] => (finding, others),
            [] => return Err(not_understood(port, &probed, allow_writing)),
        };
        if others.iter().any(|other| other.share >= RIVAL_SHARE) {
            return Err(undecided(port, &probed));
        }
        let mut settings = finding.settings.clone();
        settings.extend(given);
        Ok(InstrumentAttachParams {
            adapter: finding.adapter.clone(),
            settings,
            ..asked
        })
    }

    pub(super) async fn probe(
        &self,
        params: InstrumentProbeParams,
    ) -> Result<InstrumentProbed, WireError> {
        let given = Path::new(&params.port);
        super::port_allowed(&params.port).map_err(|error| error.at("port"))?;
        let not_opened = |why: String| ErrorKind::PortRefused.because(why).at("port");
        let attached = self.attached().await?;
        if let Some((_, to)) = attached.iter().find(|(path, _)| same_port(path, given)) {
            return Err(
                not_opened(format!("`{}` of {} has this port", to.instrument, to.bay))
                    .hint("detach it first with instrument.detach"),
            );
        }
        let path = ports::Ports::system().stable(given);
        let path = path.unwrap_or_else(|| given.to_owned());
        probe(&path, params.allow_writing, Patience::default())
            .await
            .map(port_probe)
            .map_err(|error| {
                not_opened(error.to_string()).hint("port.list has the ports there are")
            })
    }
}

/// A setting of `auto` that cannot be used.
fn unusable(field: &str, why: &str) -> WireError {
    ErrorKind::InvalidSettings
        .because(why)
        .at(format!("settings.{field}"))
}

/// Nothing speaks on the port, or nothing that is known.
fn not_understood(port: &str, probed: &InstrumentProbed, allow_writing: bool) -> WireError {
    let why = format!(
        "nothing on {port} is understood; {} bytes were heard",
        probed.bytes
    );
    let hint = if allow_writing {
        "is it switched on, and the cable the right one? instrument.probe says what was tried"
    } else {
        "is it switched on? Some speak only when asked: `allow_writing = true` lets requests be written"
    };
    unusable("port", &why).hint(hint)
}

/// More than one protocol fits what is said there.
fn undecided(port: &str, probed: &InstrumentProbed) -> WireError {
    let words = |one: &ProbeFinding| format!("{} through {}", one.protocol, one.adapter);
    let words: Vec<String> = probed.findings.iter().map(words).collect();
    unusable("port", &format!("{port} may speak {}", words.join(", or ")))
        .hint("attach it as one of these; instrument.probe has the settings of each")
}
