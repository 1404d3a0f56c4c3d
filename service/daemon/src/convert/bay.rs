//! Bays and their barometers.

use trisect_bay::{BarometerStatus, BayStatus};
use trisect_measure::Unit;
use trisect_wire::types as wire;

use super::{drive, phase};

/// A bay as it stands.
pub(crate) fn bay_status(status: BayStatus) -> wire::Bay {
    wire::Bay {
        bay: status.bay,
        title: status.title,
        phase: status.phase.map(phase),
        drive: status.drive.map(drive),
        job: status.job,
        instruments: status.instruments,
        barometer: status.barometer.map(barometer),
    }
}

/// The pressure of the air, in the unit of weather reports.
fn barometer(status: BarometerStatus) -> wire::Barometer {
    let unit = Unit::HECTOPASCAL;
    wire::Barometer {
        value: unit.from_si(status.pressure),
        unit: unit.symbol().to_owned(),
        uncertainty: unit.span_from_si(status.u),
        from: status.from,
        time: status.time.map(|time| wire::Time(time.to_string())),
        stale: status.stale,
    }
}
