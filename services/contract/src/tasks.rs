//! Tasks as everybody sees them, and what technicians and dispatchers do with them.

use chrono::{DateTime, Utc};
use domain::lifecycle::TaskState;
use domain::operation::Operation;
use domain::procedure::{Caution, Ends, Minutes, Phase, ProcedureKind, Settle, Step};
use domain::verdict::{Finding, Verdict};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TaskView {
    /// Its id.
    pub id: Uuid,
    /// The order it belongs to; none in a dry run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Uuid>,
    /// The procedure's name.
    pub procedure: String,
    /// Where on the vehicle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Title for people.
    pub title: String,
    /// What sort of procedure it is.
    pub kind: ProcedureKind,
    /// Before or after the mechanical work.
    pub phase: Phase,
    /// Where it stands.
    pub state: TaskState,
    /// A wait that still runs, until when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
    /// What it waits for.
    pub waits_for: Vec<WaitsFor>,
    /// The wait after it.
    pub settle: Settle,
    /// What it needs.
    pub needs: NeedsView,
    /// How long it takes.
    pub minutes: Minutes,
    /// Whether the vehicle may leave before it has ended.
    pub ends: Ends,
    /// Why it is required.
    pub because: Vec<Because>,
    /// Dangers; acknowledge each before preparing.
    pub cautions: Vec<CautionView>,
    /// Preconditions with their present verdict.
    pub preconditions: Vec<PreconditionView>,
    /// What proves the result, with the present verdict.
    pub proof: Vec<PreconditionView>,
    /// A cheap recorded check that may close it instead of the whole procedure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quick_check: Option<QuickCheckView>,
    /// What to do, in order.
    pub steps: Vec<Step>,
    /// What a client asks the technician for at the end: the fields of a form.
    pub result_fields: Vec<ResultField>,
    /// The next thing to do, in words.
    pub next_action: String,
    /// Number of the present or last attempt.
    pub attempt: i32,
    /// The lease's present fence.
    pub fence: i64,
    /// Who holds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Uuid>,
    /// Where it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// When the lease ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lease_until: Option<DateTime<Utc>>,
    /// When it was started.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub started_at: Option<DateTime<Utc>>,
    /// When it ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended_at: Option<DateTime<Utc>>,
    /// What of this attempt was done without a network and reported later.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reported_late: Vec<ReportedLate>,
    /// The disturbed task whose place it takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<Uuid>,
    /// It runs to its end, but is no longer needed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub no_longer_needed: bool,
    /// Where and when it is planned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned: Option<PlannedView>,
    /// What everybody who does this must know.
    pub deference: String,
}

/// A cheap check that may close a task, recorded as such.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct QuickCheckView {
    /// What to check.
    pub text: String,
    /// What proves it, with the present verdict.
    pub proof: Vec<PreconditionView>,
}

/// A field of the form for a result. What fills it in is sent as an item of evidence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ResultField {
    /// The kind of the item of evidence.
    pub kind: ResultFieldKind,
    /// The signal, the statement, what the file shows, or the routine's identifier.
    pub name: String,
    /// The same for people.
    pub title: String,
    /// UCUM code of the unit in which the limits stand; another unit of the same dimension is taken too.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The states that it may have.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<String>,
    /// It is read at each of these.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<String>,
    /// A second person fills it in, with their own token.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_second_person: bool,
    /// Another field may stand in for it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub optional: bool,
    /// The items of proof that it serves.
    pub proves: Vec<String>,
}

/// The kind of an item of evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ResultFieldKind {
    /// A measured value or an observed state.
    Reading,
    /// The answer of a control module.
    Frame,
    /// A list of trouble codes: a frame, or what a person read.
    TroubleCodes,
    /// A person's word.
    Attestation,
    /// A file.
    Attachment,
}

/// A step that was done without a network and reported later.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReportedLate {
    /// `start` or `finish`.
    pub step: String,
    /// When it was done, by the client's word.
    pub done_at: DateTime<Utc>,
    /// When the service was told.
    pub reported_at: DateTime<Utc>,
}

/// The words that every task carries.
pub const DEFERENCE: &str = "The manufacturer's service information, local codes and licensed practice come first. \
Figures of the starter catalogue are general trade practice.";

