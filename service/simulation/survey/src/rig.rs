//! The instruments of one technician, and where their leads are.

use trisect_simulated::instruments::direct::{Direct, Make, Shown};
use trisect_machine::{Machine, Random};
use trisect_diagnosis::What;
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Quantity, Unit};
use trisect_rules::{Measured, RuleSet, Take};

use crate::hands::TICK;
use crate::people;

/// Of all technicians so many have dials only, and no transducer (from memory).
const DIALS_ONLY: f64 = 0.25;
/// Of all technicians so many read their meter by eye (from memory).
const METER_BY_EYE: f64 = 0.25;

/// An instrument, and what it is on.
struct Channel {
    instrument: Direct,
    by_eye: bool,
    on: Option<usize>,
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
pub(crate) struct Rig {
    channels: Vec<Channel>,
    /// Sent, and not yet arrived: when it arrives, and what.
    late: Vec<(i64, What)>,
}

const TACHOMETER: usize = 0;
const GAUGE: usize = 1;
const SECOND_GAUGE: usize = 2;
const METER: usize = 3;

impl Rig {
    /// A tachometer that is always on, two gauges and a multimeter.
    pub(crate) fn new(rules: &RuleSet, random: &mut Random) -> Rig {
        let gauge = if random.chance(DIALS_ONLY) {
            Make::Dial
        } else {
            Make::Transducer
        };
        let eye = random.chance(METER_BY_EYE);
        let makes = [
            (Make::Tachometer, false),
            (gauge, gauge == Make::Dial),
            (gauge, gauge == Make::Dial),
            (Make::Multimeter, eye),
        ];
        let mut channels: Vec<Channel> = makes
            .into_iter()
            .map(|(make, by_eye)| Channel {
                instrument: Direct::new(make, random),
                by_eye,
                on: None,
                sum: 0.0,
                taken: 0.0,
                due: 0.0,
                seen: None,
            })
            .collect();
        channels[TACHOMETER].on = rules.point_index("engine-speed");
        Rig {
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

    /// Puts the leads where a check asks; the points that are placed anew, or
    /// `None` when there is no instrument for it.
    pub(crate) fn place(
        &mut self,
        rules: &RuleSet,
        measured: &Measured,
        machine: &Machine,
    ) -> Option<Vec<usize>> {
        let wanted = match rules.derived_at(measured.point) {
            Some(derived) => vec![(SECOND_GAUGE, derived.minuend), (GAUGE, derived.subtrahend)],
            None => vec![(self.channel_for(rules, measured.point)?, measured.point)],
        };
        for (channel, point) in &wanted {
            machine.measure(rules.point_id(*point))?;
            let eye = self.channels[*channel].by_eye;
            // Nobody reads a ripple or a minute's decay off a dial to be relied on.
            let readable = matches!(
                measured.take,
                Take::Last | Take::Minimum | Take::Maximum | Take::Mean
            );
            if eye && !readable {
                return None;
            }
        }
        let mut placed = Vec::new();
        for (channel, point) in wanted {
            let channel = &mut self.channels[channel];
            channel.seen = None;
            (channel.sum, channel.taken) = (0.0, 0.0);
            if channel.on != Some(point) {
                channel.on = Some(point);
                placed.push(point);
            }
        }
        Some(placed)
    }

    fn channel_for(&self, rules: &RuleSet, point: usize) -> Option<usize> {
        match rules.test_points.get(point)?.quantity {
            Quantity::RotationalSpeed => Some(TACHOMETER),
            Quantity::Pressure => Some(GAUGE),
            Quantity::Voltage | Quantity::Current | Quantity::Resistance => Some(METER),
            _ => None,
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
            let division = match channel.instrument.make() {
                Make::Dial => Unit::PSI.to_si(1.0),
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
