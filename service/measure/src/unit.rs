//! Units: one table, parsed at the edge, converted by `uom`.

use std::fmt;

use uom::si::f64 as q;

use crate::Quantity;

/// The units of `uom`, with what it has none for.
mod si {
    pub(super) use uom::si::*;

    pub(super) mod volume_rate {
        pub(crate) use uom::si::volume_rate::*;

        unit! {
            system: uom::si;
            quantity: uom::si::volume_rate;
            // 231 cubic inches of 25.4 mm a side, in an hour.
            @gallon_per_hour: 3.785_411_784_E-3 / 3.6_E3; "gal/h", "gallon per hour", "gallons per hour";
        }
    }
}

/// A unit of measurement, one row of the table below.
#[derive(Clone, Copy)]
pub struct Unit(&'static Row);

struct Row {
    quantity: Quantity,
    symbol: &'static str,
    /// Other spellings: UCUM, SenML, and those of the trade.
    also: &'static [&'static str],
    to_si: fn(f64) -> f64,
    from_si: fn(f64) -> f64,
    span_to_si: fn(f64) -> f64,
    span_from_si: fn(f64) -> f64,
}

/// A unit text that names no unit known here.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("unknown unit `{text}`: use one of {known}")]
pub struct UnitError {
    /// What was written.
    pub text: String,
    known: String,
}

impl UnitError {
    /// An error for `text`, where the units of `known` would have been taken.
    pub(crate) fn among(text: String, known: String) -> UnitError {
        UnitError { text, known }
    }
}

macro_rules! units {
    ($($name:ident $doc:literal: $quantity:ident $kind:ident / $span:ident $module:ident / $span_module:ident :: $unit:ident, $symbol:literal, [$($also:literal),*];)*) => {
        impl Unit {
            $(#[doc = $doc] pub const $name: Unit = Unit(&Row {
                quantity: Quantity::$quantity,
                symbol: $symbol,
                also: &[$($also),*],
                to_si: |x| q::$kind::new::<si::$module::$unit>(x).value,
                from_si: |x| q::$kind { dimension: std::marker::PhantomData, units: std::marker::PhantomData, value: x }.get::<si::$module::$unit>(),
                span_to_si: |x| q::$span::new::<si::$span_module::$unit>(x).value,
                span_from_si: |x| q::$span { dimension: std::marker::PhantomData, units: std::marker::PhantomData, value: x }.get::<si::$span_module::$unit>(),
            });)*

            /// Every unit, grouped by quantity.
            pub const ALL: &'static [Unit] = &[$(Unit::$name),*];
        }
    };
}

