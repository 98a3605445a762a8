//! The completion report of one order: the data, which is also its JSON.
//!
//! The JSON is what is hashed and named in the journal, so the [`Seal`] that tells where stands
//! beside it. Empty lists mean that there was nothing of the kind.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

pub mod html;
pub mod task;

use task::Task;

/// What every report says first.
pub const DEFERENCE: &str = "The manufacturer's service information, local codes and licensed \
    practice come first. Where this report or its catalogue differs from them, they hold.";

/// A completion report.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// The version of this shape: 1.
    pub v: u8,
    /// When it was drawn up.
    pub made_at: DateTime<Utc>,
    /// Always [`DEFERENCE`].
    pub deference: String,
    /// Who did the work.
    pub shop: Shop,
    /// Which visit.
    pub order: Order,
    /// On which vehicle.
    pub vehicle: Vehicle,
    /// Whether and how it left.
    pub release: Release,
    /// What did not fit together: a VIN, an odometer.
    pub findings: Vec<Finding>,
    /// The work that was ordered.
    pub lines: Vec<Line>,
    /// The procedures that it made necessary, in their order.
    pub tasks: Vec<Task>,
    /// Decisions not to do something.
    pub waivers: Vec<Waiver>,
    /// What was asked for and refused.
    pub refusals: Vec<Refusal>,
    /// Facts that came after the report was frozen.
    pub addenda: Vec<Addendum>,
    /// What the procedures were derived from.
    pub catalogue: Catalogue,
}

/// The shop.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shop {
    /// Its name.
    pub name: String,
    /// Where it is, as one line.
    pub address: Option<String>,
    /// The IANA time zone of the times on paper: `America/New_York`.
    pub time_zone: String,
}

/// The order.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// Its id.
    pub id: String,
    /// The number that people use.
    pub number: String,
    /// `open`, `released`, `closed`, `cancelled`.
    pub state: String,
    /// When it was taken.
    pub taken_at: DateTime<Utc>,
    /// What was promised.
    pub promised_at: Option<DateTime<Utc>>,
    /// The order that it follows, if the vehicle came back.
    pub follows: Option<String>,
    /// What the customer said.
    pub complaints: Vec<String>,
    /// Trouble codes that it came with.
    pub trouble_codes: Vec<String>,
}

/// The vehicle.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Vehicle {
    /// Its VIN, if it has one.
    pub vin: Option<String>,
    /// Its plate.
    pub plate: Option<String>,
    /// Make, model and year, as the order says.
    pub description: String,
    /// Facts that were known, denied or unknown: name and `yes`, `no`, `unknown`, a word.
    pub facts: Vec<Fact>,
    /// Odometer when it came, with its unit.
    pub odometer_in: Option<Value>,
    /// Odometer when it left.
    pub odometer_out: Option<Value>,
}

/// A named fact.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fact {
    /// `front_camera`.
    pub name: String,
    /// `yes`.
    pub value: String,
}

/// A measured value.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Value {
    /// The figure or word, as it was given.
    pub value: String,
    /// UCUM code: `Cel`, `V`; none for words and counts.
    pub unit: Option<String>,
}

/// The decision that the vehicle may leave.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Release {
    /// `complete`, `open_learning`, `incomplete_towed`; none while it is not released.
    pub kind: Option<String>,
    /// When.
    pub at: Option<DateTime<Utc>>,
    /// By whom.
    pub by: Option<String>,
    /// What still stands against it, or what the customer must know.
    pub remarks: Vec<String>,
}

/// Something that did not fit.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Its code.
    pub code: String,
    /// In words.
    pub detail: String,
}

/// A line of work.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// Its number on the order.
    pub line: u32,
    /// As it was written.
    pub text: String,
    /// `sure`, `unsure`, `unread`, `none`.
    pub reading: String,
    /// What was read from it or given with it: `replace throttle body`.
    pub operations: Vec<String>,
    /// `open`, `started`, `finished`, `removed`.
    pub state: String,
    /// `approved`, `declined`, `pending`.
    pub authorisation: Option<String>,
}

/// A decision not to do something.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiver {
    /// What it covers: a task, a place, a precondition, a question.
    pub scope: String,
    /// The reason given.
    pub reason: String,
    /// Who decided.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
    /// The second person who approved, where one was needed.
    pub approved_by: Option<String>,
    /// What the customer was told.
    pub customer_told: Option<String>,
    /// Until when, or under which restriction it holds.
    pub restriction: Option<String>,
    /// When it ends by itself.
    #[serde(default)]
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// Something that was asked for and refused.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refusal {
    /// When.
    pub at: DateTime<Utc>,
    /// Who asked.
    pub by: String,
    /// What was asked: `start throttle position relearn`.
    pub asked: String,
    /// Every reason.
    pub reasons: Vec<String>,
}

/// A later fact.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Addendum {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: String,
    /// What.
    pub text: String,
}

/// The catalogue that was in force.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Catalogue {
    /// Its version.
    pub version: String,
    /// What its figures rest on, in words.
    pub basis: Option<String>,
}

/// Where the report stands in the journal. It is not part of the hashed JSON.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seal {
    /// SHA-256 of the report's JSON.
    pub report_sha256: String,
    /// The journal's name in the checkpoint.
    pub origin: String,
    /// How many entries the journal had.
    pub size: u64,
    /// The root over them.
    pub root: String,
    /// When the checkpoint was signed.
    pub signed_at: DateTime<Utc>,
    /// Which key signed.
    pub key_id: String,
}

/// The report's JSON: the bytes that are hashed.
pub fn json(report: &Report) -> Vec<u8> {
    serde_json::to_vec(report).expect("text, numbers and times are always JSON")
}
