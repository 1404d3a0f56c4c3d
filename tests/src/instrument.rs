//! An instrument at the end of a pseudo-terminal that can be unplugged and plugged in again, as a cable can:
//! the service opens it by a path that stays.

use std::path::PathBuf;
use std::time::Duration;

use serde_json::{Map, Value, json};
use tempfile::TempDir;
use trisect_kit::conformance::Pty;
use trisect_wire::client::{Client, Watch};
use trisect_wire::table::{InstrumentAttach, InstrumentList, InstrumentWatch, ProbePlace};
use trisect_wire::types::{
    Instrument, InstrumentAttachParams, InstrumentItem, InstrumentListParams, ProbePlaceParams,
};

use crate::service::BAY;
use crate::wait::{LONGEST, within};

/// The name it is attached under.
pub const METER: &str = "meter";

/// A cable: a path to a pseudo-terminal.
pub struct Cable {
    folder: TempDir,
    pty: Option<Pty>,
}

impl Cable {
    /// One that is plugged in.
    pub fn new() -> Cable {
        let mut cable = Cable {
            folder: tempfile::tempdir().unwrap(),
            pty: None,
        };
        cable.plug();
        cable
    }

    /// The path the service opens.
    pub fn path(&self) -> PathBuf {
        self.folder.path().join("port")
    }

    /// Plugs it in.
    pub fn plug(&mut self) {
        let pty = Pty::open().unwrap();
        std::os::unix::fs::symlink(pty.path(), self.path()).unwrap();
        self.pty = Some(pty);
    }

    /// Pulls it out: who has it open reads 0 bytes or EIO.
    pub fn unplug(&mut self) {
        std::fs::remove_file(self.path()).unwrap();
        self.pty = None;
    }

    /// The instrument says these bytes.
    pub async fn say(&self, bytes: &[u8]) {
        within("a write", self.pty().write_all(bytes))
            .await
            .unwrap();
    }

    /// The instrument waits for so many bytes.
    pub async fn hear(&self, count: usize) -> Vec<u8> {
        let mut heard = Vec::new();
        while heard.len() < count {
            let mut chunk = [0; 256];
            let read = within("a request", self.pty().read(&mut chunk))
                .await
                .unwrap();
            heard.extend_from_slice(&chunk[..read]);
        }
        heard
    }

    fn pty(&self) -> &Pty {
        self.pty.as_ref().expect("it is plugged in")
    }

    /// Attaches a multimeter at its end.
    pub async fn attach_meter(&self, client: &Client, protocol: &str) -> Instrument {
        self.attach(client, "multimeter", json!({"protocol": protocol}))
            .await
    }

    /// Attaches an instrument at its end; `port` is added to the settings.
    pub async fn attach(&self, client: &Client, adapter: &str, settings: Value) -> Instrument {
        let mut settings: Map<String, Value> = settings.as_object().unwrap().clone();
        settings.insert("port".to_owned(), json!(self.path()));
        let params = InstrumentAttachParams {
            bay: BAY.to_owned(),
            instrument: METER.to_owned(),
            adapter: adapter.to_owned(),
            settings,
        };
        within(
            "instrument.attach",
            client.call::<InstrumentAttach>(&params),
        )
        .await
        .unwrap()
    }
}

impl Default for Cable {
    fn default() -> Cable {
        Cable::new()
    }
}

/// Places the instrument's probe on a point.
pub async fn place(client: &Client, point: &str) -> Instrument {
    let params = ProbePlaceParams {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
        channel: "0".to_owned(),
        point: point.to_owned(),
    };
    within("probe.place", client.call::<ProbePlace>(&params))
        .await
        .unwrap()
}

/// Asks for the instrument until its counters are as is wished: they change without being told of.
pub async fn counted(
    client: &Client,
    what: &str,
    wish: impl Fn(&Instrument) -> bool,
) -> Instrument {
    let mut last = None;
    let asking = async {
        let mut again = tokio::time::interval(Duration::from_millis(5));
        loop {
            again.tick().await;
            let all = client
                .call::<InstrumentList>(&InstrumentListParams::default())
                .await
                .unwrap();
            let instrument = all.instruments.into_iter().next().expect("it is attached");
            if wish(&instrument) {
                return instrument;
            }
            last = Some(instrument.counters);
        }
    };
    match tokio::time::timeout(LONGEST, asking).await {
        Ok(instrument) => instrument,
        Err(_) => panic!("{what}: the counters stay at {last:?}"),
    }
}

/// Follows the instruments of all bays.
pub async fn watch(client: &Client) -> Watch<InstrumentWatch> {
    let all = InstrumentListParams::default();
    within("instrument.watch", client.watch::<InstrumentWatch>(&all))
        .await
        .unwrap()
}

/// Waits until an instrument stands as is wished.
pub async fn until(
    watch: &mut Watch<InstrumentWatch>,
    what: &str,
    wish: impl Fn(&Instrument) -> bool,
) -> Instrument {
    within(what, async {
        loop {
            let item = watch.next().await.expect("the service is there").unwrap();
            if let InstrumentItem::Instrument(instrument) = item
                && wish(&instrument)
            {
                return instrument;
            }
        }
    })
    .await
}