units! {
    VOLT "Volt.": Voltage ElectricPotential/ElectricPotential electric_potential/electric_potential::volt, "V", ["volt", "volts", "v"];
    MILLIVOLT "Millivolt.": Voltage ElectricPotential/ElectricPotential electric_potential/electric_potential::millivolt, "mV", [];
    MICROVOLT "Microvolt.": Voltage ElectricPotential/ElectricPotential electric_potential/electric_potential::microvolt, "uV", ["µV", "μV"];
    AMPERE "Ampere.": Current ElectricCurrent/ElectricCurrent electric_current/electric_current::ampere, "A", ["amp", "amps", "ampere"];
    MILLIAMPERE "Milliampere.": Current ElectricCurrent/ElectricCurrent electric_current/electric_current::milliampere, "mA", [];
    MICROAMPERE "Microampere.": Current ElectricCurrent/ElectricCurrent electric_current/electric_current::microampere, "uA", ["µA", "μA"];
    OHM "Ohm.": Resistance ElectricalResistance/ElectricalResistance electrical_resistance/electrical_resistance::ohm, "Ohm", ["Ω", "\u{2126}", "ohm", "ohms"];
    MILLIOHM "Milliohm.": Resistance ElectricalResistance/ElectricalResistance electrical_resistance/electrical_resistance::milliohm, "mOhm", ["mΩ", "m\u{2126}"];
    KILOOHM "Kiloohm.": Resistance ElectricalResistance/ElectricalResistance electrical_resistance/electrical_resistance::kiloohm, "kOhm", ["kΩ", "k\u{2126}", "kohm"];
    MEGAOHM "Megaohm.": Resistance ElectricalResistance/ElectricalResistance electrical_resistance/electrical_resistance::megaohm, "MOhm", ["MΩ", "M\u{2126}", "Mohm"];
    PASCAL "Pascal.": Pressure Pressure/Pressure pressure/pressure::pascal, "Pa", [];
    HECTOPASCAL "Hectopascal.": Pressure Pressure/Pressure pressure/pressure::hectopascal, "hPa", [];
    KILOPASCAL "Kilopascal.": Pressure Pressure/Pressure pressure/pressure::kilopascal, "kPa", [];
    MEGAPASCAL "Megapascal.": Pressure Pressure/Pressure pressure/pressure::megapascal, "MPa", [];
    BAR "Bar.": Pressure Pressure/Pressure pressure/pressure::bar, "bar", [];
    MILLIBAR "Millibar.": Pressure Pressure/Pressure pressure/pressure::millibar, "mbar", [];
    PSI "Pound-force per square inch.": Pressure Pressure/Pressure pressure/pressure::psi, "psi", ["[psi]", "PSI", "lbf/in2"];
    INCH_OF_MERCURY "Conventional inch of mercury.": Pressure Pressure/Pressure pressure/pressure::inch_of_mercury, "inHg", ["[in_i'Hg]", "in[Hg]", "inhg", "in Hg"];
    INCH_OF_WATER "Conventional inch of water.": Pressure Pressure/Pressure pressure/pressure::inch_of_water, "inH2O", ["[in_i'H2O]"];
    KELVIN "Kelvin.": Temperature ThermodynamicTemperature/TemperatureInterval thermodynamic_temperature/temperature_interval::kelvin, "K", [];
    CELSIUS "Degree Celsius.": Temperature ThermodynamicTemperature/TemperatureInterval thermodynamic_temperature/temperature_interval::degree_celsius, "degC", ["°C", "Cel", "℃"];
    FAHRENHEIT "Degree Fahrenheit.": Temperature ThermodynamicTemperature/TemperatureInterval thermodynamic_temperature/temperature_interval::degree_fahrenheit, "degF", ["°F", "[degF]", "℉"];
    RADIAN_PER_SECOND "Radian per second.": RotationalSpeed AngularVelocity/AngularVelocity angular_velocity/angular_velocity::radian_per_second, "rad/s", [];
    RPM "Revolution per minute.": RotationalSpeed AngularVelocity/AngularVelocity angular_velocity/angular_velocity::revolution_per_minute, "rpm", ["1/min", "/min", "r/min", "RPM"];
    HERTZ "Hertz.": Frequency Frequency/Frequency frequency/frequency::hertz, "Hz", ["1/s"];
    KILOHERTZ "Kilohertz.": Frequency Frequency/Frequency frequency/frequency::kilohertz, "kHz", [];
    MEGAHERTZ "Megahertz.": Frequency Frequency/Frequency frequency/frequency::megahertz, "MHz", [];
    FARAD "Farad.": Capacitance Capacitance/Capacitance capacitance/capacitance::farad, "F", [];
    MILLIFARAD "Millifarad.": Capacitance Capacitance/Capacitance capacitance/capacitance::millifarad, "mF", [];
    MICROFARAD "Microfarad.": Capacitance Capacitance/Capacitance capacitance/capacitance::microfarad, "uF", ["µF", "μF"];
    NANOFARAD "Nanofarad.": Capacitance Capacitance/Capacitance capacitance/capacitance::nanofarad, "nF", [];
    PICOFARAD "Picofarad.": Capacitance Capacitance/Capacitance capacitance/capacitance::picofarad, "pF", [];
    CUBIC_METRE "Cubic metre.": Volume Volume/Volume volume/volume::cubic_meter, "m3", ["m³"];
    LITRE "Litre.": Volume Volume/Volume volume/volume::liter, "L", ["l", "litre", "liter"];
    MILLILITRE "Millilitre.": Volume Volume/Volume volume/volume::milliliter, "mL", ["ml", "cc", "cm3"];
    CUBIC_METRE_PER_SECOND "Cubic metre per second.": VolumeFlow VolumeRate/VolumeRate volume_rate/volume_rate::cubic_meter_per_second, "m3/s", ["m³/s"];
    LITRE_PER_MINUTE "Litre per minute.": VolumeFlow VolumeRate/VolumeRate volume_rate/volume_rate::liter_per_minute, "L/min", ["l/min", "lpm"];
    GALLON_PER_HOUR "US gallon per hour.": VolumeFlow VolumeRate/VolumeRate volume_rate/volume_rate::gallon_per_hour, "gal/h", ["gph"];
    SECOND "Second.": Time Time/Time time/time::second, "s", ["sec"];
    MILLISECOND "Millisecond.": Time Time/Time time/time::millisecond, "ms", [];
    MICROSECOND "Microsecond.": Time Time/Time time/time::microsecond, "us", ["µs", "μs"];
    MINUTE "Minute.": Time Time/Time time/time::minute, "min", [];
    HOUR "Hour.": Time Time/Time time/time::hour, "h", [];
    RATIO "The number one.": Ratio Ratio/Ratio ratio/ratio::ratio, "1", ["/"];
    PERCENT "Percent.": Ratio Ratio/Ratio ratio/ratio::percent, "%", ["%RH", "/100"];
    PPM "Part per million.": Ratio Ratio/Ratio ratio/ratio::part_per_million, "ppm", [];
}

