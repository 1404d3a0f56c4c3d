//! A simulated bay: a machine with instruments on it, running in real time or
//! a multiple of it, and the controls that people turn.

mod controls;
mod line_faults;
mod run;
mod state;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::task::JoinHandle;
use trisect_measure::Unit;

use crate::instruments::{Chip, Meter, Port, Transducer, WordOrder};
use line_faults::LineFaults;
use run::{Shared, keep_time, serve};
use state::{Device, Kind, State};
use trisect_machine::{Fault, Machine};

/// What is in a bay, and how it behaves.
#[derive(Clone, Debug)]
pub struct Options {
    /// Multimeters: id and chip.
    pub meters: Vec<(String, Chip)>,
    /// Transducers: id and the unit of each input (input n is the float in
    /// registers 2n and 2n + 1, functions 03 and 04).
    pub transducers: Vec<(String, Vec<Unit>)>,
    /// Modbus address of every transducer, each being alone on its line.
    pub address: u8,
    /// Word order of the transducers' floats.
    pub order: WordOrder,
    /// Instruments without error, noise and latency, for tests.
    pub perfect: bool,
    /// Do frames and replies get lost now and then, as they do in a bay? Not
    /// where time runs faster than it does: waiting for a lost reply takes
    /// its time by the clock, and would stand for many seconds.
    pub lossy: bool,
}

/// Longest latency of a multimeter's frames and of a transducer's replies,
/// seconds (engineering judgement, from memory).
const LATEST: (f64, f64) = (0.15, 0.02);
/// Of a multimeter's frames (light through a gap) and of a transducer's replies
/// (a cable) so many are lost (engineering judgement, from memory).
const DROPPED: (f64, f64) = (0.01, 0.002);

impl Default for Options {
    /// Two multimeters (`meter-1` FS9922, `meter-2` ES51922), two pressure
    /// transducers in psi (`gauge-1`, `gauge-2`), a tachometer in rpm and a
    /// thermometer in °C, each on a line of its own.
    fn default() -> Self {
        let one = |id: &str, unit| (id.to_owned(), vec![unit]);
        Options {
            meters: vec![
                ("meter-1".to_owned(), Chip::Fs9922),
                ("meter-2".to_owned(), Chip::Es51922),
            ],
            transducers: vec![
                one("gauge-1", Unit::PSI),
                one("gauge-2", Unit::PSI),
                one("tachometer", Unit::RPM),
                one("thermometer", Unit::CELSIUS),
            ],
            address: 1,
            order: WordOrder::Big,
            perfect: false,
            lossy: false,
        }
    }
}

/// An instrument of the bay, as someone who attaches it needs to know it.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Its id.
    pub id: String,
    /// The path to open; it stays the same through unplugging.
    pub path: PathBuf,
    /// What it speaks.
    pub speaks: Speaks,
}

/// A simulated instrument's protocol.
#[derive(Clone, Debug, PartialEq)]
pub enum Speaks {
    /// A multimeter's chip protocol.
    Multimeter(Chip),
    /// Modbus RTU.
    ModbusRtu {
        /// Slave address.
        address: u8,
        /// Word order of its floats.
        order: WordOrder,
        /// Unit of each input; input n is in registers 2n and 2n + 1.
        units: Vec<Unit>,
    },
}

/// Why a bay could not be started.
#[derive(Debug, thiserror::Error)]
pub enum BayError {
    /// A pseudo-terminal or its path could not be made.
    #[error("opening the line of the simulated instrument `{id}` at {}; give a directory that can be written to", path.display())]
    Line {
        /// The instrument.
        id: String,
        /// The path that was to lead to it.
        path: PathBuf,
        /// What went wrong.
        #[source]
        source: io::Error,
    },
    /// The speed makes no sense.
    #[error("running a simulated bay at {speed} times real time: choose a speed from 0.1 to 1000")]
    Speed {
        /// What was asked for.
        speed: f64,
    },
}

/// A machine and instruments, running. Ends when it is dropped.
pub struct SimulatedBay {
    shared: Arc<Shared>,
    instruments: Vec<Instrument>,
    ports: Vec<Arc<Port>>,
    tasks: Vec<JoinHandle<()>>,
}

