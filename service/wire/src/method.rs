//! What a row of the table is: a method or a subscription, its types, role and summary.

use crate::error::ErrorKind;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize, de::DeserializeOwned};

/// How far a caller may go. Each role includes those before it.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Sees everything, changes nothing.
    Read,
    /// Submits readings, answers, phases and probes of a job that is open.
    Measure,
    /// Opens and closes jobs, attaches and detaches instruments.
    Manage,
}

impl std::fmt::Display for Role {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Read => "read",
            Self::Measure => "measure",
            Self::Manage => "manage",
        })
    }
}

/// What crosses the wire as parameters: an object whose keys are known beforehand.
pub trait Wire: Serialize + DeserializeOwned + JsonSchema + Clone + Send + Sync + 'static {}
impl<T: Serialize + DeserializeOwned + JsonSchema + Clone + Send + Sync + 'static> Wire for T {}

/// A method: called once, answered once. Implemented by the zero-sized types of [`crate::table`].
pub trait Method: Send + Sync + 'static {
    /// Parameters, passed by name.
    type Params: Wire;
    /// What a call answers.
    type Result: Wire;
    /// `noun.verb`.
    const NAME: &'static str;
    /// The least role that may call it.
    const ROLE: Role;
    /// One sentence.
    const SUMMARY: &'static str;
    /// Refusals of its own, beside [`ErrorKind::COMMON`].
    const ERRORS: &'static [ErrorKind];
}

/// A subscription: called once, answered with an id, then told items until it is ended.
pub trait Subscription: Send + Sync + 'static {
    /// Parameters, passed by name.
    type Params: Wire;
    /// What each notification carries.
    type Item: Wire + Gap;
    /// `noun.watch`; notifications carry the same name.
    const NAME: &'static str;
    /// The method that ends it; takes the subscription id by position.
    const UNWATCH: &'static str;
    /// The least role that may subscribe.
    const ROLE: Role;
    /// One sentence.
    const SUMMARY: &'static str;
    /// Refusals of its own, beside [`ErrorKind::COMMON`].
    const ERRORS: &'static [ErrorKind];
}

/// An item of a subscription that can say how many others were missed.
pub trait Gap {
    /// The notice that `missed` items were not sent because the subscriber was too slow.
    fn gap(missed: u64) -> Self;
}

/// What kind of row an entry is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Called once, answered once.
    Method,
    /// Called once, told items until the named method ends it.
    Subscription {
        /// The method that ends it.
        unwatch: &'static str,
    },
}

/// A function that makes the schema of one type.
pub type SchemaOf = fn(&mut SchemaGenerator) -> Schema;

/// A function that reads a JSON text as one type and writes it again.
pub type Reread = fn(&str) -> Result<serde_json::Value, serde_json::Error>;

fn reread<T: Wire>(text: &str) -> Result<serde_json::Value, serde_json::Error> {
    serde_json::to_value(serde_json::from_str::<T>(text)?)
}

/// A row of the table as data, for documents and tests.
#[derive(Debug, Clone, Copy)]
pub struct MethodEntry {
    /// `noun.verb`.
    pub name: &'static str,
    /// Method or subscription.
    pub form: Form,
    /// The least role that may call it.
    pub role: Role,
    /// One sentence.
    pub summary: &'static str,
    /// Refusals of its own.
    pub errors: &'static [ErrorKind],
    /// The object schema of its parameters, with its properties in place.
    pub params: SchemaOf,
    /// The schema of its result, or of a subscription's item.
    pub result: SchemaOf,
    /// Reads parameters as the server does and writes them as a client would.
    pub reread_params: Reread,
    /// Reads a result or item as a client does and writes it as the server would.
    pub reread_result: Reread,
}

impl MethodEntry {
    /// The entry of a method.
    pub fn of<M: Method>() -> Self {
        Self {
            name: M::NAME,
            form: Form::Method,
            role: M::ROLE,
            summary: M::SUMMARY,
            errors: M::ERRORS,
            params: M::Params::json_schema,
            result: SchemaGenerator::subschema_for::<M::Result>,
            reread_params: reread::<M::Params>,
            reread_result: reread::<M::Result>,
        }
    }

    /// The entry of a subscription.
    pub fn of_subscription<S: Subscription>() -> Self {
        Self {
            name: S::NAME,
            form: Form::Subscription {
                unwatch: S::UNWATCH,
            },
            role: S::ROLE,
            summary: S::SUMMARY,
            errors: S::ERRORS,
            params: S::Params::json_schema,
            result: SchemaGenerator::subschema_for::<S::Item>,
            reread_params: reread::<S::Params>,
            reread_result: reread::<S::Item>,
        }
    }
}

/// Declares the table: one zero-sized type a row, and [`crate::table::methods`] over all of them.
macro_rules! table {
    (
        methods {
            $( $method:ident $name:literal $role:ident ($params:ty) -> $result:ty,
               [$($error:ident),*], $summary:literal; )+
        }
        subscriptions {
            $( $watch:ident $watch_name:literal ends $unwatch:literal $watch_role:ident
               ($watch_params:ty) => $item:ty, [$($watch_error:ident),*], $watch_summary:literal; )+
        }
    ) => {
        $(
            #[doc = concat!("`", $name, "`: ", $summary)]
            #[derive(Debug, Clone, Copy)]
            pub struct $method;

            impl $crate::method::Method for $method {
                type Params = $params;
                type Result = $result;
                const NAME: &'static str = $name;
                const ROLE: $crate::method::Role = $crate::method::Role::$role;
                const SUMMARY: &'static str = $summary;
                const ERRORS: &'static [$crate::error::ErrorKind] = &[$($crate::error::ErrorKind::$error),*];
            }
        )+
        $(
            #[doc = concat!("`", $watch_name, "`: ", $watch_summary)]
            #[derive(Debug, Clone, Copy)]
            pub struct $watch;

            impl $crate::method::Subscription for $watch {
                type Params = $watch_params;
                type Item = $item;
                const NAME: &'static str = $watch_name;
                const UNWATCH: &'static str = $unwatch;
                const ROLE: $crate::method::Role = $crate::method::Role::$watch_role;
                const SUMMARY: &'static str = $watch_summary;
                const ERRORS: &'static [$crate::error::ErrorKind] =
                    &[$($crate::error::ErrorKind::$watch_error),*];
            }
        )+

        /// Every method and subscription, in the order of the table.
        pub fn methods() -> Vec<$crate::method::MethodEntry> {
            vec![
                $($crate::method::MethodEntry::of::<$method>(),)+
                $($crate::method::MethodEntry::of_subscription::<$watch>(),)+
            ]
        }
    };
}
pub(crate) use table;
