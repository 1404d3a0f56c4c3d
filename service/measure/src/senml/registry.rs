//! The units that SenML registers (from memory). There is no psi, bar or kPa.

use crate::{Quantity, Unit};

/// RFC 8428, 12.1, and RFC 8798, 2.
pub(super) const PRIMARY: &[&str] = &[
    "m", "kg", "g", "s", "A", "K", "cd", "mol", "Hz", "rad", "sr", "N", "Pa", "J", "W", "C", "V",
    "F", "Ohm", "S", "Wb", "T", "H", "Cel", "lm", "lx", "Bq", "Gy", "Sv", "kat", "m2", "m3", "l",
    "m/s", "m/s2", "m3/s", "l/s", "W/m2", "cd/m2", "bit", "bit/s", "lat", "lon", "pH", "dB", "dBW",
    "Bspl", "count", "/", "%", "%RH", "%EL", "EL", "1/s", "1/min", "beat/min", "beats", "S/m", "B",
    "VA", "VAs", "var", "vars", "J/m", "kg/m3", "deg",
];

/// RFC 8798, 3: only with the feature bit of RFC 9100.
pub(super) const SECONDARY: &[&str] = &[
    "ms", "min", "h", "MHz", "kW", "kVA", "kvar", "Ah", "Wh", "kWh", "varh", "kvarh", "kVAh",
    "Wh/km", "KiB", "GB", "Mbit/s", "B/s", "MB/s", "mV", "mA", "dBm", "ug/m3", "mm/h", "m/h",
    "ppm", "/100", "/1000", "hPa", "mm", "cm", "km", "km/h",
];

/// The unit in which values of a quantity are written: SenML's code and ours.
pub const fn unit_of(quantity: Quantity) -> (&'static str, Unit) {
    match quantity {
        Quantity::Voltage => ("V", Unit::VOLT),
        Quantity::Current => ("A", Unit::AMPERE),
        Quantity::Resistance => ("Ohm", Unit::OHM),
        Quantity::Pressure => ("Pa", Unit::PASCAL),
        Quantity::Temperature => ("Cel", Unit::CELSIUS),
        Quantity::RotationalSpeed => ("1/min", Unit::RPM),
        Quantity::Frequency => ("Hz", Unit::HERTZ),
        Quantity::Capacitance => ("F", Unit::FARAD),
        Quantity::Volume => ("m3", Unit::CUBIC_METRE),
        Quantity::VolumeFlow => ("m3/s", Unit::CUBIC_METRE_PER_SECOND),
        Quantity::Time => ("s", Unit::SECOND),
        Quantity::Ratio => ("/", Unit::RATIO),
    }
}
