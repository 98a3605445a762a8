//! Repair orders: intake, amendments, lines, questions, release.

use chrono::{DateTime, Utc};
use domain::lifecycle::{LineState, OrderState, TaskState};
use domain::order::{Authorisation, LineOperation, OnHold, ReadLine, Reading, Sublet};
use domain::vehicle::VehicleFacts;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::tasks::{Because, TaskView};

/// A repair order as a shop system posts it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewOrder {
    /// The shop's own number.
    #[schema(example = "RO-20417", min_length = 1, max_length = 64)]
    pub number: String,
    /// The vehicle and what is known of it.
    pub vehicle: VehicleFacts,
    /// The lines of work.
    #[schema(min_items = 0, max_items = 500)]
    pub lines: Vec<NewLine>,
    /// Trouble codes read at intake (SAE J2012).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 200, example = json!(["P0507"]))]
    pub trouble_codes: Vec<String>,
    /// What the customer complains of, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub complaints: Vec<String>,
    /// When the vehicle is expected; without it, it is there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub arrives_at: Option<DateTime<Utc>>,
    /// When it is promised back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub promised_at: Option<DateTime<Utc>>,
    /// How much lateness hurts, 1 to 100.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100)]
    pub weight: Option<i32>,
    /// The earlier order that this one follows (the vehicle comes back).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub follows: Option<Uuid>,
    /// Odometer at intake, km.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub odometer_in: Option<i32>,
    /// The vehicle has another open order, and this one is meant to stand beside it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub beside_open_order: bool,
}

/// A line of work as a shop system posts it: operations, text, or the shop's own labour code.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLine {
    /// Number of the line on the order.
    #[schema(minimum = 1, maximum = 9999)]
    pub line: i32,
    /// What the line says.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000, example = "Disconnect battery, replace throttle body")]
    pub text: String,
    /// The shop's own labour code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 64)]
    pub labour_code: Option<String>,
    /// The operations, where the shop system knows them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub operations: Vec<LineOperation>,
    /// Whether the customer agreed.
    #[serde(default)]
    pub authorisation: Authorisation,
    /// Minutes of mechanical work, for the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000)]
    pub minutes: Option<i32>,
    /// Capabilities of the bay that the mechanical work needs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 20)]
    pub bay: Option<Vec<String>>,
    /// Skills that the mechanical work needs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 20)]
    pub skills: Option<Vec<String>>,
    /// When the parts come.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts_expected_at: Option<DateTime<Utc>>,
    /// What the line waits for outside the shop's work. Nothing of it begins until the line is put without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_hold: Option<OnHold>,
    /// Another business does the work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sublet: Option<Sublet>,
}

/// A change to an order: JSON Merge Patch (RFC 7396); lines are edited one by one.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderPatch {
    /// Vehicle facts to change; a `null` fact or feature is unknown again. The identity is corrected elsewhere, and no
    /// order is without a vehicle.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<VehiclePatch>)]
    pub vehicle: Option<Option<VehiclePatch>>,
    /// Trouble codes, the whole list; `null`: none.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Vec<String>>, max_items = 200)]
    pub trouble_codes: Option<Option<Vec<String>>>,
    /// Complaints, the whole list; `null`: none.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Vec<String>>, max_items = 100)]
    pub complaints: Option<Option<Vec<String>>>,
    /// When the vehicle is expected; `null` removes it.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<DateTime<Utc>>)]
    pub arrives_at: Option<Option<DateTime<Utc>>>,
    /// When it is promised back; `null` removes it.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<DateTime<Utc>>)]
    pub promised_at: Option<Option<DateTime<Utc>>>,
    /// How much lateness hurts, 1 to 100; `null`: as usual, 1.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<i32>, minimum = 1, maximum = 100)]
    pub weight: Option<Option<i32>>,
    /// Odometer at the end, km; `null` removes it.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<i32>, minimum = 0, maximum = 10_000_000)]
    pub odometer_out: Option<Option<i32>>,
    /// `cancelled`: the visit does not happen. Refused while a service mode stands open or work was begun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<Cancel>,
}

/// The only state that an amendment can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Cancel {
    /// The visit does not happen.
    Cancelled,
}

