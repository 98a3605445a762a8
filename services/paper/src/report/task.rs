//! The part of the report about one procedure.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::Value;

/// One procedure that the order required.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Task {
    /// Its id.
    pub id: String,
    /// The procedure's name in the catalogue.
    pub procedure: String,
    /// Its title.
    pub title: String,
    /// `relearn`, `calibration`, `functional_test`, ...
    pub kind: String,
    /// `before` or `after` the mechanical work.
    pub phase: String,
    /// `passed`, `waived`, `disturbed`, `waiting`, ...
    pub state: String,
    /// Why it is required; several where several rules ask for it.
    pub because: Vec<Reason>,
    /// Cautions, and who acknowledged them.
    pub cautions: Vec<Caution>,
    /// What it still wants before it can be tried; once tried, each attempt has its own.
    pub preconditions: Vec<Precondition>,
    /// Figures of the manufacturer in place of the catalogue's.
    #[serde(default)]
    pub limits: Vec<Limit>,
    /// Every try.
    pub attempts: Vec<Attempt>,
    /// The end of the wait after it.
    pub settled_at: Option<DateTime<Utc>>,
    /// What undid it after it had passed.
    pub disturbed_by: Option<String>,
    /// The task that it replaces.
    pub replaces: Option<String>,
}

/// A chain from the order to the task.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// From what was written to what follows: `line 2: replace throttle body`, `rule ...`.
    pub chain: Vec<String>,
    /// Where the rule comes from.
    pub source: Option<String>,
}

/// A caution.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// Its text.
    pub text: String,
    /// Who acknowledged it.
    pub acknowledged_by: Option<String>,
    /// When.
    pub acknowledged_at: Option<DateTime<Utc>>,
}

/// Something that must be true, and what was shown for it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Precondition {
    /// In words, with the limits.
    pub text: String,
    /// `met`, `violated`, `stale`, `missing`.
    pub verdict: String,
    /// What is lacking, or what to know about it: another limit with its document, a contradiction.
    pub detail: Option<String>,
    /// What it rests on.
    pub evidence: Vec<Evidence>,
}

/// A figure of the manufacturer in place of the catalogue's.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limit {
    /// The precondition or proof.
    pub precondition: String,
    /// The figure, what it stands in for, and where it is printed.
    pub text: String,
    /// Who read it there.
    pub read_by: String,
    /// When it was given.
    pub at: DateTime<Utc>,
    /// The second person who approved it.
    pub approved_by: Option<String>,
    /// Whether it counted: everybody who must had agreed.
    pub in_force: bool,
}

/// A reading, a frame, an attestation or an attachment.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Evidence {
    /// What was observed: `engine_coolant_temperature`, a statement, a file.
    pub what: String,
    /// The value as it was given.
    pub given: Value,
    /// The bytes it was decoded from, as hexadecimal digits, or a file's SHA-256.
    pub raw: Option<String>,
    /// When it was observed.
    pub taken_at: DateTime<Utc>,
    /// The instrument, or the person whose word it is.
    pub source: String,
    /// `late`, `unverified`, `by_hand`, `alternative`, ...
    pub marks: Vec<String>,
}

/// One try.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attempt {
    /// From 1.
    pub number: u32,
    /// Who worked, the holder of the lease first, with the certificates that counted.
    pub people: Vec<String>,
    /// Where, with the measurement that counted (a floor's slope).
    pub bay: Option<String>,
    /// With what, with calibration dates.
    pub equipment: Vec<String>,
    /// How the vehicle was identified.
    pub identity: Option<String>,
    /// When it was taken.
    pub taken_at: DateTime<Utc>,
    /// When it was started.
    pub started_at: Option<DateTime<Utc>>,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// `passed`, `failed`, `returned`, `held`, ...
    pub outcome: String,
    /// The verdicts when it was started.
    pub preconditions: Vec<Precondition>,
    /// What shows the result.
    pub results: Vec<Evidence>,
    /// Interruptions, handovers, decisions, attestations.
    pub events: Vec<Event>,
}

/// Something that happened during a try.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub by: String,
    /// What.
    pub text: String,
}
