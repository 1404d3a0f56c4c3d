//! The machine and the instruments on it, moved on together.

use std::sync::Arc;

use super::line_faults::LineFaults;
use crate::instruments::{Meter, PlaceError, Port, Transducer};
use trisect_machine::{Machine, TestPoint};

/// What an instrument is inside.
pub(crate) enum Kind {
    Meter(Meter),
    Transducer(Transducer),
}

/// One instrument and its line.
pub(crate) struct Device {
    pub id: String,
    pub port: Arc<Port>,
    pub kind: Kind,
    pub line_faults: LineFaults,
}

/// Everything that moves.
pub(crate) struct State {
    pub machine: Machine,
    pub devices: Vec<Device>,
    /// When the multimeters last looked, in simulated seconds.
    pub looked: f64,
}

/// Simulated seconds between two looks of a multimeter at its point.
const LOOK: f64 = 0.01;

impl State {
    /// Lets simulated time pass; multimeters send what falls due.
    pub(crate) fn advance(&mut self, seconds: f64) {
        let end = self.machine.time() + seconds;
        // Counted from look to look: less than one may pass at a time.
        while self.looked + LOOK <= end {
            self.looked += LOOK;
            self.machine.advance(self.looked - self.machine.time());
            self.read_meters();
        }
        self.machine.advance(end - self.machine.time());
    }

    fn read_meters(&mut self) {
        let now = self.machine.time();
        for device in &mut self.devices {
            if let Kind::Meter(meter) = &mut device.kind {
                meter.watch(&self.machine);
                let bytes = device.line_faults.delayed(now, meter.frame(now));
                if !bytes.is_empty() {
                    device.port.write(&bytes);
                }
            }
        }
    }

    /// The device of this id.
    pub(crate) fn device(&mut self, id: &str) -> Result<&mut Device, PlaceError> {
        let known = || {
            self.devices
                .iter()
                .map(|device| device.id.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        };
        match self.devices.iter().position(|device| device.id == id) {
            Some(index) => Ok(&mut self.devices[index]),
            None => Err(PlaceError::NoInstrument {
                instrument: id.to_owned(),
                known: known(),
            }),
        }
    }

    /// Puts an instrument's input on a point, or takes it off.
    pub(crate) fn place(
        &mut self,
        id: &str,
        input: u16,
        point: Option<&str>,
    ) -> Result<(), PlaceError> {
        let point = match point {
            None => None,
            Some(id) => Some(TestPoint::find(id).ok_or_else(|| PlaceError::NoPoint {
                point: id.to_owned(),
            })?),
        };
        match &mut self.device(id)?.kind {
            Kind::Meter(_) if input > 0 => Err(PlaceError::NoInput { input, count: 1 }),
            Kind::Meter(meter) => meter.place(point),
            Kind::Transducer(transducer) => transducer.place(input, point),
        }
    }
}
