//! Calls to a service.

use crate::connect::connect;
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

/// Connects to a service and does something with the client.
///
/// # Errors
/// What it fails with; that the service cannot be reached.
pub fn with_client<T, F, C>(server: &Server, work: C) -> Result<T, CliError>
where
    C: FnOnce(Client) -> F,
    F: Future<Output = Result<T, CliError>>,
{
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| {
            CliError::Wrong(format!("cannot start the asynchronous runtime: {error}"))
        })?;
    runtime.block_on(async {
        let client = connect(server).await?;
        work(client).await
    })
}

/// Connects to a service for one call.
///
/// # Errors
/// As [`with_client`].
pub fn call<M: Method>(server: &Server, params: &M::Params) -> Result<M::Result, CliError> {
    with_client(server, |client| async move {
        Ok(client.call::<M>(params).await?)
    })
}