impl SimulatedBay {
    /// Whether a bay can run at this speed.
    ///
    /// # Errors
    /// When it is not within 0.1 to 1000.
    pub fn check_speed(speed: f64) -> Result<(), BayError> {
        if (0.1..=1000.0).contains(&speed) {
            return Ok(());
        }
        Err(BayError::Speed { speed })
    }

    /// Starts a bay: the machine of `seed` with `faults`, at `speed` simulated
    /// seconds a second, the instruments' lines as paths in `dir`.
    ///
    /// # Errors
    /// When the speed is not within 0.1 to 1000, or a line cannot be opened.
    pub async fn start(
        dir: &Path,
        seed: u64,
        faults: &[Fault],
        speed: f64,
        options: Options,
    ) -> Result<SimulatedBay, BayError> {
        SimulatedBay::check_speed(speed)?;
        let instruments = describe(dir, &options);
        let mut devices = Vec::new();
        for (index, instrument) in instruments.iter().enumerate() {
            devices.push(open(
                instrument,
                seed.wrapping_add(1 + index as u64),
                &options,
            )?);
        }
        let ports: Vec<_> = devices
            .iter()
            .map(|device| Arc::clone(&device.port))
            .collect();
        let state = State {
            machine: Machine::new(seed, faults),
            devices,
            looked: 0.0,
        };
        let shared = Arc::new(Shared::new(state, speed));
        let mut tasks = vec![tokio::spawn(keep_time(Arc::clone(&shared)))];
        for (index, port) in ports.iter().enumerate() {
            if matches!(instruments[index].speaks, Speaks::ModbusRtu { .. }) {
                tasks.push(tokio::spawn(serve(
                    Arc::clone(&shared),
                    Arc::clone(port),
                    index,
                )));
            }
        }
        Ok(SimulatedBay {
            shared,
            instruments,
            ports,
            tasks,
        })
    }

    /// The instruments of this bay.
    pub fn instruments(&self) -> &[Instrument] {
        &self.instruments
    }

    /// Ends the bay: when this returns, nothing runs and the paths are gone.
    pub async fn stop(mut self) {
        self.end();
        for task in self.tasks.drain(..) {
            // Aborted, as it should be.
            let _ = task.await;
        }
    }

    fn end(&self) {
        self.tasks.iter().for_each(JoinHandle::abort);
        self.ports.iter().for_each(|port| port.unplug());
    }
}

impl Drop for SimulatedBay {
    fn drop(&mut self) {
        self.end();
    }
}

fn describe(dir: &Path, options: &Options) -> Vec<Instrument> {
    let instrument = |id: &String, speaks| Instrument {
        id: id.clone(),
        path: dir.join(id),
        speaks,
    };
    let meters = options
        .meters
        .iter()
        .map(|(id, chip)| instrument(id, Speaks::Multimeter(*chip)));
    let transducers = options.transducers.iter().map(|(id, units)| {
        let (address, order) = (options.address, options.order);
        instrument(
            id,
            Speaks::ModbusRtu {
                address,
                order,
                units: units.clone(),
            },
        )
    });
    meters.chain(transducers).collect()
}

fn open(instrument: &Instrument, seed: u64, options: &Options) -> Result<Device, BayError> {
    let perfect = options.perfect;
    let kind = match &instrument.speaks {
        Speaks::Multimeter(chip) => Kind::Meter(Meter::new(*chip, seed, perfect)),
        Speaks::ModbusRtu {
            address,
            order,
            units,
        } => Kind::Transducer(Transducer::new(*address, *order, units, seed, perfect)),
    };
    let port = Port::new(instrument.path.clone()).map_err(|source| BayError::Line {
        id: instrument.id.clone(),
        path: instrument.path.clone(),
        source,
    })?;
    let of_kind = |(meter, transducer): (f64, f64)| match kind {
        Kind::Meter(_) => meter,
        Kind::Transducer(_) => transducer,
    };
    let latest = if perfect { 0.0 } else { of_kind(LATEST) };
    let dropped = if options.lossy { of_kind(DROPPED) } else { 0.0 };
    Ok(Device {
        id: instrument.id.clone(),
        port: Arc::new(port),
        line_faults: LineFaults::usual(seed, latest, dropped),
        kind,
    })
}

#[cfg(test)]
mod tests;
