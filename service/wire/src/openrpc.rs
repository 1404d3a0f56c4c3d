//! The table as an OpenRPC document (<https://spec.open-rpc.org>), its schemas in JSON Schema draft-07.
//!
//! What OpenRPC has no word for stands in extensions: `x-role` on every method, `x-subscription` on a
//! subscription, with the schema of its items and the method that ends it.

use crate::error::{ErrorKind, WireError};
use crate::method::{Form, MethodEntry};
use schemars::SchemaGenerator;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};

/// The version of the OpenRPC specification the document follows.
const OPENRPC: &str = "1.3.2";

/// The OpenRPC document of [`crate::methods`], its members in alphabetical order.
pub fn openrpc() -> Map<String, Value> {
    let mut schemas = Schemas::new();
    let mut methods = Vec::new();
    for entry in crate::methods() {
        methods.push(method(&entry, &mut schemas));
        if let Form::Subscription { unwatch } = entry.form {
            methods.push(unwatch_method(&entry, unwatch));
        }
    }
    let error = schemas.told.subschema_for::<WireError>();
    let mut document = json!({
        "openrpc": OPENRPC,
        "info": {
            "title": "Trisect",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "Finds which of three sides of a diesel's fuel injection is at fault: supply, controller or pump. Parameters go by name; times are RFC 3339 in UTC; every error's `data` is a WireError.",
            "license": { "name": "Apache-2.0 OR MIT" },
        },
        "methods": methods,
        "components": { "schemas": schemas.definitions(), "errors": errors() },
        "x-error-data": error,
    });
    // Whatever order serde_json keeps members in, the committed file has one.
    document.sort_all_objects();
    match document {
        Value::Object(document) => document,
        // `json!` with braces makes an object.
        _ => Map::new(),
    }
}

/// The schemas collected so far. What is asked for and what is told have a generator each: a member
/// that may be left out of parameters may always be there in a result.
struct Schemas {
    asked: SchemaGenerator,
    told: SchemaGenerator,
}

impl Schemas {
    fn new() -> Self {
        let settings = || {
            SchemaSettings::draft07().with(|settings| {
                settings.definitions_path = "/components/schemas".into();
                settings.meta_schema = None;
            })
        };
        Self {
            asked: settings().for_deserialize().into_generator(),
            told: settings().for_serialize().into_generator(),
        }
    }

    /// Both sets of definitions as one; a test sees to it that what is in both is the same.
    fn definitions(&mut self) -> Map<String, Value> {
        let mut definitions = self.told.take_definitions(true);
        definitions.extend(self.asked.take_definitions(true));
        definitions
    }
}

fn method(entry: &MethodEntry, schemas: &mut Schemas) -> Value {
    let params = params(entry, &mut schemas.asked);
    let result = (entry.result)(&mut schemas.told);
    let mut method = json!({
        "name": entry.name,
        "summary": entry.summary,
        "paramStructure": "by-name",
        "params": params,
        "errors": errors_of(entry),
        "x-role": entry.role,
    });
    match entry.form {
        Form::Method => method["result"] = json!({ "name": "result", "schema": result }),
        Form::Subscription { unwatch } => {
            method["result"] = json!({ "name": "subscription", "schema": subscription_id() });
            method["x-subscription"] = json!({
                "notification": entry.name,
                "item": result,
                "unsubscribe": unwatch,
            });
        }
    }
    method
}

/// The properties of the parameters' object, one content descriptor each, in alphabetical order
/// with the required ones first, as OpenRPC asks.
fn params(entry: &MethodEntry, schemas: &mut SchemaGenerator) -> Vec<Value> {
    let object = (entry.params)(schemas);
    let required: Vec<&str> = object
        .get("required")
        .and_then(Value::as_array)
        .map(|names| names.iter().filter_map(Value::as_str).collect())
        .unwrap_or_default();
    let properties = object.get("properties").and_then(Value::as_object);
    let mut params: Vec<(bool, &String, &Value)> = properties
        .into_iter()
        .flatten()
        .map(|(name, schema)| (!required.contains(&name.as_str()), name, schema))
        .collect();
    params.sort_by_key(|(optional, name, _)| (*optional, *name));
    params
        .into_iter()
        .map(|(optional, name, schema)| json!({ "name": name, "required": !optional, "schema": schema }))
        .collect()
}

fn unwatch_method(entry: &MethodEntry, unwatch: &str) -> Value {
    json!({
        "name": unwatch,
        "summary": format!("Ends a subscription of {}; answers whether there was one.", entry.name),
        "paramStructure": "by-position",
        "params": [{ "name": "subscription", "required": true, "schema": subscription_id() }],
        "result": { "name": "ended", "schema": { "type": "boolean" } },
        "x-role": entry.role,
    })
}

fn subscription_id() -> Value {
    json!({ "type": ["integer", "string"] })
}

fn errors_of(entry: &MethodEntry) -> Vec<Value> {
    ErrorKind::COMMON
        .iter()
        .chain(entry.errors)
        .map(|kind| json!({ "$ref": format!("#/components/errors/{}", kind.word()) }))
        .collect()
}

fn errors() -> Map<String, Value> {
    ErrorKind::ALL
        .iter()
        .map(|kind| {
            let error = json!({ "code": kind.code(), "message": kind.meaning(), "data": { "kind": kind.word() } });
            (kind.word().to_owned(), error)
        })
        .collect()
}

#[cfg(test)]
mod tests;
