//! A delivery as a CloudEvent 1.0 in structured mode (JSON).

use serde::Serialize;
use serde_json::Value;
use trisect_journal::{Content, Delivery};

/// The content type of structured mode.
pub(super) const CONTENT_TYPE: &str = "application/cloudevents+json; charset=UTF-8";

#[derive(Serialize)]
struct CloudEvent<'a> {
    specversion: &'a str,
    id: String,
    source: &'a str,
    r#type: String,
    subject: &'a str,
    time: &'a str,
    datacontenttype: &'a str,
    data: Value,
}

/// The type of a delivery's event.
pub fn kind(delivery: &Delivery) -> String {
    format!("trisect.{}.{}", delivery.noun, delivery.verb)
}

/// The id of a delivery's event, which is that of its message too.
pub fn id(delivery: &Delivery) -> String {
    format!("msg_{}", delivery.id)
}

/// Puts together what an event says. The service does, in the types of its API: whoever delivers need not
/// know what a job is.
pub trait EventData: Send + Sync {
    /// The `data` of an event: of one delivery always the same.
    ///
    /// # Errors
    /// A content that is not what the journal should hold, which means that it is damaged.
    fn data(&self, delivery: &Delivery, content: &Content) -> Result<Value, serde_json::Error>;
}

/// The body of a delivery: of one delivery always the same bytes.
///
/// # Errors
/// A content that is not JSON, which means that the journal is damaged.
pub(super) fn body(
    delivery: &Delivery,
    content: &Content,
    data: &dyn EventData,
    source: &str,
) -> Result<Vec<u8>, serde_json::Error> {
    serde_json::to_vec(&CloudEvent {
        specversion: "1.0",
        id: id(delivery),
        source,
        r#type: kind(delivery),
        subject: &delivery.lane,
        // When it happened, not when it is sent: an attempt a day later has the same bytes.
        time: &delivery.posted,
        datacontenttype: "application/json",
        data: data.data(delivery, content)?,
    })
}
