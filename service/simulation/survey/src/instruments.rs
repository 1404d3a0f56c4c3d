//! The instruments of one technician, and where their leads are.

use trisect_diagnosis::What;
use trisect_machine::{Machine, Random};
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Unit};
use trisect_rules::{RuleSet, Take};
use trisect_technician::Instrument;

use crate::instrument::{Kind, Shown, SimulatedInstrument};
use crate::people;
use crate::technician::TICK;

/// Of all technicians so many have dials only, and no transducer (from memory).
const DIALS_ONLY: f64 = 0.25;
/// Of all technicians so many read their meter by eye (from memory).
const METER_BY_EYE: f64 = 0.25;

/// An instrument, and what it is on.
struct Channel {
    instrument: SimulatedInstrument,
    by_eye: bool,
    on: Option<usize>,
    /// It was said that it is there: what it shows counts.
    placed: bool,
    /// Sum, count, and the look that is next.
    sum: f64,
    taken: f64,
    due: f64,
    /// What a person saw: lowest, highest, sum, count, last.
    seen: Option<Seen>,
}

#[derive(Clone, Copy)]
struct Seen {
    low: Shown,
    high: Shown,
    last: Shown,
    sum: f64,
    count: f64,
}

/// What one technician has.
pub(crate) struct Instruments {
    channels: Vec<Channel>,
    /// Sent, and not yet arrived: when it arrives, and what.
    late: Vec<(i64, What)>,
}

const TACHOMETER: usize = 0;
const GAUGE: usize = 1;
const SECOND_GAUGE: usize = 2;
const METER: usize = 3;

impl Instruments {
    /// A tachometer that is always on, two gauges and a multimeter.
    pub(crate) fn new(random: &mut Random) -> Instruments {
        let gauge = if random.chance(DIALS_ONLY) {
            Kind::Dial
        } else {
            Kind::Transducer
        };
        let eye = random.chance(METER_BY_EYE);
        let kinds = [
            (Kind::Tachometer, false),
            (gauge, gauge == Kind::Dial),
            (gauge, gauge == Kind::Dial),
            (Kind::Multimeter, eye),
        ];
        let channels: Vec<Channel> = kinds
            .into_iter()
            .map(|(kind, by_eye)| Channel {
                instrument: SimulatedInstrument::new(kind, random),
                by_eye,
                on: None,
                placed: false,
                sum: 0.0,
                taken: 0.0,
                due: 0.0,
                seen: None,
            })
            .collect();
        Instruments {
            channels,
            late: Vec::new(),
        }
    }

    /// The yard's thermometer, read by a person to the degree.
    pub(crate) fn thermometer(
        &self,
        rules: &RuleSet,
        machine: &Machine,
        random: &mut Random,
    ) -> Option<What> {
        let point = rules.point_index("ambient-temperature")?;
        let celsius = Unit::CELSIUS.from_si(machine.measure("ambient-temperature")?);
        let shown = Unit::CELSIUS.to_si((celsius + 0.5 * random.normal()).round());
        let read = people::read((Amount::Exactly(shown), 1.0), 1.0, random);
        Some(reading(rules, point, read, true))
    }

    /// Whether what a check takes can be read off this instrument.
    pub(crate) fn can_read(&self, instrument: Instrument, take: Take) -> bool {
        let Some(channel) = channel_of(instrument) else {
            return false;
        };
        // Nobody reads a ripple or a minute's decay off a dial to be relied on.
        let by_eye = matches!(
            take,
            Take::Last | Take::Minimum | Take::Maximum | Take::Mean
        );
        by_eye || !self.channels[channel].by_eye
    }

    /// Puts an instrument's lead to a point; whether it was elsewhere.
    pub(crate) fn move_lead(&mut self, instrument: Instrument, point: usize) -> bool {
        let Some(channel) = channel_of(instrument) else {
            return false;
        };
        let channel = &mut self.channels[channel];
        channel.seen = None;
        if channel.on == Some(point) {
            return false;
        }
        // The mean that is being taken is not of the new place.
        (channel.sum, channel.taken) = (0.0, 0.0);
        channel.on = Some(point);
        true
    }

    /// Says of every lead where it is; the points where it had not been said.
    pub(crate) fn place(&mut self) -> Vec<usize> {
        let mut said = Vec::new();
        for channel in &mut self.channels {
            if !channel.placed
                && let Some(point) = channel.on
            {
                channel.placed = true;
                said.push(point);
            }
        }
        said
    }

    /// Says of every lead but the tachometer's that it is lifted.
    pub(crate) fn lift(&mut self) {
        for (index, channel) in self.channels.iter_mut().enumerate() {
            channel.placed &= index == TACHOMETER;
        }
    }

