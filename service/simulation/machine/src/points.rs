//! What an ideal instrument would read at each test point right now.

use trisect_measure::Quantity;

use super::wiring::seen;
use super::{Drive, Machine};

/// A place to put an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TestPoint {
    /// Its id, such as `pump-inlet-pressure`.
    pub id: &'static str,
    /// What is measured there.
    pub quantity: Quantity,
}

const fn point(id: &'static str, quantity: Quantity) -> TestPoint {
    TestPoint { id, quantity }
}

/// Every test point of the machine.
pub const POINTS: [TestPoint; 20] = [
    point("battery", Quantity::Voltage),
    point("engine-speed", Quantity::RotationalSpeed),
    point("ambient-temperature", Quantity::Temperature),
    point("fuel-temperature", Quantity::Temperature),
    point("tank-suction", Quantity::Pressure),
    point("filter-inlet-pressure", Quantity::Pressure),
    point("pump-inlet-pressure", Quantity::Pressure),
    point("positive-cable-drop", Quantity::Voltage),
    point("ground-cable-drop", Quantity::Voltage),
    point("pump-feed-drop", Quantity::Voltage),
    point("pump-ground-drop", Quantity::Voltage),
    point("controller-feed-drop", Quantity::Voltage),
    point("controller-ground-drop", Quantity::Voltage),
    point("lift-pump-feed-drop", Quantity::Voltage),
    point("accelerator-signal", Quantity::Voltage),
    point("bypass-current", Quantity::Current),
    point("lift-pump-current", Quantity::Current),
    point("harness-continuity", Quantity::Resistance),
    point("harness-isolation", Quantity::Resistance),
    point("bus-termination", Quantity::Resistance),
];

impl TestPoint {
    /// The point of this id.
    pub fn find(id: &str) -> Option<TestPoint> {
        POINTS.into_iter().find(|point| point.id == id)
    }
}

impl Machine {
    /// The true value at a test point in SI units (V, A, Ω, Pa gauge, K,
    /// rad/s); an open circuit is infinite. `None` for an unknown point.
    ///
    /// Drops are those across the run from the key-switched supply to the
    /// consumer; with the key off, or the plug off, nothing flows and nothing
    /// drops. Resistances of the harness are those with both ends unplugged.
    pub fn measure(&self, point: &str) -> Option<f64> {
        let parts = &self.parts;
        let feeds = &self.feeds;
        let on_harness = self.controls.drive == Drive::Harness;
        let pump = if on_harness {
            feeds.pump
        } else {
            Default::default()
        };
        Some(match point {
            "battery" => parts.electrics.volts,
            "engine-speed" => parts.engine.omega,
            "ambient-temperature" | "fuel-temperature" => parts.ambient,
            "tank-suction" => parts.fuel.suction,
            "filter-inlet-pressure" => parts.fuel.filter_inlet(),
            "pump-inlet-pressure" => parts.fuel.pump_inlet(),
            "positive-cable-drop" => parts.electrics.starter_amps * parts.electrics.positive_cable,
            "ground-cable-drop" => parts.electrics.starter_amps * parts.electrics.ground_cable,
            "pump-feed-drop" => pump.feed_drop,
            "pump-ground-drop" => pump.ground_drop,
            "controller-feed-drop" => feeds.controller.feed_drop,
            "controller-ground-drop" => feeds.controller.ground_drop,
            "lift-pump-feed-drop" => feeds.lift_pump.feed_drop,
            "accelerator-signal" => parts.controller.accelerator_volts,
            "bypass-current" if on_harness => 0.0,
            "bypass-current" => feeds.pump.amps,
            "lift-pump-current" => feeds.lift_pump.amps,
            "harness-continuity" => seen(parts.wiring.continuity()),
            "harness-isolation" => parts.wiring.isolation,
            "bus-termination" => seen(parts.wiring.termination()),
            _ => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_can_be_measured_and_no_other() {
        let machine = Machine::new(1, &[]);
        for point in POINTS {
            assert!(machine.measure(point.id).is_some(), "{}", point.id);
            assert_eq!(TestPoint::find(point.id), Some(point));
        }
        assert_eq!(machine.measure("filter-drop"), None);
    }
}