/// Vehicle facts to change.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VehiclePatch {
    /// Features to set; `null` makes one unknown.
    #[serde(default)]
    pub features: std::collections::BTreeMap<String, domain::vehicle::FactValue>,
    /// Powertrain; `null`: unknown.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<domain::vehicle::Powertrain>)]
    pub powertrain: Option<Option<domain::vehicle::Powertrain>>,
    /// Model year; `null`: unknown.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<i32>, minimum = 1900, maximum = 2100)]
    pub model_year: Option<Option<i32>>,
    /// Maker's name; `null`: unknown.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, max_length = 64)]
    pub make: Option<Option<String>>,
    /// Model's name; `null`: unknown.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, max_length = 64)]
    pub model: Option<Option<String>>,
}

/// Distinguishes a member that is `null` from one that is absent.
#[expect(
    clippy::option_option,
    clippy::ref_option,
    reason = "serde's `with` gives the shape; null and absent differ"
)]
mod present {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<T: Serialize, S: Serializer>(
        value: &Option<Option<T>>,
        out: S,
    ) -> Result<S::Ok, S::Error> {
        value.as_ref().and_then(Option::as_ref).serialize(out)
    }

    pub(super) fn deserialize<'de, T: Deserialize<'de>, D: Deserializer<'de>>(
        input: D,
    ) -> Result<Option<Option<T>>, D::Error> {
        Option::<T>::deserialize(input).map(Some)
    }
}

/// How the mechanical work of a line goes on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineProgress {
    /// What happened.
    pub progress: Progress,
    /// The bay it is worked in; needed to start, unless another business does the work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// Who works on it; a technician's token says it by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Uuid>,
    /// Statements that the finish attests, by name: `calipers_bolted` and the like.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub attests: Vec<String>,
    /// The document of the business that did the work; needed to finish a line that was sublet, with
    /// `sublet_work_checked` attested by a person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<SubletDocument>,
}

/// What a provider says of the work that it did, on paper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SubletDocument {
    /// Its number or title.
    #[schema(example = "invoice 4711", min_length = 1, max_length = 200)]
    pub name: String,
    /// Media type of the file.
    #[schema(example = "application/pdf", max_length = 100)]
    pub media_type: String,
    /// SHA-256 of the file, hexadecimal.
    #[schema(min_length = 64, max_length = 64)]
    pub sha256: String,
    /// The file in base64.
    #[schema(max_length = 28_000_000)]
    pub data: String,
}

/// What happened on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Progress {
    /// Work begins or goes on.
    Started,
    /// Work is laid aside.
    Paused,
    /// Work is done.
    Finished,
    /// It was not done after all.
    NotDone,
}

/// An answer to a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAnswer {
    /// The question.
    pub question: Uuid,
    /// A vehicle fact: `true`, `false` or one of the question's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fact: Option<domain::vehicle::FactValue>,
    /// What a line was: its operations; an empty list says that it needs nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 50)]
    pub operations: Option<Vec<LineOperation>>,
    /// Keep a line's answer as the shop's own phrase.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub keep_as_phrase: bool,
    /// An owner leaves the question open with this reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub waive_because: Option<String>,
}

/// What the floor sees and the order does not say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewObservation {
    /// A trouble code that was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 8)]
    pub trouble_code: Option<String>,
    /// A complaint.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500)]
    pub complaint: Option<String>,
    /// An operation that was done beyond the lines.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operation: Option<LineOperation>,
    /// In words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000)]
    pub note: String,
}

/// The decision that the vehicle may leave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRelease {
    /// What kind of leaving it is.
    pub kind: ReleaseKind,
    /// Odometer at the end, km.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub odometer_out: Option<i32>,
    /// Needed for `incomplete_towed`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: Option<String>,
}

/// Kinds of leaving.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReleaseKind {
    /// Everything is done or waived.
    Complete,
    /// Only tasks that end after hand-over are open.
    OpenLearning,
    /// It leaves on a carrier, with work open.
    IncompleteTowed,
}

/// The same derivation for an order that is not stored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DerivationView {
    /// The catalogue it was derived with.
    pub catalogue_version: String,
    /// What was noticed.
    pub findings: Vec<FindingView>,
    /// What was read from the lines.
    pub lines: Vec<ReadLine>,
    /// What is not known and decides something.
    pub questions: Vec<QuestionView>,
    /// What the repair makes necessary.
    pub tasks: Vec<TaskView>,
}

/// Something noticed on an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FindingView {
    /// Stable word: `vin_check_digit`, `vin_model_year_differs`, `order_conflict`, `odometer_decreased`, ...
    pub code: String,
    /// In words.
    pub detail: String,
}

