//! A repair order's lines and what the derivation reads from them.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::operation::Operation;

/// Whether the customer agreed to a line.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Authorisation {
    /// Not decided yet: it requires nothing until it is approved.
    Pending,
    /// Agreed.
    #[default]
    Approved,
    /// Declined: its tasks fall away unless work was begun.
    Declined,
}

/// What a line waits for outside the shop's work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OnHold {
    /// For parts.
    Parts,
    /// For somebody's approval.
    Approval,
    /// For the customer.
    Customer,
}

impl OnHold {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Parts, Self::Approval, Self::Customer];

    /// The word used in documents and in the database.
    pub fn word(self) -> &'static str {
        match self {
            Self::Parts => "parts",
            Self::Approval => "approval",
            Self::Customer => "customer",
        }
    }

    /// The kind of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// Work that another business does, away from the shop's bays.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sublet {
    /// Who does it.
    #[schema(example = "the glazier in the next street", min_length = 1, max_length = 200)]
    pub provider: String,
    /// When the vehicle is expected back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back_at: Option<DateTime<Utc>>,
}

/// Whether an operation was really done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Done {
    /// It is intended.
    #[default]
    Planned,
    /// It was done.
    Done,
    /// It was not done and will not be; it requires nothing.
    NotDone,
}

/// An operation as a line states it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineOperation {
    /// The action, a word of the catalogue's vocabulary.
    #[schema(example = "replace", min_length = 1, max_length = 64)]
    pub action: String,
    /// The component, a word of the catalogue's vocabulary.
    #[schema(example = "rear_brake_pads", min_length = 1, max_length = 64)]
    pub component: String,
    /// Where on the vehicle, when it matters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 64)]
    pub place: Option<String>,
    /// Whether it was really done.
    #[serde(default)]
    pub done: Done,
}

impl LineOperation {
    /// The operation itself.
    pub fn operation(&self) -> Operation {
        Operation {
            action: self.action.clone(),
            component: self.component.clone(),
            place: self.place.clone(),
        }
    }
}

/// How well a line's text was understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// The operations were given or read with certainty.
    Sure,
    /// There are candidates; a question asks.
    Unsure,
    /// Nobody understood it; a question asks.
    Unread,
    /// It was understood and needs no procedure.
    None,
}

/// An operation read from a line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReadOperation {
    /// The action.
    pub action: String,
    /// The component.
    pub component: String,
    /// Where on the vehicle, when the line says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// How certain the reading is, 0 to 1; 1 for operations that were posted.
    #[schema(minimum = 0, maximum = 1)]
    pub confidence: f64,
    /// The words of the line it rests on; empty for operations that were posted.
    pub words: String,
}

/// A line with what was read from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReadLine {
    /// The line's number.
    pub line: i32,
    /// How well it was understood.
    pub reading: Reading,
    /// The operations taken, or the candidates of an unsure reading.
    pub operations: Vec<ReadOperation>,
    /// Why it was read so, in one sentence for a person.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub explanation: String,
}
