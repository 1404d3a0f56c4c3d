//! Pulses to shaft speed: by frequency, or by a counter that wraps around.

use std::f64::consts::TAU;

use trisect_measure::{Amount, Function, NANOS_PER_SECOND, Sample};

use crate::{Adapter, BadFrame, Context, Description, Emission, Running};

/// How many pulses one turn of the shaft gives. More than 0; a fraction where a
/// sensor sits on another shaft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PulsesPerTurn(f64);

impl PulsesPerTurn {
    /// So many pulses a turn.
    ///
    /// # Errors
    /// A number that is none, or not more than 0.
    pub fn new(pulses: f64) -> Result<PulsesPerTurn, &'static str> {
        if pulses.is_finite() && pulses > 0.0 {
            Ok(PulsesPerTurn(pulses))
        } else {
            Err(
                "it must be a number more than 0: the teeth of the wheel, or the pulses of one turn",
            )
        }
    }

    /// The shaft's speed, in rad/s, at so many pulses a second.
    pub fn speed(self, hertz: f64) -> f64 {
        hertz * TAU / self.0
    }

    /// Pulses a second at a shaft's speed in rad/s.
    pub fn frequency(self, speed: f64) -> f64 {
        speed * self.0 / TAU
    }

    /// A frequency as shaft speed, with its digit, its range and its flags; any
    /// other sample as it is.
    pub fn convert(self, sample: Sample) -> Sample {
        if sample.function != Function::Frequency {
            return sample;
        }
        Sample {
            function: Function::RotationalSpeed,
            amount: match sample.amount {
                Amount::Exactly(hertz) => Amount::Exactly(self.speed(hertz)),
                Amount::Above(hertz) => Amount::Above(self.speed(hertz)),
                Amount::Below(hertz) => Amount::Below(self.speed(hertz)),
            },
            digit: sample.digit.map(|hertz| self.speed(hertz)),
            span: sample.span.map(|hertz| self.speed(hertz)),
            ..sample
        }
    }
}

/// The frequency between two readings of a counter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PulseRate {
    /// Pulses a second.
    pub hertz: f64,
    /// One pulse more or less, in pulses a second.
    pub digit: f64,
}

/// Pulses a second from a counter's readings. No clock: times come with them.
#[derive(Clone, Debug)]
pub struct PulseCounter {
    modulus: u64,
    gate: i64,
    fastest: f64,
    last: Option<(u64, i64)>,
}

impl PulseCounter {
    /// A counter that goes back to 0 at `modulus` (2 or more), read over at
    /// least `gate` nanoseconds; more than `fastest` pulses a second cannot be.
    pub fn new(modulus: u64, gate: i64, fastest: f64) -> PulseCounter {
        PulseCounter {
            modulus: modulus.max(2),
            gate: gate.max(1),
            fastest,
            last: None,
        }
    }

    /// The longest time between two readings after which a wrap-around is still
    /// told from two, in seconds.
    pub fn longest(&self) -> f64 {
        self.modulus as f64 / self.fastest
    }

    /// Takes a reading made at `at` nanoseconds; the rate since the last one,
    /// once the gate time has passed. The first reading, and one after a time
    /// in which the counter may have wrapped twice or the clock went back,
    /// only begins anew.
    ///
    /// # Errors
    /// The counter went on by more than it can: it was set back, or its device
    /// started anew. It is counted from here.
    pub fn push(&mut self, count: u64, at: i64) -> Result<Option<PulseRate>, BadFrame> {
        let count = count % self.modulus;
        let Some((before, since)) = self.last else {
            self.last = Some((count, at));
            return Ok(None);
        };
        let nanos = at.saturating_sub(since);
        if (0..self.gate).contains(&nanos) {
            return Ok(None);
        }
        self.last = Some((count, at));
        let seconds = nanos as f64 / NANOS_PER_SECOND as f64;
        if nanos < 0 || seconds > self.longest() {
            return Ok(None);
        }
        let pulses = if count >= before {
            count - before
        } else {
            count + (self.modulus - before)
        };
        let hertz = pulses as f64 / seconds;
        if hertz > self.fastest {
            return Err(BadFrame::new(
                "the pulse counter jumped: its device was started anew, or the fastest speed is set too low",
            ));
        }
        Ok(Some(PulseRate {
            hertz,
            digit: 1.0 / seconds,
        }))
    }
}

