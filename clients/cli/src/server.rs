//! One conversation with a service.

use crate::connect::reach;
use crate::exit::CliError;
use std::future::Future;
use std::path::PathBuf;
use trisect_wire::Method;
use trisect_wire::client::Client;

/// Which service, and what to show it.
#[derive(Debug)]
pub struct Server {
    /// Its address.
    pub url: String,
    /// The token to call with.
    pub token: Option<String>,
    /// Certificates to trust instead of the system's.
    pub ca: Option<PathBuf>,
}

/// Connects and holds a conversation.
///
/// # Errors
/// What the conversation ends in; that the service cannot be reached.
pub fn talk<T, F, C>(server: &Server, conversation: C) -> Result<T, CliError>
where
    C: FnOnce(Client) -> F,
    F: Future<Output = Result<T, CliError>>,
{
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| {
            CliError::Wrong(format!("cannot start the network's run time: {error}"))
        })?;
    runtime.block_on(async {
        let client = reach(server).await?;
        conversation(client).await
    })
}

/// A conversation of one call.
///
/// # Errors
/// As [`talk`].
pub fn call<M: Method>(server: &Server, params: &M::Params) -> Result<M::Result, CliError> {
    talk(server, |client| async move {
        Ok(client.call::<M>(params).await?)
    })
}
