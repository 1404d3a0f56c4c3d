//! Instruments, their channels and calibrations, and what speaks on a port.

use trisect_bay::PortUser;
use trisect_bay::instruments::{
    AdapterDescription, CalibrationRecord, ChannelCalibration, ChannelStatus, InstrumentStatus,
    PortFinding, PortProbe, PressureReference,
};
use trisect_kit::State;
use trisect_measure::{CalibrationKind, Quantity};
use trisect_wire::types as wire;

/// An instrument as it stands.
pub(crate) fn instrument(status: InstrumentStatus) -> wire::Instrument {
    let time = |time: jiff::Timestamp| wire::Time(time.to_string());
    wire::Instrument {
        bay: status.bay,
        instrument: status.instrument,
        adapter: status.adapter,
        state: match status.state {
            State::Starting => wire::InstrumentState::Starting,
            State::Live => wire::InstrumentState::Running,
            State::Silent => wire::InstrumentState::Silent,
            State::Stopped => wire::InstrumentState::Stopped,
        },
        since: time(status.since),
        last_sample: status.last_sample.map(time),
        age: status.age,
        note: status.note,
        noted: status.noted.map(time),
        port: status.port.map(|port| port.display().to_string()),
        identity: Some(status.identity),
        channels: status.channels.into_iter().map(channel).collect(),
        counters: wire::Counters {
            samples: status.samples,
            bad_frames: status.bad_frames,
            skipped_bytes: status.skipped_bytes,
            refused_samples: status.refused_samples,
        },
    }
}

fn channel(status: ChannelStatus) -> wire::Channel {
    wire::Channel {
        channel: status.channel.to_string(),
        title: status.title,
        quantity: status.quantity.map(|q: Quantity| q.word().to_owned()),
        point: status.point.map(|point| point.to_string()),
        reference: status.reference.map(|reference| match reference {
            PressureReference::Gauge => wire::PressureReference::Gauge,
            PressureReference::Absolute => wire::PressureReference::Absolute,
            PressureReference::Barometric => wire::PressureReference::Barometric,
        }),
        latency: status.latency.map(|nanos| nanos as f64 / 1e9),
        calibrations: status
            .calibrations
            .into_iter()
            .map(channel_calibration)
            .collect(),
    }
}

fn channel_calibration(status: ChannelCalibration) -> wire::ChannelCalibration {
    wire::ChannelCalibration {
        function: status.function,
        overdue: status.overdue,
        calibration: calibration(status.record),
    }
}

/// A calibration as it was kept.
pub(crate) fn calibration(record: CalibrationRecord) -> wire::Calibration {
    wire::Calibration {
        calibration: record.calibration,
        kind: match record.kind {
            CalibrationKind::Offset => wire::CalibrationKind::Offset,
            CalibrationKind::Line => wire::CalibrationKind::Line,
            CalibrationKind::Table => wire::CalibrationKind::Table,
        },
        quantity: record.quantity,
        unit: record.unit,
        points: record.points,
        uncertainty: record.uncertainty,
        residual: record.residual,
        degrees_of_freedom: record.degrees_of_freedom,
        due: record.due,
        by: record.by,
        certificate: record.certificate,
    }
}

/// An adapter that instruments can be attached through.
pub(crate) fn adapter(description: AdapterDescription) -> wire::AboutAdapter {
    wire::AboutAdapter {
        adapter: description.adapter,
        title: description.title,
        settings: description.settings,
    }
}

/// The instrument that has a port.
pub(crate) fn port_user(user: PortUser) -> wire::AttachedTo {
    wire::AttachedTo {
        bay: user.bay,
        instrument: user.instrument,
    }
}

/// What speaks on a port.
pub(crate) fn port_probe(probe: PortProbe) -> wire::InstrumentProbed {
    wire::InstrumentProbed {
        port: probe.port,
        findings: probe.findings.into_iter().map(finding).collect(),
        bytes: probe.bytes,
        note: probe.note,
    }
}

fn finding(finding: PortFinding) -> wire::ProbeFinding {
    wire::ProbeFinding {
        adapter: finding.adapter,
        protocol: finding.protocol,
        title: finding.title,
        line: finding.line,
        share: finding.share,
        good: finding.good,
        bad: finding.bad,
        asked: finding.asked,
        said: finding.said,
        settings: finding.settings,
    }
}