/// Any adapter, its frequencies shown as shaft speed.
pub struct Tachometer {
    inner: Box<dyn Adapter>,
    pulses: PulsesPerTurn,
}

impl Tachometer {
    /// The adapter whose frequencies are pulses.
    pub fn new(inner: Box<dyn Adapter>, pulses: PulsesPerTurn) -> Tachometer {
        Tachometer { inner, pulses }
    }
}

impl Adapter for Tachometer {
    fn describe(&self) -> Description {
        let mut description = self.inner.describe();
        for channel in &mut description.channels {
            if channel.function == Some(Function::Frequency) {
                channel.function = Some(Function::RotationalSpeed);
            }
        }
        description
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        let pulses = self.pulses;
        let outer = context.samples.clone();
        // As narrow as can be: a full queue holds the adapter back one sample later.
        let (samples, mut inner) = tokio::sync::mpsc::channel::<Emission>(1);
        let stop = context.stop.clone();
        let running = self.inner.run(Context { samples, ..context });
        Box::pin(async move {
            let pass = async {
                // Room first, so that no sample is in hand while there is none.
                while let Ok(room) = outer.reserve().await {
                    let Some(emission) = inner.recv().await else {
                        return;
                    };
                    room.send(Emission {
                        sample: pulses.convert(emission.sample),
                        ..emission
                    });
                }
                // Nobody takes samples any more: the inner adapter finds its queue
                // closed, as it would without us.
                drop(inner);
                stop.cancelled().await;
            };
            let mut running = running;
            tokio::select! {
                ended = &mut running => ended,
                () = pass => running.await,
            }
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const SECOND: i64 = NANOS_PER_SECOND;

    fn rpm(speed: f64) -> f64 {
        trisect_measure::Unit::RPM.from_si(speed)
    }

    #[test]
    fn sixty_teeth_at_sixty_hertz_are_sixty_turns_a_minute() {
        let wheel = PulsesPerTurn::new(60.0).unwrap();
        assert_eq!(rpm(wheel.speed(800.0)), 800.0);
        assert!((wheel.frequency(wheel.speed(123.0)) - 123.0).abs() < 1e-9);
        for wrong in [0.0, -2.0, f64::NAN, f64::INFINITY] {
            assert!(PulsesPerTurn::new(wrong).is_err());
        }
    }

    fn counter() -> PulseCounter {
        PulseCounter::new(65_536, SECOND / 2, 10_000.0)
    }

    fn check(readings: &[(u64, i64)], expected: Result<Option<f64>, ()>) {
        let mut counter = counter();
        let mut last = Ok(None);
        for (count, millis) in readings {
            last = counter.push(*count, millis * 1_000_000);
        }
        let found = last.map(|rate| rate.map(|rate| rate.hertz)).map_err(|_| ());
        assert_eq!(found, expected, "{readings:?}");
    }

    #[test]
    fn a_counter_gives_a_rate_over_its_gate_time() {
        check(&[(100, 0)], Ok(None));
        check(&[(100, 0), (120, 400)], Ok(None));
        check(&[(100, 0), (120, 400), (150, 1000)], Ok(Some(50.0)));
        // Around the end of 16 bits.
        check(&[(65_530, 0), (20, 1000)], Ok(Some(26.0)));
        check(&[(7, 0), (7, 1000)], Ok(Some(0.0)));
    }

    #[test]
    fn a_counter_set_back_or_not_read_for_long_begins_anew() {
        check(&[(30_000, 0), (5, 1000)], Err(()));
        check(&[(30_000, 0), (5, 1000), (15, 2000)], Ok(Some(10.0)));
        // 65536 pulses at 10 kHz are 6.5 s: later, it may have wrapped twice.
        check(&[(0, 0), (100, 7000)], Ok(None));
        check(&[(0, 1000), (100, 0)], Ok(None));
        check(&[(0, 1000), (100, 0), (110, 1000)], Ok(Some(10.0)));
    }

    /// Gives frequencies until told to stop.
    struct Generator;

    impl Adapter for Generator {
        fn describe(&self) -> Description {
            Description {
                name: "generator".to_owned(),
                version: "1".to_owned(),
                title: "a generator".to_owned(),
                channels: vec![crate::ChannelDescription {
                    channel: 0,
                    title: "output".to_owned(),
                    function: Some(Function::Frequency),
                }],
                settings: serde_json::json!({}),
            }
        }

        fn run(&mut self, context: Context) -> Running<'_> {
            Box::pin(async move {
                let mut hertz = 0.0;
                loop {
                    hertz += 1.0;
                    let sample = Sample {
                        channel: 0,
                        function: Function::Frequency,
                        amount: Amount::Exactly(hertz),
                        digit: Some(0.1),
                        span: None,
                        coupling: None,
                        flags: trisect_measure::Flags::AUTO,
                    };
                    if context.emit(sample, 7).await.is_err() {
                        return Ok(());
                    }
                }
            })
        }
    }

    #[tokio::test]
    async fn any_adapters_frequency_becomes_shaft_speed_in_order_and_held_back() {
        let mut tachometer = Tachometer::new(Box::new(Generator), PulsesPerTurn::new(2.0).unwrap());
        let channels = tachometer.describe().channels;
        assert_eq!(channels[0].function, Some(Function::RotationalSpeed));
        let (samples, mut taken) = tokio::sync::mpsc::channel(2);
        let (health, stop) = (
            crate::Health::new(),
            tokio_util::sync::CancellationToken::new(),
        );
        let context = Context {
            samples,
            health: health.clone(),
            stop: stop.clone(),
            clock: std::sync::Arc::new(|| 7),
            networks: crate::Networks::all(),
        };
        let running = tokio::spawn(async move { tachometer.run(context).await });
        for turn in 1..=100 {
            let emission = taken.recv().await.unwrap();
            assert_eq!(emission.sample.function, Function::RotationalSpeed);
            assert_eq!(rpm(emission.sample.amount.edge()), f64::from(turn) * 30.0);
            assert_eq!(emission.sample.digit.map(rpm), Some(3.0));
            assert_eq!(emission.at, 7);
            // Two in the queue, one on the way, one in the adapter's hand.
            assert!(health.vitals().frames_good <= u64::try_from(turn + 4).unwrap());
        }
        stop.cancel();
        running.await.unwrap().unwrap();
    }

    #[tokio::test]
    async fn an_adapter_whose_samples_nobody_takes_ends() {
        let mut tachometer = Tachometer::new(Box::new(Generator), PulsesPerTurn::new(2.0).unwrap());
        let (samples, taken) = tokio::sync::mpsc::channel(2);
        drop(taken);
        let context = Context {
            samples,
            health: crate::Health::new(),
            stop: tokio_util::sync::CancellationToken::new(),
            clock: std::sync::Arc::new(|| 7),
            networks: crate::Networks::all(),
        };
        tachometer.run(context).await.unwrap();
    }

    #[test]
    fn one_pulse_is_the_digit() {
        let mut counter = counter();
        counter.push(0, 0).unwrap();
        let rate = counter.push(10, SECOND / 2).unwrap().unwrap();
        assert_eq!((rate.hertz, rate.digit), (20.0, 2.0));
    }
}
