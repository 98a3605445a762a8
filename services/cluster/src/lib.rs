//! A private PostgreSQL: found, made, started and stopped by the program that needs one.
//!
//! It listens on a socket in a folder of mode 0700 and on no port, so that whoever can reach it is
//! us; within, roles are trusted. When the program dies, however it dies, the server is told to
//! stop. All calls block: from async code, use a thread for blocking work.
//!
//! ```no_run
//! # fn main() -> Result<(), cluster::ClusterError> {
//! let cluster = cluster::Cluster::start(&cluster::Settings::from_environment()?)?;
//! println!("{}", cluster.address().url(cluster::Role::Service, cluster::DATABASE));
//! cluster.stop()?;
//! # Ok(())
//! # }
//! ```

mod account;
mod address;
mod error;
mod folder;
mod making;
mod programs;
mod server;
mod serving;

use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::process::Signal;

pub use address::{Address, DATABASE, Role};
pub use error::ClusterError;
pub use folder::default_folder;

use account::Account;
use folder::Folder;
use programs::Programs;
use server::{PATIENCE, Server};
use serving::Serving;

/// Makes the roles and the database. Shared with the image of `docker-compose.yml`.
const ROLES: &str = include_str!("../roles.sql");

/// Where, with what and how safely.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// The folder to keep the cluster in; none for one that is thrown away at the end.
    pub folder: Option<PathBuf>,
    /// The folder of PostgreSQL's programs; none to look for them.
    pub programs: Option<PathBuf>,
    /// Whether what is committed survives a crash of the machine. Without it tests are faster.
    pub durable: bool,
}

impl Settings {
    /// The user's own durable cluster: `default_folder`, and programs from `BAYPROOF_PG_BIN`.
    pub fn from_environment() -> Result<Self, ClusterError> {
        Ok(Self { folder: Some(default_folder()?), durable: true, ..Self::throwaway() })
    }

    /// A cluster for one test process: fast, without durability, thrown away at the end. If the
    /// process is killed, its server stops and the next throwaway cluster removes what it left.
    pub fn throwaway() -> Self {
        let programs = std::env::var_os("BAYPROOF_PG_BIN").map(PathBuf::from);
        Self { folder: None, programs, durable: false }
    }
}

/// A running private PostgreSQL. Dropping it stops it.
#[derive(Debug)]
pub struct Cluster {
    server: Server, // first: stopped before the folder's lock is let go
    account: Account,
    programs: Programs,
    address: Address,
    durable: bool,
    folder: Folder,
}

impl Cluster {
    /// Starts the cluster in the folder, after making it if it isn't there. A second process gets
    /// [`ClusterError::InUse`]. Takes about a second for a new one.
    pub fn start(settings: &Settings) -> Result<Self, ClusterError> {
        let account = Account::find()?;
        let folder = match &settings.folder {
            Some(path) => Folder::open(path)?,
            None => Folder::throwaway(&account)?,
        };
        let programs = Programs::find(settings.programs.as_deref(), &folder.data())?;
        let address = folder::address(&folder.path, &account);
        account.make_private(&folder.private())?;
        account.make_private(&address.sockets)?;
        let durable = settings.durable;
        making::make(&folder, &programs, &account, durable)?;
        let server = Serving {
            folder: &folder,
            programs: &programs,
            account: &account,
            address: &address,
            durable,
        }
        .start()?;
        let cluster = Self { server, account, programs, address, durable, folder };
        cluster.run_sql("postgres", ROLES)?;
        Ok(cluster)
    }

    /// How to connect.
    pub fn address(&self) -> &Address {
        &self.address
    }

    /// Shorthand for [`Address::url`].
    pub fn url(&self, role: Role, database: &str) -> String {
        self.address.url(role, database)
    }

    /// Makes a database that the owner role owns, as a copy of `template` if one is given (to
    /// which nobody may be connected then). The name is lower-case letters, digits and `_`.
    pub fn create_database(&self, name: &str, template: Option<&str>) -> Result<(), ClusterError> {
        let template = template.unwrap_or("template1");
        self.run_sql(
            "postgres",
            &format!(r#"CREATE DATABASE "{name}" OWNER bayproof_owner TEMPLATE "{template}";"#),
        )
    }

    /// The server's log.
    pub fn log(&self) -> PathBuf {
        self.folder.log()
    }

    /// Stops the server: sessions are ended, everything is written out.
    pub fn stop(self) -> Result<(), ClusterError> {
        if self.server.end(Signal::INT, PATIENCE) {
            return Ok(());
        }
        Err(serving::not_ready(&self.folder.log()))
    }

    /// Kills the server as a power cut would (SIGKILL), for fault tests. [`Self::restart`] follows.
    pub fn kill(&self) {
        self.server.end(Signal::KILL, PATIENCE);
    }

    /// Starts the server again, on the same socket; stops it before if it still runs.
    pub fn restart(&mut self) -> Result<(), ClusterError> {
        self.server.end(Signal::INT, PATIENCE);
        let Self { account, programs, address, durable, folder, .. } = self;
        let serving = Serving { folder, programs, account, address, durable: *durable };
        self.server = serving.start()?;
        Ok(())
    }

    fn run_sql(&self, database: &str, sql: &str) -> Result<(), ClusterError> {
        let mut psql = self.account.command(self.programs.path("psql"), Path::new("/"));
        psql.args(["-X", "-q", "-v", "ON_ERROR_STOP=1", "-U", Role::Superuser.name()]);
        psql.arg("-h").arg(&self.address.sockets).args(["-d", database, "-f", "-"]);
        making::run(psql, sql)
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let _ = self.server.end(Signal::INT, Duration::from_secs(20))
            || self.server.end(Signal::QUIT, Duration::from_secs(5))
            || self.server.end(Signal::KILL, Duration::from_secs(5));
    }
}

/// How to reach the cluster in `folder` if another process has it running now.
pub fn find_running(folder: &Path) -> Result<Option<Address>, ClusterError> {
    let Ok(folder) = folder.canonicalize() else { return Ok(None) };
    let address = folder::address(&folder, &Account::find()?);
    Ok(address.answers().then_some(address))
}
