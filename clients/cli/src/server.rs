//! One conversation with a service.

use crate::ended::Fault;
use std::future::Future;
use trisect_api::Method;
use trisect_api::client::Client;

/// Connects and holds a conversation.
///
/// # Errors
/// What the conversation ends in; that the service cannot be reached.
pub fn talk<T, F, C>(server: &str, conversation: C) -> Result<T, Fault>
where
    C: FnOnce(Client) -> F,
    F: Future<Output = Result<T, Fault>>,
{
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Fault::Wrong(format!("cannot start the network's run time: {error}")))?;
    runtime.block_on(async { conversation(Client::connect(server).await?).await })
}

/// A conversation of one call.
///
/// # Errors
/// As [`talk`].
pub fn call<M: Method>(server: &str, params: &M::Params) -> Result<M::Result, Fault> {
    talk(server, |client| async move {
        Ok(client.call::<M>(params).await?)
    })
}