/// A question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct QuestionView {
    /// Its id.
    pub id: Uuid,
    /// The fact or line it asks for: `features.front_camera`, `powertrain`, `lines.2`.
    pub asks: String,
    /// Worded so that a service advisor can answer.
    pub text: String,
    /// What may be answered; for a line, the candidates.
    pub choices: Vec<serde_json::Value>,
    /// Procedures that the answer decides.
    pub decides: Vec<String>,
    /// Why it is asked: the chain to each of those procedures, as far as it is known.
    pub because: Vec<Because>,
    /// `open`, `answered`, `waived` or `dropped`.
    pub state: String,
}

/// An order as everybody sees it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderView {
    /// Its id.
    pub id: Uuid,
    /// The shop's own number.
    pub number: String,
    /// Where it stands.
    pub state: OrderState,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
    /// The catalogue it was derived with.
    pub catalogue_version: String,
    /// The vehicle's id.
    pub vehicle_id: Uuid,
    /// What is known of the vehicle.
    pub vehicle: VehicleFacts,
    /// When it was taken in.
    pub created_at: DateTime<Utc>,
    /// When the vehicle is expected.
    pub arrives_at: Option<DateTime<Utc>>,
    /// When it is promised back.
    pub promised_at: Option<DateTime<Utc>>,
    /// How much lateness hurts.
    pub weight: i32,
    /// The earlier order that this one follows.
    pub follows: Option<Uuid>,
    /// The order that its lines were split off from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub split_from: Option<Uuid>,
    /// Trouble codes.
    pub trouble_codes: Vec<String>,
    /// Complaints.
    pub complaints: Vec<String>,
    /// What was noticed.
    pub findings: Vec<FindingView>,
    /// Lines.
    pub lines: Vec<LineView>,
    /// Questions, open ones first.
    pub questions: Vec<QuestionView>,
    /// Tasks in a workable order.
    pub tasks: Vec<TaskView>,
    /// Counts of tasks.
    pub progress: ProgressView,
    /// When it may be ready, from the plan.
    pub ready_at: Option<DateTime<Utc>>,
    /// `on_time`, `at_risk`, `late` or `unknown`.
    pub promise: PromiseRisk,
    /// Whether the vehicle may leave, and what stands in the way.
    pub leaving: LeavingView,
    /// Other open orders of this vehicle.
    pub other_open_orders: Vec<Uuid>,
    /// When it was released.
    pub released_at: Option<DateTime<Utc>>,
    /// What the last amendment did; only in the answer to an amendment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes: Option<ChangesView>,
    /// What earlier orders of the vehicle left behind, newest first; only in the answer to an intake.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_behind: Vec<EarlierOrder>,
}

/// An order in a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderSummary {
    /// Its id.
    pub id: Uuid,
    /// The shop's own number.
    pub number: String,
    /// Where it stands.
    pub state: OrderState,
    /// The vehicle's id.
    pub vehicle_id: Uuid,
    /// When it was taken in.
    pub created_at: DateTime<Utc>,
    /// When it is promised back.
    pub promised_at: Option<DateTime<Utc>>,
    /// When it may be ready, from the plan.
    pub ready_at: Option<DateTime<Utc>>,
    /// How the promise stands.
    pub promise: PromiseRisk,
    /// Counts of tasks.
    pub progress: ProgressView,
}

/// Which orders.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct OrderQuery {
    /// Only orders in this state.
    #[serde(default)]
    pub state: Option<OrderState>,
    /// Only the order of this number.
    #[serde(default)]
    pub number: Option<String>,
    /// Only orders of the vehicle with this VIN.
    #[serde(default)]
    pub vin: Option<String>,
    /// Where the page begins.
    #[serde(default)]
    pub cursor: Option<String>,
    /// How many at the most, 1 to 500.
    #[serde(default)]
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u32>,
}

/// A line as everybody sees it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LineView {
    /// Its number.
    pub line: i32,
    /// Where it stands.
    pub state: LineState,
    /// Whether the customer agreed.
    pub authorisation: Authorisation,
    /// What the line says.
    pub text: String,
    /// The shop's own labour code.
    pub labour_code: Option<String>,
    /// How well it was understood.
    pub reading: Reading,
    /// The operations, with what they rest on.
    pub operations: Vec<domain::order::ReadOperation>,
    /// The operations as posted, with whether they were done.
    pub posted: Vec<LineOperation>,
    /// Minutes of mechanical work.
    pub minutes: Option<i32>,
    /// When the parts come.
    pub parts_expected_at: Option<DateTime<Utc>>,
    /// What it waits for.
    pub on_hold: Option<OnHold>,
    /// Another business does the work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sublet: Option<Sublet>,
    /// What that business says of the work it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<SubletDocumentView>,
    /// When work began.
    pub started_at: Option<DateTime<Utc>>,
    /// When work was done.
    pub finished_at: Option<DateTime<Utc>>,
}

