//! A procedure: a relearn, initialisation, calibration, service-mode change or functional test, with all it needs.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::operation::{Operation, OperationPattern};
use crate::precondition::Precondition;
use crate::predicate::Predicate;

/// One entry of a catalogue. A task keeps a frozen copy of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Procedure {
    /// Name, unique in the catalogue.
    #[schema(example = "throttle_position_relearn")]
    pub id: String,
    /// Title for people.
    pub title: String,
    /// What sort of procedure it is.
    pub kind: ProcedureKind,
    /// The system it touches, for example `brakes`.
    pub system: String,
    /// On which vehicles it exists.
    #[serde(default, skip_serializing_if = "Predicate::is_always")]
    pub exists_on: Predicate,
    /// When, relative to the line's mechanical work.
    pub phase: Phase,
    /// Procedures that are always required with it, and come first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<String>,
    /// Procedures that come first only if they are required too.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after: Vec<String>,
    /// One task per place on the vehicle that the operations name, instead of one for the vehicle.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub per_place: bool,
    /// Operations that doing it amounts to (an alignment is `align wheel_alignment`).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub emits: Vec<Operation>,
    /// Operations that undo it when they start after it has passed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub disturbed_by: Vec<OperationPattern>,
    /// Operations that require it but do not undo it once passed, with the reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub survives: Vec<Survives>,
    /// It enters a service mode that must be left again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opens: Option<Opens>,
    /// The service mode that it leaves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closes: Option<String>,
    /// Once the work that requires it has begun, the vehicle does not move until this has passed (a firm brake pedal).
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub before_moving: bool,
    /// Dangers, shown and acknowledged before the first preparation.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<Caution>,
    /// What must be true before it starts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub preconditions: Vec<Precondition>,
    /// What to do, in order. The manufacturer's service information comes first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
    /// What proves that it passed.
    pub proof: Vec<Precondition>,
    /// A cheap recorded check that may stand in for the whole procedure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quick_check: Option<QuickCheck>,
    /// The wait after it.
    #[serde(default, skip_serializing_if = "Settle::is_none")]
    pub settle: Settle,
    /// Where it is done.
    #[serde(rename = "where")]
    pub place_of_work: PlaceOfWork,
    /// Units of shared equipment held for its whole duration, by kind.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub equipment: BTreeMap<String, u32>,
    /// Skills that the technician must have, all of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub skills: Vec<String>,
    /// How many people are there throughout: 1 or 2.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    #[schema(minimum = 1, maximum = 2)]
    pub people: u8,
    /// How long it takes.
    pub minutes: Minutes,
    /// Whether it may be left undone, and who decides.
    #[serde(default)]
    pub waiver: WaiverRule,
    /// What follows a failure.
    #[serde(default)]
    pub after_failure: AfterFailure,
    /// Whether the vehicle may leave before it has ended.
    #[serde(default)]
    pub ends: Ends,
    /// A source of the catalogue's list, for example `common_practice`.
    pub source: String,
}

/// What sort of procedure it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProcedureKind {
    /// A module learns a position or adaptation anew.
    Relearn,
    /// A new or reset module is set up.
    Initialisation,
    /// A sensor is aimed or zeroed against a reference.
    Calibration,
    /// A value is adapted to a part (a code entered, a wear counter reset).
    Adaptation,
    /// A service mode is entered or left.
    ServiceMode,
    /// A function is tried and its result recorded.
    FunctionalTest,
    /// Something is recorded or made safe before work.
    Preparation,
}

/// When a procedure is done, relative to the mechanical work of the lines that require it.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// Before the first of those lines starts.
    Before,
    /// After the last of those lines is finished.
    After,
}

/// An operation that requires the procedure but leaves a passed one valid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Survives {
    /// The operation.
    pub operation: OperationPattern,
    /// Why it leaves the result valid.
    pub because: String,
    /// A source of the catalogue's list.
    pub source: String,
}

/// A service mode that is entered here and must be left again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Opens {
    /// The mode's name, for example `calipers_open`.
    pub mode: String,
    /// The procedure that leaves it; it is required with this one.
    pub left_by: String,
    /// The procedure that recovers a mode that was lost, if there is one of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recovered_by: Option<String>,
    /// The vehicle must not be moved while the mode is on.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub must_not_move: bool,
    /// No handover while a step of it runs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub no_handover: bool,
    /// Its lock is a person's: only who holds it leaves the mode, and it passes on by both people's tokens.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub personal_lock: bool,
    /// Statements that are attested when mechanical work inside the mode is reported finished.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub work_ends_with: Vec<String>,
}

/// A danger and how to meet it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Name, unique in the procedure; acknowledged by it.
    #[schema(example = "pinch_calipers")]
    pub id: String,
    /// The caution in words.
    pub text: String,
}

/// One step, with the cautions that it needs in sight.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// What to do.
    pub text: String,
    /// Names of cautions of this procedure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

/// A cheap check that may close the task as passed, recorded as such.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct QuickCheck {
    /// What to check.
    pub text: String,
    /// What proves it.
    pub proof: Vec<Precondition>,
}

/// The wait after a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Settle {
    /// Seconds; 0 is no wait.
    pub seconds: u32,
    /// What waits.
    #[serde(default)]
    pub blocks: SettleBlocks,
    /// The vehicle stays in its bay meanwhile.
    #[serde(default)]
    pub keeps_bay: bool,
}

impl Settle {
    /// No wait.
    pub const NONE: Self = Self { seconds: 0, blocks: SettleBlocks::Successors, keeps_bay: false };

    #[expect(
        clippy::trivially_copy_pass_by_ref,
        reason = "serde's skip_serializing_if passes a reference"
    )]
    fn is_none(&self) -> bool {
        self.seconds == 0
    }
}

impl Default for Settle {
    fn default() -> Self {
        Self::NONE
    }
}

/// What waits while a task settles.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SettleBlocks {
    /// Only what comes after it.
    #[default]
    Successors,
    /// Everything on the vehicle.
    Vehicle,
}

/// Where a task is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PlaceOfWork {
    /// In a bay that has all of these capabilities; an empty list is any bay.
    Bay(Vec<String>),
    /// On the road.
    Road,
}

/// Minutes of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Minutes {
    /// At the best.
    pub least: u32,
    /// What is planned with.
    pub likely: u32,
    /// At the worst; a running lease lasts at least this long.
    pub most: u32,
}

/// Whether a task may be left undone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WaiverRule {
    /// False: it is never waived.
    pub allowed: bool,
    /// How many people must agree: 1, or 2 with an approval by another.
    #[serde(default = "one")]
    pub people: u8,
}

impl Default for WaiverRule {
    fn default() -> Self {
        Self { allowed: true, people: 1 }
    }
}

/// What follows a failed attempt.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AfterFailure {
    /// Whether it may be tried again without a decision.
    #[serde(default)]
    pub then: ThenAfterFailure,
    /// What to look at before the next attempt.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub look_at: Vec<String>,
}

/// Whether a failed task may be tried again at once.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ThenAfterFailure {
    /// It is ready for the next attempt.
    #[default]
    Retry,
    /// It stays failed until a person decides.
    Decide,
}

/// Whether the vehicle may leave before the task has ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Ends {
    /// It ends in the shop and blocks the release.
    #[default]
    InShop,
    /// It may end after hand-over (a sensor that learns at rest); the order stays visible until then.
    AfterHandover,
}

fn one() -> u8 {
    1
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde's skip_serializing_if passes a reference"
)]
fn is_one(people: &u8) -> bool {
    *people == 1
}
