//! What can be set for one input, and for all of them at once.

use trisect_measure::Quantity;

use super::{NumberType, Table, WordOrder};
use crate::analog::{CurrentLoop, Ratiometric};
use crate::speed::TachometerSettings;

/// Settings with the fields of an input behind their own. The single-input form
/// and the members of `inputs` have these in common, and `serde` cannot both
/// flatten a struct and refuse unknown fields: so both get them spelt out.
macro_rules! with_input_fields {
    (
        $(#[$meta:meta])*
        pub struct $name:ident {
            $($(#[$own_meta:meta])* pub $own:ident: $kind:ty,)*
        }
    ) => {
        $(#[$meta])*
        #[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$own_meta])* pub $own: $kind,)*
            /// The device's address: 1 to 247 on a line, 0 to 255 over TCP; 1
            /// where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub device: Option<u8>,
            /// Which registers: `input` (function 04), which is the default, or
            /// `holding` (function 03).
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub table: Option<$crate::modbus::Table>,
            /// The first register of the number, as on the wire: from 0.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub register: Option<u16>,
            /// How the number is written: `u16`, `i16`, `u32`, `i32`, `f64`, or
            /// `f32`, which is the default.
            #[serde(default, rename = "type", skip_serializing_if = "Option::is_none")]
            pub number: Option<$crate::modbus::NumberType>,
            /// In which order its bytes lie; `big` where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub order: Option<$crate::modbus::WordOrder>,
            /// What is measured, such as `pressure`.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            #[schemars(with = "Option<String>")]
            pub quantity: Option<trisect_measure::Quantity>,
            /// The unit of the value, such as `psi`.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub unit: Option<String>,
            /// Factor on the raw number, 1 where not given: raw × scale + offset
            /// is the value in `unit`; volts where `ratiometric` is given,
            /// milliamperes where `current_loop` is, hertz where `tachometer` is.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub scale: Option<f64>,
            /// Offset to raw × scale; 0 where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub offset: Option<f64>,
            /// The width of the range, in the unit, for accuracies in percent of
            /// full scale.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub full_scale: Option<f64>,
            /// The number is the signal of a sensor that gives a part of its
            /// measured supply.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub ratiometric: Option<$crate::Ratiometric>,
            /// The number is the current of a 4–20 mA sensor.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub current_loop: Option<$crate::CurrentLoop>,
            /// The number is a frequency or a count of pulses, and engine speed
            /// is what is wanted.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub tachometer: Option<$crate::TachometerSettings>,
            /// The number of the input in the samples; its place among the
            /// inputs, from 0, where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub channel: Option<u16>,
            /// How often it is asked; 100 where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub period_ms: Option<u64>,
            /// How long a reply is waited for; 200 where not given.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub reply_timeout_ms: Option<u64>,
            /// The longest that the device may ever take to reply, 500 where not
            /// given. On a serial line, after a reply failed, the line is held so
            /// long from the request on, lest a late reply be taken for the next
            /// one's; so it is when the port was opened.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub longest_reply_ms: Option<u64>,
        }

        impl $name {
            /// The fields of an input alone.
            pub(crate) fn input(&self) -> $crate::modbus::fields::Fields {
                $crate::modbus::fields::Fields {
                    device: self.device,
                    table: self.table,
                    register: self.register,
                    number: self.number,
                    order: self.order,
                    quantity: self.quantity,
                    unit: self.unit.clone(),
                    scale: self.scale,
                    offset: self.offset,
                    full_scale: self.full_scale,
                    ratiometric: self.ratiometric,
                    current_loop: self.current_loop,
                    tachometer: self.tachometer,
                    channel: self.channel,
                    period_ms: self.period_ms,
                    reply_timeout_ms: self.reply_timeout_ms,
                    longest_reply_ms: self.longest_reply_ms,
                }
            }
        }
    };
}
pub(super) use with_input_fields;

with_input_fields! {
    /// One input of a line that has several. What it does not say, the settings
    /// around it say for all inputs.
    pub struct InputSettings {
        /// What it is called, for people.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub title: Option<String>,
    }
}

/// The fields of an input, wherever they were written.
#[derive(Clone, Debug)]
pub(crate) struct Fields {
    pub device: Option<u8>,
    pub table: Option<Table>,
    pub register: Option<u16>,
    pub number: Option<NumberType>,
    pub order: Option<WordOrder>,
    pub quantity: Option<Quantity>,
    pub unit: Option<String>,
    pub scale: Option<f64>,
    pub offset: Option<f64>,
    pub full_scale: Option<f64>,
    pub ratiometric: Option<Ratiometric>,
    pub current_loop: Option<CurrentLoop>,
    pub tachometer: Option<TachometerSettings>,
    pub channel: Option<u16>,
    pub period_ms: Option<u64>,
    pub reply_timeout_ms: Option<u64>,
    pub longest_reply_ms: Option<u64>,
}

impl Fields {
    /// These, and where they say nothing what the general ones say; but for the
    /// channel, which no two inputs can have in common.
    pub fn or(self, general: &Fields) -> Fields {
        Fields {
            device: self.device.or(general.device),
            table: self.table.or(general.table),
            register: self.register.or(general.register),
            number: self.number.or(general.number),
            order: self.order.or(general.order),
            quantity: self.quantity.or(general.quantity),
            unit: self.unit.or_else(|| general.unit.clone()),
            scale: self.scale.or(general.scale),
            offset: self.offset.or(general.offset),
            full_scale: self.full_scale.or(general.full_scale),
            ratiometric: self.ratiometric.or(general.ratiometric),
            current_loop: self.current_loop.or(general.current_loop),
            tachometer: self.tachometer.or(general.tachometer),
            channel: self.channel,
            period_ms: self.period_ms.or(general.period_ms),
            reply_timeout_ms: self.reply_timeout_ms.or(general.reply_timeout_ms),
            longest_reply_ms: self.longest_reply_ms.or(general.longest_reply_ms),
        }
    }
}
