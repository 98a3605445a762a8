//! The database of a command: the one that its settings name, or the private PostgreSQL in the data folder.

use std::path::PathBuf;

use cluster::{Cluster, Role};
use store::Db;

use crate::Outcome;
use crate::cli::DatabaseSettings;
use crate::keys;

/// How to reach the database, and the private server behind it if this process runs one.
#[derive(Debug)]
pub(crate) struct Database {
    service: String,
    owner: Option<String>,
    connections: u32,
    private: Option<Cluster>,
}

impl Database {
    /// Finds the database. A private PostgreSQL that already runs is used when `beside`; else it is started. Blocks.
    pub(crate) fn open(settings: &DatabaseSettings, beside: bool) -> Outcome<Self> {
        let connections = settings.connections;
        let fallback = || std::env::var("DATABASE_URL").ok();
        let named = settings.database_url.clone().or_else(fallback);
        if let Some(service) = named.filter(|url| !url.is_empty()) {
            let owner = settings.migrate_url.clone();
            return Ok(Self { service, owner, connections, private: None });
        }
        let folder = keys::folder(&settings.data)?;
        let running = if beside { cluster::find_running(&folder)? } else { None };
        let (address, private) = if let Some(address) = running {
            (address, None)
        } else {
            let programs = settings.pg_bin.clone();
            let of_folder = cluster::Settings { folder: Some(folder), programs, durable: true };
            let private = Cluster::start(&of_folder)?;
            (private.address().clone(), Some(private))
        };
        let service = address.url(Role::Service, cluster::DATABASE);
        let owner = Some(address.url(Role::Owner, cluster::DATABASE));
        Ok(Self { service, owner, connections, private })
    }

    /// The private PostgreSQL in this folder, whatever the environment names. Blocks.
    pub(crate) fn private(folder: PathBuf, programs: Option<PathBuf>) -> Outcome<Self> {
        let of_folder = cluster::Settings { folder: Some(folder), programs, durable: true };
        let private = Cluster::start(&of_folder)?;
        let service = private.address().url(Role::Service, cluster::DATABASE);
        let owner = Some(private.address().url(Role::Owner, cluster::DATABASE));
        Ok(Self { service, owner, connections: 16, private: Some(private) })
    }

    /// The owner role's address, if it is known.
    pub(crate) fn owner(&self) -> Option<&str> {
        self.owner.as_deref()
    }

    /// Migrates if the owner's address is known, and connects as the service role. Refuses a role that row security
    /// does not hold back, and a database that was not migrated.
    pub(crate) async fn connect(&self) -> Outcome<Db> {
        if let Some(owner) = &self.owner {
            Db::migrate(owner).await.map_err(|error| format!("can't migrate: {error}"))?;
        }
        let db = Db::connect(&self.service, self.connections)
            .await
            .map_err(|error| format!("can't reach the database: {error}"))?;
        if db.ready().await?.role_too_strong {
            return Err("the service must not run as a superuser, as the owner of the tables or as a role that passes \
                        by row security: name the service role in --database-url and the owner in --migrate-url"
                .into());
        }
        let flow = workflow::flow::Flow::new(db.clone());
        workflow::shops::every(&flow).await.map_err(|refusal| {
            let cause = refusal.0.cause.map(|cause| cause.to_string()).unwrap_or_default();
            format!("the database can't be used; was it migrated (--migrate-url)? {cause}")
        })?;
        Ok(db)
    }

    /// Stops the private server, if this process runs it. Blocks.
    pub(crate) fn close(self) -> Outcome {
        if let Some(private) = self.private {
            private.stop()?;
        }
        Ok(())
    }
}