    /// What arrives now, with the time it is dated by.
    pub(crate) fn look(
        &mut self,
        rules: &RuleSet,
        machine: &Machine,
        now: i64,
        random: &mut Random,
    ) -> Vec<(i64, What)> {
        for channel in &mut self.channels {
            let Some((shown, point)) = channel.read(rules, machine, random) else {
                continue;
            };
            if !channel.placed {
                continue;
            }
            if channel.by_eye {
                channel.remember(shown);
                continue;
            }
            let late = (channel.instrument.latency() * NANOS_PER_SECOND as f64) as i64;
            self.late
                .push((now + late, reading(rules, point, shown, false)));
        }
        self.arrived(now)
    }

    /// What was sent and has arrived by now, in order.
    pub(crate) fn arrived(&mut self, now: i64) -> Vec<(i64, What)> {
        let mut arrived: Vec<(i64, What)> = Vec::new();
        self.late.retain(|one| {
            let here = one.0 <= now;
            if here {
                arrived.push(*one);
            }
            !here
        });
        arrived.sort_by_key(|one| one.0);
        arrived
    }

    /// Forgets what was seen by eye so far.
    pub(crate) fn look_anew(&mut self) {
        for channel in &mut self.channels {
            channel.seen = None;
        }
    }

    /// What a person notes at the end of a look, and forgets.
    pub(crate) fn written(
        &mut self,
        rules: &RuleSet,
        take: Take,
        random: &mut Random,
    ) -> Vec<What> {
        let mut notes = Vec::new();
        for channel in &mut self.channels {
            let (Some(seen), Some(point)) = (channel.seen.take(), channel.on) else {
                continue;
            };
            let shown = match take {
                Take::Minimum => seen.low,
                Take::Maximum => seen.high,
                Take::Mean => match seen.last.0 {
                    Amount::Exactly(_) => (Amount::Exactly(seen.sum / seen.count), seen.last.1),
                    beyond => (beyond, seen.last.1),
                },
                _ => seen.last,
            };
            let division = match channel.instrument.kind() {
                Kind::Dial => Unit::PSI.to_si(1.0),
                _ => 0.01 * shown.0.edge().abs().max(0.1),
            };
            notes.push(reading(
                rules,
                point,
                people::read(shown, division, random),
                true,
            ));
        }
        notes
    }
}

/// The channel of an instrument: there is one multimeter, for ohms as well, and nothing that a
/// thermometer would be clipped to.
fn channel_of(instrument: Instrument) -> Option<usize> {
    match instrument {
        Instrument::Tachometer => Some(TACHOMETER),
        Instrument::Gauge => Some(GAUGE),
        Instrument::SecondGauge => Some(SECOND_GAUGE),
        Instrument::Multimeter | Instrument::Ohmmeter => Some(METER),
        Instrument::Thermometer => None,
    }
}

impl Channel {
    /// The next reading, once its time has come: the mean since the last one.
    fn read(
        &mut self,
        rules: &RuleSet,
        machine: &Machine,
        random: &mut Random,
    ) -> Option<(Shown, usize)> {
        let point = self.on?;
        let quantity = rules.test_points.get(point)?.quantity;
        self.sum += machine.measure(rules.point_id(point))?;
        self.taken += 1.0;
        self.due += TICK;
        if self.due + 1e-9 < self.instrument.period() {
            return None;
        }
        self.due = 0.0;
        let mean = self.sum / self.taken;
        (self.sum, self.taken) = (0.0, 0.0);
        let shown = self.instrument.show(quantity, mean, random)?;
        Some((shown, point))
    }

    fn remember(&mut self, shown: Shown) {
        let value = shown.0.edge();
        let seen = self.seen.get_or_insert(Seen {
            low: shown,
            high: shown,
            last: shown,
            sum: 0.0,
            count: 0.0,
        });
        if value < seen.low.0.edge() {
            seen.low = shown;
        }
        if value > seen.high.0.edge() {
            seen.high = shown;
        }
        seen.last = shown;
        seen.sum += value;
        seen.count += 1.0;
    }
}

/// A reading as the bay would make it: what cannot be true is flagged.
fn reading(rules: &RuleSet, point: usize, shown: Shown, entered: bool) -> What {
    let (amount, u) = shown;
    let implausible = rules
        .test_points
        .get(point)
        .is_some_and(|known| known.implausible(amount, u));
    What::Reading {
        point: point as u16,
        amount,
        u,
        flags: if implausible {
            Flags::IMPLAUSIBLE
        } else {
            Flags::empty()
        },
        entered,
    }
}
