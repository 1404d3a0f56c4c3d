//! Conditions that are waited for, with an end.

use std::future::Future;
use std::time::Duration;

/// The longest that anything may take; far more than it does.
pub const LONGEST: Duration = Duration::from_secs(30);

/// Awaits something, and fails when it does not come.
pub async fn within<F: Future>(what: &str, future: F) -> F::Output {
    match tokio::time::timeout(LONGEST, future).await {
        Ok(output) => output,
        Err(_) => panic!("{what}: did not come within {LONGEST:?}"),
    }
}
