//! The electric lift pump: flow against pressure by voltage, a relief valve
//! inside, and a bypass valve through which fuel can be sucked when it stands.

use super::super::random::Random;

/// Voltage at which flow and head are given, volts.
const RATED: f64 = 13.0;
/// Resistance of the turning motor, ohms (from memory).
const MOTOR: f64 = 2.6;
/// Below this across its windings the motor does not turn, volts.
const TURNS_ABOVE: f64 = 3.0;
/// Resistance of the relief valve above its opening, Pa s/m³ (from memory).
const RELIEF: f64 = 1.5e9;
/// Loss in pickup and strainer, Pa s²/m⁶: about 24 velocity heads in a line of
/// 8 mm (from memory).
const STRAINER: f64 = 4e12;

/// The lift pump's condition.
#[derive(Clone, Debug)]
pub(crate) struct LiftPump {
    /// Flow against nothing at 13 V, m³/s.
    pub free_flow: f64,
    /// Pressure against a closed line at 13 V, Pa.
    pub head: f64,
    /// Where the relief valve opens, Pa across the pump.
    pub relief: f64,
    /// What worn brushes add to the motor, ohms.
    pub brushes: f64,
    /// Resistance of the stopped pump's bypass valve, Pa s/m³.
    pub bypass_valve: f64,
}

/// What stands around the lift pump in one step.
pub(crate) struct Around {
    /// Volts at the motor.
    pub volts: f64,
    /// Pressure behind it, Pa gauge.
    pub behind: f64,
    /// Pressure before it if nothing flowed, Pa gauge.
    pub still: f64,
    /// Resistance of the suction line, Pa s/m³.
    pub line: f64,
    /// What air and gas leave of its ability, 0 to 1.
    pub able: f64,
}

impl LiftPump {
    /// A healthy one, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random) -> Self {
        let free_flow = 39e-6 * random.about_one(0.05);
        let head = 200e3 * random.about_one(0.05);
        LiftPump {
            free_flow,
            head,
            relief: 0.9 * head,
            brushes: 0.0,
            bypass_valve: 3.0e9 * random.about_one(0.15),
        }
    }

    /// What the motor draws as, ohms.
    pub(crate) fn ohms(&self) -> f64 {
        MOTOR + self.brushes
    }

    /// What the brushes leave of the volts at its plug.
    fn across_windings(&self, volts: f64) -> f64 {
        volts * MOTOR / self.ohms()
    }

    /// Is the motor turning at these volts?
    pub(crate) fn running(&self, volts: f64) -> bool {
        self.across_windings(volts) > TURNS_ABOVE
    }

    /// Flow, m³/s, and the pressure before the pump, Pa gauge.
    pub(crate) fn flow(&self, around: &Around) -> (f64, f64) {
        let drop = around.behind - around.still;
        if !self.running(around.volts) {
            let flow = (-drop / (self.bypass_valve + around.line)).max(0.0);
            return (flow, around.still - around.line * flow);
        }
        let speed = self.across_windings(around.volts) / RATED;
        let free = self.free_flow * speed * around.able;
        // Flow goes with the speed, head with its square. The floor is for one that is stalled.
        let slope = free / (self.head * speed * speed * around.able).max(1.0);
        let round = ((drop - self.relief) / RELIEF).max(0.0);
        let unhindered = free - slope * drop - round;
        if unhindered <= 0.0 {
            return (0.0, around.still);
        }
        // flow = unhindered − slope · (line · flow + strainer · flow²)
        let (a, b) = (slope * STRAINER, 1.0 + slope * around.line);
        let flow = 2.0 * unhindered / (b + (b * b + 4.0 * a * unhindered).sqrt());
        let suction = around.still - around.line * flow - STRAINER * flow * flow;
        (flow, suction)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flow(behind: f64, volts: f64) -> f64 {
        let pump = LiftPump {
            free_flow: 40e-6,
            head: 200e3,
            relief: 175e3,
            brushes: 0.0,
            bypass_valve: 3e9,
        };
        let around = Around {
            volts,
            behind,
            still: 0.0,
            line: 0.0,
            able: 1.0,
        };
        pump.flow(&around).0
    }

    #[test]
    fn flow_falls_with_pressure_and_voltage() {
        assert!(flow(0.0, 13.0) > 38e-6);
        assert!(flow(100e3, 13.0) < 0.6 * flow(0.0, 13.0));
        assert!(flow(100e3, 10.0) < flow(100e3, 13.0));
        assert_eq!(flow(200e3, 13.0), 0.0);
        assert_eq!(flow(0.0, 2.0), 0.0);
    }

    #[test]
    fn the_relief_valve_takes_the_last_of_it() {
        // At 185 kPa a pump of 200 kPa head still gives 3e-6 m³/s; the valve takes 6.7e-6.
        assert_eq!(flow(185e3, 13.0), 0.0);
        assert!(flow(174e3, 13.0) > 4e-6);
    }

    #[test]
    fn a_stopped_pump_lets_fuel_be_sucked_through_and_none_back() {
        assert!((flow(-6e3, 0.0) - 2e-6).abs() < 1e-12);
        assert_eq!(flow(50e3, 0.0), 0.0);
    }
}
