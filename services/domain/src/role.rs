//! Who may ask for what.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A role that a token carries.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Shop management software.
    Integration,
    /// Plans bays and people.
    Dispatcher,
    /// Works tasks.
    Technician,
    /// Reads reports and the journal.
    Auditor,
    /// Keeps the catalogue.
    Keeper,
    /// Owns the shop.
    Owner,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 6] = [
        Self::Integration,
        Self::Dispatcher,
        Self::Technician,
        Self::Auditor,
        Self::Keeper,
        Self::Owner,
    ];

    /// The word used in tokens and documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::Integration => "integration",
            Self::Dispatcher => "dispatcher",
            Self::Technician => "technician",
            Self::Auditor => "auditor",
            Self::Keeper => "keeper",
            Self::Owner => "owner",
        }
    }

    /// The role of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}
