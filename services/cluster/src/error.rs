//! What can go wrong with a private PostgreSQL.

use std::io;
use std::path::PathBuf;

/// Why there is no private PostgreSQL. The text is meant for the person at the keyboard.
#[derive(Debug, thiserror::Error)]
pub enum ClusterError {
    /// None of the places looked at has the programs.
    #[error(
        "PostgreSQL's programs (postgres, initdb, psql) were not found in: {looked_at}. Install them \
         (Debian, Ubuntu: `apt-get install postgresql`; Fedora: `dnf install postgresql-server`; \
         macOS: `brew install postgresql@16`), or name their folder in BAYPROOF_PG_BIN"
    )]
    NoPrograms {
        /// The folders, for reading.
        looked_at: String,
    },
    /// There are programs, but none of the version that is needed.
    #[error(
        "{folder} needs PostgreSQL {needed}, and only these were found: {found}. Install that \
         version, or name its folder in BAYPROOF_PG_BIN"
    )]
    WrongVersion {
        /// The data folder.
        folder: PathBuf,
        /// Such as `14 or later`, or the version that made the data.
        needed: String,
        /// The folders and versions, for reading.
        found: String,
    },
    /// Another living process holds the folder.
    #[error(
        "{folder} is in use by another process (pid {holder}). Stop it, or choose another folder \
         with BAYPROOF_DATA"
    )]
    InUse {
        /// The data folder.
        folder: PathBuf,
        /// The process that holds it, as it noted itself.
        holder: String,
    },
    /// The folder, or one above it, is closed to the user that PostgreSQL runs as.
    #[error(
        "PostgreSQL doesn't run as root, and its user {user} can't enter {folder}. Choose another \
         folder with BAYPROOF_DATA"
    )]
    Closed {
        /// The folder.
        folder: PathBuf,
        /// The unprivileged user.
        user: String,
    },
    /// A folder at a guessable place belongs to somebody else.
    #[error("{0} belongs to another user; remove it or choose another folder with BAYPROOF_DATA")]
    Foreign(PathBuf),
    /// Started as root on a machine without an unprivileged user.
    #[error("PostgreSQL doesn't run as root, and there is neither a user `postgres` nor `nobody`")]
    NoUser,
    /// Neither `BAYPROOF_DATA` nor a home folder says where to keep the data.
    #[error("no folder for the data: set BAYPROOF_DATA (or HOME)")]
    NoFolder,
    /// A program of PostgreSQL's failed.
    #[error("{program} failed: {output}")]
    Failed {
        /// The program.
        program: String,
        /// What it said.
        output: String,
    },
    /// The server ended, or didn't answer in time.
    #[error("PostgreSQL did not start; the end of {log}:\n{tail}")]
    NotReady {
        /// The server's log.
        log: PathBuf,
        /// Its last lines.
        tail: String,
    },
    /// The system refused.
    #[error("can't {doing}")]
    Io {
        /// What was being done, to what.
        doing: String,
        /// The system's reason.
        source: io::Error,
    },
}

impl ClusterError {
    /// For `map_err`: says what was being done.
    pub(crate) fn io(doing: impl Into<String>) -> impl FnOnce(io::Error) -> Self {
        let doing = doing.into();
        move |source| Self::Io { doing, source }
    }
}