/// What a task waits for: a task, a line, or a question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WaitsFor {
    /// An earlier task.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// The mechanical work of a line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// An earlier task's wait, until when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
}

/// What a task needs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NeedsView {
    /// Capabilities of the bay; `null` is the road.
    pub bay: Option<Vec<String>>,
    /// Skills.
    pub skills: Vec<String>,
    /// Kinds of equipment.
    pub equipment: Vec<String>,
    /// How many people.
    pub people: u8,
}

/// One reason for a task, as a chain.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Because {
    /// The line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// The line's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// The operation that the rule matched.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operation: Option<Operation>,
    /// The trouble code that the rule matched.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trouble_code: Option<String>,
    /// The complaint that the rule matched.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub complaint: Option<String>,
    /// What led from the line to the operation, or the procedure that needs this one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub via: Vec<String>,
    /// The rule.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// Where it is not the task that shows this: the procedure that the chain leads to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub procedure: Option<String>,
    /// Why, in words.
    pub why: String,
    /// The source.
    pub source: String,
}

/// A caution and whether it was acknowledged in this attempt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CautionView {
    /// The caution.
    #[serde(flatten)]
    pub caution: Caution,
    /// Acknowledged in this attempt.
    pub acknowledged: bool,
}

/// A precondition with its present verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PreconditionView {
    /// Its name.
    pub id: String,
    /// What must be true.
    pub text: String,
    /// What must be true, for programs.
    pub condition: domain::precondition::Condition,
    /// The present verdict.
    pub verdict: Verdict,
    /// What is lacking or was seen, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub detail: String,
    /// What would be accepted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub accepts: Vec<String>,
    /// How far the manufacturer's figure may differ, where another one may stand in for a limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub may_differ: Option<domain::limit::MayDiffer>,
    /// It is proven by an alternative that the catalogue names.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_alternative: bool,
    /// A waiver in force leaves it out.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub waived: bool,
    /// It must go on holding while the task runs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub throughout: bool,
    /// What must hold while it runs, where that is wider than what must be true at the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub while_running: Option<domain::precondition::Condition>,
    /// It must have held for this many seconds, shown by readings no further apart than the signal allows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_for: Option<u32>,
    /// Evidence older than this many seconds no longer proves it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_age: Option<u32>,
    /// Where the figure comes from.
    pub source: String,
}

/// Where and when a task is planned.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PlannedView {
    /// The bay; none on the road.
    pub bay: Option<Uuid>,
    /// Who.
    pub technicians: Vec<Uuid>,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
}

/// Which tasks.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct TaskQuery {
    /// Only tasks of this order.
    #[serde(default)]
    pub order: Option<Uuid>,
    /// Only tasks in this state.
    #[serde(default)]
    pub state: Option<TaskState>,
    /// Where the page begins.
    #[serde(default)]
    pub cursor: Option<String>,
    /// How many at the most, 1 to 500.
    #[serde(default)]
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u32>,
}

/// Cautions acknowledged, by name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAcknowledgement {
    /// The lease's fence.
    pub fence: i64,
    /// Names of cautions.
    #[schema(min_items = 1, max_items = 50)]
    pub cautions: Vec<String>,
    /// When they were read, from a client that had no network then; otherwise now.
    #[serde(default)]
    pub at: Option<DateTime<Utc>>,
}

/// Start a task.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewStart {
    /// The lease's fence.
    pub fence: i64,
    /// When it was really started, from a client that had no network then: judged as of that moment, which lies in
    /// the lease, and recorded as reported late.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<Utc>>,
    /// The bay that it is really done in, if that is not the one of the lease.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// The units of equipment that are really used, all of them, if those are not the ones of the lease.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 20)]
    pub equipment: Option<Vec<Uuid>>,
    /// Technicians who work with the holder; a second person that the procedure asks for attests besides.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 5)]
    pub people: Vec<Uuid>,
    /// The set of targets or adapters that is used, as it is labelled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200, pattern = r"\S")]
    pub target_set: Option<String>,
    /// The routine that is asked of the control module, by the manufacturer's information: its identifier, four hex
    /// digits. What another routine answers proves nothing then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(pattern = "^[0-9A-Fa-f]{4}$")]
    pub routine: Option<String>,
}

