//! Channels, from patterns and what is set about their fields.

use trisect_kit::SettingsError;
use trisect_measure::{Function, Quantity, parse_value};

use super::reader::{Channel, Form, Reader, Target};
use super::{Field, FieldSettings, Pattern, TextSettings, What};
use crate::shown::{Shown, function, unit_of, wrong};
use crate::speed::{Counts, Speed};

/// A counter in a microcontroller has 32 bits unless said otherwise.
const WRAPS_AT: u64 = 1 << 32;

/// The reader that settings ask for.
///
/// # Errors
/// The first pattern or field that cannot be used.
pub(super) fn reader(settings: &TextSettings) -> Result<Reader, SettingsError> {
    let mut reader = Reader {
        forms: Vec::new(),
        channels: Vec::new(),
    };
    for text in &settings.patterns {
        let mut pattern = Pattern::parse(text).map_err(|error| wrong("patterns", error))?;
        let mut targets = Vec::new();
        for field in pattern.fields_mut() {
            let said = settings.fields.get(&field.name).cloned();
            let said = said.unwrap_or_default();
            targets.push(target(&mut reader.channels, field, &said)?);
        }
        reader.forms.push(Form { pattern, targets });
    }
    if reader.channels.is_empty() {
        return Err(wrong(
            "patterns",
            "no pattern has a field: write one such as `P1={pressure:inlet} psi`",
        ));
    }
    for name in settings.fields.keys() {
        let known = |form: &Form| form.pattern.fields().any(|field| field.name == *name);
        if !reader.forms.iter().any(known) {
            let why = format!("no pattern has a field `{name}`");
            return Err(wrong("fields", why));
        }
    }
    check_clocks(&reader)?;
    Ok(reader)
}

/// What a field is: the device's clock, a channel there is, or a new one.
fn target(
    channels: &mut Vec<Channel>,
    field: &mut Field,
    said: &FieldSettings,
) -> Result<Target, SettingsError> {
    let name = field.name.clone();
    let within = |why: String| wrong("fields", format!("`{name}`: {why}"));
    if let Some(unit) = &said.unit {
        let quantity = field
            .quantity()
            .ok_or_else(|| within("pulses have no unit".to_owned()))?;
        if field.unit.is_some() {
            return Err(within(
                "the pattern says its unit: leave `unit` out".to_owned(),
            ));
        }
        field.unit = Some(unit_of(unit, quantity).map_err(within)?);
    }
    if field.what == What::Clock {
        let other = FieldSettings {
            unit: None,
            ..said.clone()
        };
        if other != FieldSettings::default() {
            return Err(within("a clock has nothing to set but its unit".to_owned()));
        }
        return Ok(Target::Clock);
    }
    let place = channels.len();
    let channel = channel(field, said, place).map_err(within)?;
    match channels.iter().position(|known| known.name == field.name) {
        Some(known) => {
            let same = channels.get(known).is_some_and(|known| {
                known.shown.function == channel.shown.function
                    && known.speed.as_ref().map(Speed::is_counting)
                        == channel.speed.as_ref().map(Speed::is_counting)
            });
            if !same {
                return Err(within(
                    "it is another quantity in another pattern".to_owned(),
                ));
            }
            Ok(Target::Channel(known))
        }
        None => {
            channels.push(channel);
            Ok(Target::Channel(place))
        }
    }
}

fn channel(field: &Field, said: &FieldSettings, place: usize) -> Result<Channel, String> {
    let scale = said.scale.unwrap_or(1.0);
    let offset = said.offset.unwrap_or(0.0);
    if !scale.is_finite() || scale == 0.0 {
        return Err("scale must be a number other than 0".to_owned());
    }
    if !offset.is_finite() {
        return Err("offset must be a number".to_owned());
    }
    let speed = speed(field, said)?;
    let quantity = match (&speed, field.quantity()) {
        (None, Some(quantity)) => quantity,
        _ => Quantity::RotationalSpeed,
    };
    let function: Function = function(quantity)?;
    let end = match &said.full_scale {
        Some(text) => Some(parse_value(text, quantity).map_err(|error| error.to_string())?),
        None => None,
    };
    let place = u16::try_from(place).map_err(|_| "there are too many fields".to_owned())?;
    Ok(Channel {
        name: field.name.clone(),
        shown: Shown {
            channel: said.channel.unwrap_or(place),
            function,
            span: end,
        },
        scale,
        offset,
        end,
        speed,
    })
}

fn speed(field: &Field, said: &FieldSettings) -> Result<Option<Speed>, String> {
    let counting = field.what == What::Pulses;
    if said.wraps_at.is_some() && !counting {
        return Err(
            "wraps_at is for a count of pulses: write the field as `{pulses:…}`".to_owned(),
        );
    }
    let Some(mut tachometer) = said.tachometer else {
        return if counting {
            Err("a count of pulses needs `tachometer` with pulses_per_turn".to_owned())
        } else {
            Ok(None)
        };
    };
    match (field.what, tachometer.counts) {
        (What::Pulses, _) => tachometer.counts = Counts::Pulses,
        (What::Quantity(Quantity::Frequency), Counts::Frequency) => {}
        _ => {
            return Err(
                "a tachometer needs a field that is `{frequency:…}` or `{pulses:…}`".to_owned(),
            );
        }
    }
    let wraps_at = said.wraps_at.unwrap_or(WRAPS_AT);
    // How often a line comes is not known before it does: not more seldom than
    // pulses are counted.
    let speed = tachometer.tachometer(Some(wraps_at), tachometer.gate_ms)?;
    Ok(Some(speed))
}

/// Pulses are timed by the device's clock always or never: the two clocks have
/// nothing to do with each other.
fn check_clocks(reader: &Reader) -> Result<(), SettingsError> {
    let counts = |target: &Target| match target {
        Target::Channel(index) => {
            let channel = reader.channels.get(*index);
            let speed = channel.and_then(|channel| channel.speed.as_ref());
            speed.is_some_and(Speed::is_counting)
        }
        Target::Clock => false,
    };
    let mut timed = reader
        .forms
        .iter()
        .filter(|form| form.targets.iter().any(counts))
        .map(|form| form.targets.contains(&Target::Clock));
    let first = timed.next();
    if timed.any(|timed| Some(timed) != first) {
        return Err(wrong(
            "patterns",
            "pulses stand with a `{clock}` in one pattern and without in another: give both or neither one",
        ));
    }
    Ok(())
}
