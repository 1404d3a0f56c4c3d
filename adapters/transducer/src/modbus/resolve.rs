//! Inputs as they are asked, from inputs as they were set.

use std::time::Duration;

use trisect_kit::SettingsError;
use trisect_measure::Quantity;

use super::bus::Patience;
use super::fields::Fields;
use super::input::{How, Input, Scaling, Supply};
use super::{NumberType, Request, TransducerSettings};
use crate::analog::Ratiometric;
use crate::shown::{Shown, check_millis, function, unit_of, wrong};

/// How far apart a signal and its supply may lie to be read at once.
const REACH: u16 = 100;

/// The inputs that settings ask for.
///
/// # Errors
/// The first field that cannot be used.
pub(crate) fn inputs(
    settings: &TransducerSettings,
    tcp: bool,
) -> Result<Vec<Input>, SettingsError> {
    let general = settings.input();
    if settings.inputs.is_empty() {
        let channel = general.channel.unwrap_or(0);
        return Ok(vec![resolve(&general, None, channel, settings, tcp)?]);
    }
    let mut inputs = Vec::<Input>::new();
    for (index, listed) in settings.inputs.iter().enumerate() {
        let fields = listed.input().or(&general);
        let place = u16::try_from(index).map_err(|_| wrong("inputs", "there are too many"))?;
        let channel = fields.channel.unwrap_or(place);
        let within = |error: SettingsError| {
            let (field, why) = (error.field, error.why);
            wrong("inputs", format!("number {}, `{field}`: {why}", index + 1))
        };
        if inputs.iter().any(|other| other.shown.channel == channel) {
            let why = format!("{channel} is taken by an input before it");
            return Err(within(wrong("channel", why)));
        }
        let title = listed.title.as_deref();
        inputs.push(resolve(&fields, title, channel, settings, tcp).map_err(within)?);
    }
    Ok(inputs)
}

fn resolve(
    fields: &Fields,
    title: Option<&str>,
    channel: u16,
    settings: &TransducerSettings,
    tcp: bool,
) -> Result<Input, SettingsError> {
    let register = needed("register", fields.register)?;
    let quantity = needed("quantity", fields.quantity)?;
    let function = function(quantity).map_err(|why| wrong("quantity", why))?;
    let unit = needed("unit", fields.unit.as_deref())?;
    let unit = unit_of(unit, quantity).map_err(|why| wrong("unit", why))?;
    let kind = fields.number.unwrap_or_default();
    let scaling = scaling(fields)?;
    let (period, patience) = times(fields, settings)?;
    let (how, span) = how(fields, kind, quantity, scaling, period)?;
    let device = device(fields, tcp)?;
    let request = request(fields, device, register, kind)?;
    let of_device = format!("{quantity} in register {register} of device {device}");
    Ok(Input {
        title: title.map_or(of_device, str::to_owned),
        shown: Shown {
            channel,
            function,
            span: span.map(|width| unit.span_to_si(width).abs()),
        },
        unit,
        request,
        patience,
        period: Duration::from_millis(period),
        at: usize::from(register - request.register),
        kind,
        order: fields.order.unwrap_or_default(),
        scaling,
        how,
    })
}

fn needed<T>(field: &'static str, given: Option<T>) -> Result<T, SettingsError> {
    given.ok_or_else(|| wrong(field, "it is needed for every input"))
}

fn device(fields: &Fields, tcp: bool) -> Result<u8, SettingsError> {
    let device = fields.device.unwrap_or(1);
    if tcp || (1..=247).contains(&device) {
        Ok(device)
    } else {
        Err(wrong("device", "addresses are 1 to 247"))
    }
}

/// The registers to read: the number's, and the supply's with them.
fn request(
    fields: &Fields,
    device: u8,
    register: u16,
    kind: NumberType,
) -> Result<Request, SettingsError> {
    let length = u16::from(kind.registers());
    let supply = fields.ratiometric.map(|sensor| sensor.supply_register);
    let (first, last) = match supply {
        Some(supply) => (register.min(supply), register.max(supply)),
        None => (register, register),
    };
    if last - first > REACH {
        return Err(wrong(
            "ratiometric",
            "supply_register must be at most 100 registers away, so that both are read at once",
        ));
    }
    if supply.is_some_and(|supply| supply.abs_diff(register) < length) {
        return Err(wrong(
            "ratiometric",
            "supply_register is one of the signal's own",
        ));
    }
    if last.checked_add(length - 1).is_none() {
        let why = format!("the number needs {length} registers, and the last is 65535");
        return Err(wrong("register", why));
    }
    Ok(Request {
        device,
        table: fields.table.unwrap_or_default(),
        register: first,
        // At most REACH + 4.
        count: u8::try_from(last - first + length).unwrap_or(u8::MAX),
    })
}