/// A provider's document; its file is at `/v1/orders/{id}/lines/{line}/document`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SubletDocumentView {
    /// Its number or title.
    pub name: String,
    /// Media type of the file.
    pub media_type: String,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
    /// Who looked at the work and at the document, and attested both.
    pub attested_by: String,
    /// When; from then on counts what the work disturbs.
    pub at: DateTime<Utc>,
}

/// An earlier order of the vehicle, as far as it left something behind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EarlierOrder {
    /// Its id.
    pub order: Uuid,
    /// The shop's own number.
    pub number: String,
    /// Where it stands.
    pub state: OrderState,
    /// When it was released.
    pub released_at: Option<DateTime<Utc>>,
    /// Tasks that did not end well: open, failed, waived, or disturbed without another that passed in their place.
    pub tasks: Vec<EarlierTask>,
    /// Lines that the customer declined.
    pub declined_lines: Vec<i32>,
}

/// A task that was left behind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EarlierTask {
    /// Its id.
    pub task: Uuid,
    /// The procedure's name.
    pub procedure: String,
    /// Its title.
    pub title: String,
    /// Where on the vehicle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Where it stands.
    pub state: TaskState,
}

/// Lines that go over to an order of their own, with their tasks and evidence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSplit {
    /// Number of the new order.
    #[schema(example = "RO-20417-B", min_length = 1, max_length = 64)]
    pub number: String,
    /// The lines that go over; at least one stays.
    #[schema(min_items = 1, max_items = 500)]
    pub lines: Vec<i32>,
    /// When the new order is promised; without it, when the old one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub promised_at: Option<DateTime<Utc>>,
}

/// Both orders after a split.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SplitView {
    /// The order that the lines were on.
    pub from: OrderView,
    /// The order that they are on now.
    pub into: OrderView,
}

/// Counts of tasks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ProgressView {
    /// Tasks that count (not withdrawn, not disturbed).
    pub tasks: u32,
    /// Passed.
    pub passed: u32,
    /// Waived.
    pub waived: u32,
    /// Still open.
    pub open: u32,
    /// Open questions.
    pub questions: u32,
}

/// How a promise stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PromiseRisk {
    /// Planned to be ready in time, also if every task takes its most minutes.
    OnTime,
    /// Planned in time, but not if tasks take their most minutes.
    AtRisk,
    /// Planned to be late.
    Late,
    /// No promise, or no complete plan.
    Unknown,
}

/// Whether the vehicle may leave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeavingView {
    /// It may leave now.
    pub allowed: bool,
    /// The earliest moment, from the plan.
    pub earliest_at: Option<DateTime<Utc>>,
    /// How far that can be relied on.
    pub confidence: LeavingConfidence,
    /// All that stands in the way.
    pub blocked_by: Vec<LeavingBlock>,
}

/// How far the moment at which a vehicle may leave can be relied on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LeavingConfidence {
    /// Nothing stands in the way now.
    Certain,
    /// All that stands in the way is planned, or ends at a known time.
    Planned,
    /// It is planned, but something may change it that no plan foresees: an open question, a line that nobody agreed to yet, a
    /// decision, a hold without end, a vehicle that is away.
    Doubtful,
    /// Not all of it is planned: no moment can be told.
    Unknown,
}

/// One thing that keeps the vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LeavingBlock {
    /// `task_open`, `task_failed`, `line_open`, `question_open`, `bracket_open`, `hold`, `settling`, `vehicle_away`.
    pub code: String,
    /// In words.
    pub detail: String,
    /// The task that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// The line that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// The question that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub question: Option<Uuid>,
    /// Roles that can clear it.
    pub who_can_clear: Vec<String>,
}

/// What an amendment did to the tasks.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChangesView {
    /// Tasks that stay, with their evidence.
    pub kept: Vec<Uuid>,
    /// New tasks.
    pub added: Vec<Uuid>,
    /// Tasks that are no longer required.
    pub withdrawn: Vec<Uuid>,
    /// Passed tasks that something undid; a new task replaces each.
    pub disturbed: Vec<Uuid>,
    /// Running tasks that are finished first and then no longer needed.
    pub no_longer_needed: Vec<Uuid>,
}