impl Unit {
    /// Reads a unit in the trade's spelling, UCUM or SenML.
    ///
    /// # Errors
    /// An unknown spelling; the message lists the units there are.
    pub fn parse(text: &str) -> Result<Unit, UnitError> {
        let text = text.trim();
        Unit::ALL
            .iter()
            .copied()
            .find(|u| u.0.symbol == text || u.0.also.contains(&text))
            .ok_or_else(|| UnitError {
                text: text.to_owned(),
                known: Unit::ALL
                    .iter()
                    .map(|u| u.0.symbol)
                    .collect::<Vec<_>>()
                    .join(" "),
            })
    }

    /// The spelling used on screen and wire, such as `psi` or `degC`.
    pub const fn symbol(self) -> &'static str {
        self.0.symbol
    }

    /// What this is a unit of.
    pub const fn quantity(self) -> Quantity {
        self.0.quantity
    }

    /// A value in this unit, in SI.
    pub fn to_si(self, value: f64) -> f64 {
        (self.0.to_si)(value)
    }

    /// An SI value in this unit, rounded to 12 significant digits so that
    /// 120 rpm, kept as radians per second, reads 120 again.
    pub fn from_si(self, value: f64) -> f64 {
        let converted = (self.0.from_si)(value);
        if self.quantity() == Quantity::Temperature {
            // An offset cancels digits: 0 degF must not read -5.7e-14.
            return (converted * 1e9).round() / 1e9 + 0.0;
        }
        significant(converted, 12)
    }

    /// A difference or an uncertainty in this unit, in SI: no offset.
    pub fn span_to_si(self, span: f64) -> f64 {
        (self.0.span_to_si)(span)
    }

    /// An SI difference or uncertainty in this unit, to 12 significant digits.
    pub fn span_from_si(self, span: f64) -> f64 {
        significant((self.0.span_from_si)(span), 12)
    }
}

