//! Settings held against a plugin's own JSON Schema, before it sees them.

use serde_json::Value;

/// How many of the things that are wrong are said.
const SAID: usize = 5;

/// Settings that do not fit, the first thing first.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", self.all())]
pub struct Unfit {
    /// Where, as a JSON Pointer into the settings (empty: as a whole), and what
    /// is wrong there.
    pub defects: Vec<(String, String)>,
}

impl Unfit {
    fn all(&self) -> String {
        let said = self
            .defects
            .iter()
            .map(|(place, what)| match place.as_str() {
                "" => what.clone(),
                place => format!("{place}: {what}"),
            });
        said.collect::<Vec<_>>().join("; ")
    }
}

/// Whether a schema is one.
///
/// # Errors
/// What is wrong with it. References to other documents are not followed.
pub(super) fn compile(schema: &Value) -> Result<jsonschema::Validator, String> {
    let built = jsonschema::options().offline().build(schema);
    built.map_err(|error| format!("its settings schema is no JSON Schema: {error}"))
}

/// Holds settings against a schema.
///
/// # Errors
/// The first few things that are wrong, in words.
pub(super) fn hold(schema: &jsonschema::Validator, settings: &Value) -> Result<(), Unfit> {
    let errors = schema.iter_errors(settings).take(SAID);
    let defects: Vec<_> = errors
        .map(|error| (error.instance_path().to_string(), error.to_string()))
        .collect();
    if defects.is_empty() {
        return Ok(());
    }
    Err(Unfit { defects })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    #[test]
    fn what_does_not_fit_is_named() {
        let schema = json!({
            "type": "object",
            "required": ["port"],
            "additionalProperties": false,
            "properties": {"port": {"type": "string"}, "rate": {"type": "number", "minimum": 1}},
        });
        let schema = compile(&schema).unwrap();
        assert_eq!(hold(&schema, &json!({"port": "/dev/x", "rate": 2})), Ok(()));
        let unfit = hold(&schema, &json!({"rate": 0, "baud": 1})).unwrap_err();
        assert_eq!(unfit.defects.len(), 3, "{unfit}");
        assert!(
            unfit.defects.iter().any(|(place, _)| place == "/rate"),
            "{unfit}"
        );
    }

    #[test]
    fn what_is_no_schema_or_lies_elsewhere_is_refused() {
        for schema in [
            json!({"type": "texts"}),
            json!({"$ref": "https://example.com/settings.json"}),
            json!({"properties": {"a": {"pattern": "("}}}),
        ] {
            let error = compile(&schema).unwrap_err();
            assert!(error.contains("no JSON Schema"), "{error}");
        }
    }
}
