//! `serve`: the service, until it is told to stop.

use std::net::SocketAddr;

use actix_web::{HttpServer, rt};
use api::Shared;
use api::auth::TokenKeys;
use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;
use workflow::flow::Flow;

use crate::cli::ServeSettings;
use crate::database::Database;
use crate::{Outcome, duties, keys, log, shop};

/// Seconds that a request may take to end when the service stops.
const PATIENCE: u64 = 10;

/// Runs the service.
pub(crate) fn run(settings: &ServeSettings) -> Outcome {
    log::begin(&settings.log)?;
    let database = Database::open(&settings.database, false)?;
    let served = rt::System::new().block_on(serve(settings, &database));
    database.close()?;
    served
}

async fn serve(settings: &ServeSettings, database: &Database) -> Outcome {
    let keys = keys::of_tokens(&settings.keys, &settings.database.data)?;
    let db = database.connect().await?;
    let sealing = keys::of_sealing(settings.signing_key.as_deref(), &settings.database.data)?;
    let flow = Flow::new(db.clone()).sealing_with(sealing);
    if settings.with_demo_shop {
        shop::seed_demo(&flow).await?;
    }
    let stop = CancellationToken::new();
    stop_on_signals(&stop)?;
    let server = Server { listen: settings.listen, workers: settings.workers.into() };
    let served = server.run(&flow, keys, &stop, |_| ()).await;
    db.close().await;
    tracing::info!("stopped");
    served
}

/// Where and how widely the service listens.
pub(crate) struct Server {
    /// The address.
    pub(crate) listen: SocketAddr,
    /// Threads that answer requests.
    pub(crate) workers: usize,
}

impl Server {
    /// Serves, with the duties beside, until `stop`. Tells the addresses once it listens.
    pub(crate) async fn run(
        &self,
        flow: &Flow,
        keys: TokenKeys,
        stop: &CancellationToken,
        listening: impl FnOnce(&[SocketAddr]),
    ) -> Outcome {
        let shared = Shared::new(flow.clone(), keys);
        let server = HttpServer::new(move || api::app(shared.clone()))
            .workers(self.workers)
            .keep_alive(api::KEEP_ALIVE)
            .shutdown_timeout(PATIENCE)
            .shutdown_signal(stop.clone().cancelled_owned())
            .bind(self.listen)
            .map_err(|error| format!("can't listen on {}: {error}", self.listen))?;
        for address in server.addrs() {
            tracing::info!(%address, "serving; the contract is at /docs/");
        }
        let duties = duties::begin(flow, stop);
        listening(&server.addrs());
        let served = server.run().await;
        stop.cancel(); // when the server ended by itself
        for duty in duties {
            if let Err(error) = duty.await {
                tracing::error!(%error, "a duty broke off");
            }
        }
        Ok(served?)
    }
}

/// Stops on Ctrl-C and on a request to terminate.
pub(crate) fn stop_on_signals(stop: &CancellationToken) -> Outcome {
    let (mut terminate, mut interrupt) =
        (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    let stop = stop.clone();
    rt::spawn(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        tracing::info!("stopping");
        stop.cancel();
    });
    Ok(())
}