fn scaling(fields: &Fields) -> Result<Scaling, SettingsError> {
    let scale = fields.scale.unwrap_or(1.0);
    let offset = fields.offset.unwrap_or(0.0);
    if !scale.is_finite() || scale == 0.0 {
        return Err(wrong("scale", "it must be a number other than 0"));
    }
    if !offset.is_finite() {
        return Err(wrong("offset", "it must be a number"));
    }
    Ok(Scaling { scale, offset })
}

/// What the scaled number means, and the width of the range in the unit.
fn how(
    fields: &Fields,
    kind: NumberType,
    quantity: Quantity,
    scaling: Scaling,
    period: u64,
) -> Result<(How, Option<f64>), SettingsError> {
    let inside = |(field, why)| wrong(field, why);
    let range = fields.full_scale;
    if range.is_some_and(|end| !end.is_finite()) {
        return Err(wrong("full_scale", "it must be a number"));
    }
    let (how, span) = match (fields.ratiometric, fields.current_loop, fields.tachometer) {
        (None, None, None) => return Ok((How::Value, range)),
        (Some(sensor), None, None) => {
            sensor.check().map_err(inside)?;
            let supply = supply(&sensor, fields, scaling);
            (How::Ratiometric(sensor, supply), sensor.span())
        }
        (None, Some(sensor), None) => {
            sensor.check().map_err(inside)?;
            (How::Loop(sensor), sensor.span())
        }
        (None, None, Some(pulses)) => {
            if quantity != Quantity::RotationalSpeed {
                let why = format!("it gives rotational-speed, and quantity is {quantity}");
                return Err(wrong("tachometer", why));
            }
            let speed = pulses.tachometer(kind.modulus(), period);
            let speed = speed.map_err(|why| wrong("tachometer", why))?;
            return Ok((How::Speed(speed), range));
        }
        _ => {
            return Err(wrong(
                "current_loop",
                "give only one of ratiometric, current_loop and tachometer",
            ));
        }
    };
    if range.is_some() {
        return Err(wrong(
            "full_scale",
            "leave it out: the sensor's range says it",
        ));
    }
    Ok((how, Some(span)))
}

fn supply(sensor: &Ratiometric, fields: &Fields, scaling: Scaling) -> Supply {
    let register = fields.register.unwrap_or_default();
    Supply {
        at: usize::from(sensor.supply_register.saturating_sub(register)),
        scaling: Scaling {
            scale: sensor.supply_scale.unwrap_or(scaling.scale),
            offset: sensor.supply_offset.unwrap_or(scaling.offset),
        },
    }
}

/// Asked more often, a device answers the same again, and the service has no time for the others.
const LEAST_PERIOD_MS: u64 = 5;

fn times(fields: &Fields, settings: &TransducerSettings) -> Result<(u64, Patience), SettingsError> {
    let period = fields.period_ms.unwrap_or(100);
    let reply_timeout = fields.reply_timeout_ms.unwrap_or(200);
    let longest_reply = fields.longest_reply_ms.unwrap_or(500);
    check_millis("period_ms", period)?;
    if period < LEAST_PERIOD_MS {
        let why = format!("it must be at least {LEAST_PERIOD_MS}: no transducer measures faster");
        return Err(wrong("period_ms", why));
    }
    check_millis("reply_timeout_ms", reply_timeout)?;
    check_millis("longest_reply_ms", longest_reply)?;
    if longest_reply < reply_timeout {
        return Err(wrong(
            "longest_reply_ms",
            "it must be at least reply_timeout_ms, or a late reply would be taken for the next one's",
        ));
    }
    if settings.silent_after_ms < period {
        return Err(wrong(
            "period_ms",
            "it must be at most silent_after_ms, or the transducer would count as silent between two replies",
        ));
    }
    let patience = Patience {
        reply_timeout: Duration::from_millis(reply_timeout),
        longest_reply: Duration::from_millis(longest_reply),
    };
    Ok((period, patience))
}
