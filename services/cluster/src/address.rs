//! How to reach a private PostgreSQL.

use std::fmt::Write;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};

/// The database that `serve` uses. Tests make others.
pub const DATABASE: &str = "bayproof";

/// As whom to connect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// `bayproof_owner`: owns the database, migrates it, may make others. No superuser.
    Owner,
    /// `bayproof_service`: what the service runs as. Row security holds for it.
    Service,
    /// The superuser; for fault tests (`pg_terminate_backend`) alone.
    Superuser,
}

impl Role {
    /// The role's name in PostgreSQL.
    pub fn name(self) -> &'static str {
        match self {
            Self::Owner => "bayproof_owner",
            Self::Service => "bayproof_service",
            Self::Superuser => "postgres",
        }
    }
}

/// The socket of a private PostgreSQL.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    pub(crate) sockets: PathBuf,
}

impl Address {
    /// A URL for sqlx and libpq: `postgres://bayproof_service@%2Ffolder/bayproof`. The socket
    /// takes the place of the host; there is no password, since only we can reach the socket.
    pub fn url(&self, role: Role, database: &str) -> String {
        let mut host = String::new();
        for byte in self.sockets.as_os_str().as_encoded_bytes() {
            match byte {
                b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' => {
                    host.push(char::from(*byte));
                }
                _ => write!(host, "%{byte:02X}").expect("writing to a String can't fail"),
            }
        }
        format!("postgres://{}@{host}/{database}", role.name())
    }

    /// The folder of the socket, as libpq's `host`.
    pub fn sockets(&self) -> &Path {
        &self.sockets
    }

    /// Whether a server accepts connections.
    pub(crate) fn answers(&self) -> bool {
        UnixStream::connect(self.sockets.join(SOCKET)).is_ok()
    }
}

/// PostgreSQL names its socket after the port, which is only a name without TCP.
pub(crate) const SOCKET: &str = ".s.PGSQL.5432";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_socket_folder_is_the_percent_encoded_host() {
        let address = Address { sockets: "/home/ann e/sockets".into() };
        let url = address.url(Role::Service, DATABASE);
        assert_eq!(url, "postgres://bayproof_service@%2Fhome%2Fann%20e%2Fsockets/bayproof");
    }
}