/// A unit's symbol as it follows a number: a space before it, and nothing at all for the unit one.
pub fn after_number(symbol: &str) -> String {
    match symbol {
        "1" => String::new(),
        symbol => format!(" {symbol}"),
    }
}

/// A value as people read it: four digits, its unit, and `above` or `below` before it where it is beyond a range.
pub fn value_in_words(value: f64, bound: Option<&str>, symbol: &str) -> String {
    let beyond = bound.map_or(String::new(), |bound| format!("{bound} "));
    format!("{beyond}{}{}", significant(value, 4), after_number(symbol))
}

/// `value` rounded to `digits` significant decimal digits (1 to 17).
pub fn significant(value: f64, digits: usize) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    // Formatting rounds in decimal, exactly; arithmetic with powers of ten would not.
    format!("{value:.*e}", digits.clamp(1, 17) - 1)
        .parse()
        .unwrap_or(value)
}

impl PartialEq for Unit {
    fn eq(&self, other: &Unit) -> bool {
        self.0.symbol == other.0.symbol
    }
}

impl Eq for Unit {}

impl fmt::Debug for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Unit({})", self.0.symbol)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.symbol)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_are_unambiguous_and_round_trip() {
        let mut seen = std::collections::HashSet::new();
        for unit in Unit::ALL {
            for text in std::iter::once(&unit.0.symbol).chain(unit.0.also) {
                assert!(seen.insert(*text), "{text} twice");
                assert_eq!(Unit::parse(text), Ok(*unit));
            }
            for x in [-40.0, 0.0, 0.1, 12.4, 21.0, 120.0] {
                assert_eq!(unit.from_si(unit.to_si(x)), x, "{unit:?}");
                assert_eq!(unit.span_from_si(unit.span_to_si(x)), x, "{unit:?}");
            }
        }
    }

    fn check(text: &str, si: f64, relative: f64) {
        let got = Unit::parse(text).map(|u| u.to_si(1.0));
        assert!(
            matches!(got, Ok(x) if (x / si - 1.0).abs() <= relative),
            "{text}: {got:?} for {si}"
        );
    }

    /// NIST SP 811 (2008), appendix B, factors from memory, to its printed digits.
    #[test]
    fn factors_of_nist_sp_811() {
        check("psi", 6894.757, 1e-7);
        check("inHg", 3386.389, 2e-7);
        check("inH2O", 249.0889, 2e-7);
        check("bar", 1e5, 1e-15);
        check("rpm", 0.104_719_755, 5e-9);
    }

    /// A US gallon is 231 cubic inches of 25.4 mm a side: by definition, so to every digit.
    #[test]
    fn volumes_and_flows() {
        check("mL", 1e-6, 1e-15);
        check("L", 1e-3, 1e-15);
        check("L/min", 1e-3 / 60.0, 1e-14);
        check("gal/h", 231.0 * 0.0254 * 0.0254 * 0.0254 / 3600.0, 1e-14);
    }

    /// UCUM 2.2: [psi] and [in_i'Hg] (m[Hg] = 133322 Pa, 3 ppm from SP 811).
    #[test]
    fn factors_of_ucum() {
        check("[psi]", 6894.757293, 5e-8);
        check("[in_i'Hg]", 133_322.0 * 0.0254, 3.1e-6);
    }

    #[test]
    fn temperatures_have_an_offset_and_their_differences_none() {
        assert!((Unit::FAHRENHEIT.to_si(212.0) - 373.15).abs() < 1e-9);
        assert!((Unit::FAHRENHEIT.span_to_si(9.0) - 5.0).abs() < 1e-12);
        assert_eq!(Unit::CELSIUS.to_si(21.0), 294.15);
    }

    #[test]
    fn an_unknown_unit_says_which_there_are() {
        let error = Unit::parse("furlong").map_err(|e| e.to_string());
        assert!(
            matches!(&error, Err(m) if m.contains("`furlong`") && m.contains("psi")),
            "{error:?}"
        );
    }
}
