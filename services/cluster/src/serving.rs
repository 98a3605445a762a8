//! Bringing the server of a folder up.

use std::fs::{self, File};
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::Signal;

use crate::account::Account;
use crate::folder::{self, Folder};
use crate::programs::Programs;
use crate::server::{self, PATIENCE, Server};
use crate::{Address, ClusterError};

/// What a start needs to know.
pub(crate) struct Serving<'a> {
    pub(crate) folder: &'a Folder,
    pub(crate) programs: &'a Programs,
    pub(crate) account: &'a Account,
    pub(crate) address: &'a Address,
    pub(crate) durable: bool,
}

impl Serving<'_> {
    /// Starts the server and waits until it answers. After a kill its old helpers hold the shared
    /// memory for a moment longer, and a new one refuses to start so long.
    pub(crate) fn start(&self) -> Result<Server, ClusterError> {
        folder::stop_orphan(&self.folder.data(), self.address)?;
        let deadline = Instant::now() + PATIENCE;
        let mut server = Server::start(self.command()?)?;
        while Instant::now() < deadline {
            if ready(&self.folder.data()) && self.address.answers() {
                tracing::info!(folder = %self.folder.path.display(), "private PostgreSQL runs");
                return Ok(server);
            }
            thread::sleep(Duration::from_millis(20));
            if !server.running() {
                let log = fs::read_to_string(self.folder.log()).unwrap_or_default();
                if !log.contains("shared memory block") {
                    return Err(not_ready(&self.folder.log()));
                }
                thread::sleep(Duration::from_millis(100));
                server = Server::start(self.command()?)?;
            }
        }
        server.end(Signal::QUIT, Duration::from_secs(5));
        Err(not_ready(&self.folder.log()))
    }

    fn command(&self) -> Result<Command, ClusterError> {
        let log = File::create(self.folder.log());
        let log = log.map_err(ClusterError::io("write PostgreSQL's log"))?;
        let line = server::stoppable(self.programs.path("postgres").as_os_str());
        let mut command = self.account.command(&line[0], &self.folder.private());
        command.args(&line[1..]).arg("-D").arg(self.folder.data());
        let mut set = |name: &str, value: &str| {
            command.arg("-c").arg(format!("{name}={value}"));
        };
        set("unix_socket_directories", &self.address.sockets().to_string_lossy());
        set("listen_addresses", "");
        set("port", "5432"); // part of the socket's name
        set("max_connections", "200");
        set("timezone", "UTC");
        if !self.durable {
            for safety in ["fsync", "synchronous_commit", "full_page_writes"] {
                set(safety, "off");
            }
        }
        server::detach(&mut command, log);
        Ok(command)
    }
}

/// The postmaster notes in the eighth line when it accepts sessions.
fn ready(data: &Path) -> bool {
    let note = fs::read_to_string(data.join("postmaster.pid")).unwrap_or_default();
    note.lines().nth(7).is_some_and(|state| state.trim() == "ready")
}

/// Why it didn't start, as the log says it.
pub(crate) fn not_ready(log: &Path) -> ClusterError {
    let text = fs::read_to_string(log).unwrap_or_default();
    let lines: Vec<&str> = text.lines().collect();
    let tail = lines[lines.len().saturating_sub(10)..].join("\n");
    ClusterError::NotReady { log: log.to_owned(), tail }
}
