//! What can go wrong in the database.

/// A statement failed.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A unique key already exists: the caller repeated itself, or somebody was faster.
    #[error("a row with this key already exists ({constraint})")]
    Duplicate {
        /// The violated constraint or index.
        constraint: String,
    },
    /// The database's own rules refuse the change.
    #[error("the database refuses: {detail}")]
    Guarded {
        /// What it says.
        detail: String,
    },
    /// Two transactions waited for each other; the step may be tried again.
    #[error("two transactions collided")]
    Collision,
    /// The database is not reachable or too busy.
    #[error("the database is not reachable: {0}")]
    Unreachable(sqlx::Error),
    /// A stored document does not read back.
    #[error("a stored document does not read back: {0}")]
    Document(#[from] serde_json::Error),
    /// A stored word is not of the list.
    #[error("the stored word `{0}` is unknown")]
    Word(String),
    /// A text holds what the database cannot keep: U+0000.
    #[error("a text holds a character that cannot be kept")]
    Unstorable,
    /// Text could not be written.
    #[error("text could not be written")]
    Text,
    /// Anything else.
    #[error(transparent)]
    Database(sqlx::Error),
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        if let sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed | sqlx::Error::Io(_) = error {
            return Self::Unreachable(error);
        }
        let Some(db) = error.as_database_error() else { return Self::Database(error) };
        match db.code().as_deref() {
            Some("23505") => {
                Self::Duplicate { constraint: db.constraint().unwrap_or_default().to_owned() }
            }
            Some("40001" | "40P01") => Self::Collision,
            Some("23000" | "23514" | "23P01" | "42501") => {
                Self::Guarded { detail: db.message().to_owned() }
            }
            Some("22021" | "22P05") => Self::Unstorable,
            Some("57P01" | "57P02" | "57P03" | "53300") => Self::Unreachable(error),
            _ => Self::Database(error),
        }
    }
}
