//! A gauge that a person reads: nothing speaks, but the bay knows it by name, and
//! it lends its accuracy and calibration to what is entered with it.

use serde::Deserialize;
use serde_json::{Value, json};
use trisect_kit::{
    Adapter, ChannelDescription, Context, Description, Running, SettingsError, State,
};
use trisect_measure::{Function, Quantity, parse_value};

use super::chain::function_of;

/// What a gauge's settings are.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ManualSettings {
    quantity: Quantity,
    title: Option<String>,
    full_scale: Option<String>,
}

impl ManualSettings {
    pub(super) fn schema() -> Value {
        json!({
            "type": "object",
            "required": ["quantity"],
            "additionalProperties": false,
            "properties": {
                "quantity": {"type": "string", "description": "What it shows, such as `pressure`."},
                "title": {"type": "string", "description": "What is written on it."},
                "full_scale": {
                    "type": "string",
                    "description": "The end of its scale with its unit, such as `60 psi`, for accuracies in percent of it.",
                },
            },
        })
    }

    /// The gauge, which says nothing by itself.
    pub(super) fn adapter(&self) -> Result<Manual, SettingsError> {
        let function = function_of(self.quantity).ok_or_else(|| SettingsError {
            field: "quantity",
            why: format!("no gauge of a bay shows a {}", self.quantity),
        })?;
        self.span()?;
        let title = self.title.clone();
        let title = title.unwrap_or_else(|| format!("a {} gauge, read by eye", self.quantity));
        Ok(Manual { function, title })
    }

    /// The end of its scale, in SI.
    pub(super) fn span(&self) -> Result<Option<f64>, SettingsError> {
        let end = self.full_scale.as_deref();
        end.map(|text| parse_value(text, self.quantity))
            .transpose()
            .map_err(|error| SettingsError {
                field: "full_scale",
                why: error.to_string(),
            })
    }
}

/// The gauge.
pub(super) struct Manual {
    function: Function,
    title: String,
}

impl Adapter for Manual {
    fn describe(&self) -> Description {
        Description {
            name: "manual".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: self.title.clone(),
            channels: vec![ChannelDescription {
                channel: 0,
                title: "its scale".to_owned(),
                function: Some(self.function),
            }],
            settings: ManualSettings::schema(),
        }
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            // It is there as long as it is not taken away.
            context.health.enter(State::Live, context.now());
            context.stop.cancelled().await;
            context.health.enter(State::Stopped, context.now());
            Ok(())
        })
    }
}