/// A task broke off while running.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewInterruption {
    /// The lease's fence.
    pub fence: i64,
    /// The state in which the vehicle stands, in words.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub vehicle_condition: String,
    /// Whether it is safe as it stands.
    pub safe: bool,
}

/// The end of a task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFinish {
    /// The lease's fence.
    pub fence: i64,
    /// How it ended.
    pub outcome: Outcome,
    /// When it really ended, from a client that had no network then: judged as of that moment and recorded as
    /// reported late. A wait after it counts from the report all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<Utc>>,
    /// Closes the task by the procedure's quick check instead of the whole procedure.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub quick_check: bool,
    /// In words; needed for a failure.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000)]
    pub note: String,
    /// Evidence of the result, taken in before the verdict.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 1000)]
    pub evidence: Vec<crate::evidence::EvidenceItem>,
}

/// How a task ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Done and proven.
    Passed,
    /// It did not succeed.
    Failed,
}

/// What to do with a task that was interrupted or has failed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDecision {
    /// The decision.
    pub decision: Decision,
    /// Why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
}

/// Decisions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// Go on where it broke off; by the person who held the lease.
    Resume,
    /// A new attempt.
    Retry,
    /// Every step since the service mode was entered again.
    RestartChain,
    /// It counts as failed.
    GiveUp,
}

/// Leave a task undone, or one of its preconditions unproven.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewWaiver {
    /// Why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
    /// What the customer was told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub customer_told: Option<String>,
    /// What the driver must not do until it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub restriction: Option<String>,
    /// The place on the vehicle that is meant, for a task that is required at several; it must be the task's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 64)]
    pub place: Option<String>,
    /// Only this precondition is left out, where the catalogue allows it; without it, the task.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 64)]
    pub precondition: Option<String>,
    /// It holds until then; the task is to be done again after that, if the order is still open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<DateTime<Utc>>,
}

/// Take a waiver back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRevocation {
    /// The waiver, where a task has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiver: Option<Uuid>,
    /// Why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
}

/// Which waiver of a task.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct WaiverQuery {
    /// The waiver, where several of the task wait for an approval.
    #[serde(default)]
    pub waiver: Option<Uuid>,
}

/// A waiver.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WaiverView {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// The place on the vehicle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// The precondition that is left out; without it, the task.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub precondition: Option<String>,
    /// Why.
    pub reason: String,
    /// What the customer was told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer_told: Option<String>,
    /// What the driver must not do until it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restriction: Option<String>,
    /// It holds until then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was taken back, or ended by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked_at: Option<DateTime<Utc>>,
    /// Who gave it.
    pub given_by: String,
    /// When.
    pub given_at: DateTime<Utc>,
    /// Who approved it, where two people are needed.
    pub approved_by: Option<String>,
    /// It still needs the approval of another person.
    pub approval_needed: bool,
    /// The task's state now.
    pub task_state: TaskState,
}

/// Offer or accept a handover.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewHandover {
    /// Offer it to this technician (needs the fence).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Uuid>,
    /// The fence of the lease that is offered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fence: Option<i64>,
    /// Accept the handover that was offered to me.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub accept: bool,
    /// With `accept`: cautions that I have read. While the task runs all of its cautions must be named.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub cautions: Vec<String>,
    /// What the other must know.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000)]
    pub note: String,
}

/// A second person's word, with their own token.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAttestation {
    /// The statement, for example `second_person_present`.
    #[schema(min_length = 1, max_length = 64)]
    pub statement: String,
    /// Whether it is so.
    pub holds: bool,
    /// In words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000)]
    pub note: String,
}

/// The verdicts after evidence came in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VerdictsView {
    /// The task.
    pub task: Uuid,
    /// Where it stands.
    pub state: TaskState,
    /// Every precondition.
    pub preconditions: Vec<Finding>,
    /// Every proof of the result.
    pub proof: Vec<Finding>,
    /// What must hold throughout and did not while the task ran: it can't pass any more, and ends as failed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<String>,
    /// Seconds by which the client's clock is ahead of the service's (or behind, below zero), when it is off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_off_seconds: Option<i64>,
    /// What became of each item, in the order they were sent.
    pub items: Vec<crate::evidence::ItemOutcome>,
}
