//! Whether a task may start now: one pure function, all reasons at once.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::lifecycle::{LineState, TaskState};
use crate::verdict::{Finding, Verdict};

/// The statement of the second person of a procedure for two, made with a token of their own.
pub const SECOND_PERSON: &str = "second_person_present";

/// Everything that bears on a start, as the transaction that holds the locks sees it.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// Where the task stands.
    pub state: TaskState,
    /// The caller holds the lease with the present fence.
    pub lease_held: bool,
    /// When the lease ends.
    pub lease_until: Option<DateTime<Utc>>,
    /// The order is open.
    pub order_open: bool,
    /// Cautions of the procedure.
    pub cautions: BTreeSet<String>,
    /// Cautions acknowledged in this attempt.
    pub acknowledged: BTreeSet<String>,
    /// The verdict of every precondition.
    pub preconditions: Vec<Finding>,
    /// Earlier tasks and where they stand.
    pub earlier: Vec<Earlier>,
    /// Lines that must be finished (or, for a `before` task, not yet begun).
    pub lines: Vec<EarlierLine>,
    /// Waits that run: the earliest moment at which each ends, and what waits.
    pub waits: Vec<Wait>,
    /// What else occupies the vehicle.
    pub vehicle_busy_with: Vec<String>,
    /// Service modes that stand open on the vehicle and that this task would disturb.
    pub foreign_brackets: Vec<OpenBracket>,
    /// The service mode that this task leaves or works inside, if it must be open and is not.
    pub bracket_not_open: Option<String>,
    /// Somebody else holds the lock of the service mode that this task leaves: their name.
    pub lock_held_by: Option<String>,
    /// The vehicle is away from the premises, in words.
    pub away: Option<String>,
    /// Whether an identity of the vehicle was shown in this attempt.
    pub identity: Identity,
    /// Procedures for two people: the second person's presence was attested with a token of their own.
    pub second_person_missing: bool,
    /// Holds on the vehicle.
    pub holds: Vec<VehicleHold>,
    /// A resource that the task needs is missing or taken, in words.
    pub resources: Vec<String>,
}

/// An earlier task.
#[derive(Debug, Clone)]
pub struct Earlier {
    /// Its id.
    pub task: Uuid,
    /// Its title.
    pub title: String,
    /// Where it stands.
    pub state: TaskState,
}

/// A line that comes first.
#[derive(Debug, Clone)]
pub struct EarlierLine {
    /// Its number.
    pub line: i32,
    /// Where it stands.
    pub state: LineState,
}

/// A wait that has not ended.
#[derive(Debug, Clone)]
pub struct Wait {
    /// What settles.
    pub after: String,
    /// When it ends.
    pub until: DateTime<Utc>,
}

/// A service mode that stands open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OpenBracket {
    /// The mode, for example `calipers_open`.
    pub mode: String,
    /// The task that entered it.
    pub entered_by: Uuid,
    /// The order that it was entered on.
    pub order: Uuid,
    /// The procedure that leaves it.
    pub left_by: String,
    /// The procedure that recovers it where the steps to leave it were lost, if there is one of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recovered_by: Option<String>,
}

/// What was shown of the vehicle's identity in this attempt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Identity {
    /// It matches the order's vehicle.
    Matches,
    /// Nothing was shown.
    Missing,
    /// Another vehicle was shown: expected, seen.
    Mismatch(String, String),
}

impl Identity {
    /// What it puts in the way.
    pub fn obstacle(&self) -> Option<Obstacle> {
        match self {
            Self::Matches => None,
            Self::Missing => Some(Obstacle {
                accepts: vec![
                    "frame with the VIN read from the vehicle".to_owned(),
                    "attestation `vehicle_identity` with the last six characters of the VIN or of the plate, beside a file that shows `vin_photo` or `plate_photo`".to_owned(),
                ],
                who: vec!["technician".to_owned()],
                ..Obstacle::new(
                    "identity_missing",
                    "nothing shows in this attempt that this is the order's vehicle",
                    "send the VIN read from the vehicle, or type the last six characters of VIN or plate beside a photo of it",
                )
            }),
            Self::Mismatch(expected, seen) => Some(Obstacle::new(
                "vehicle_mismatch",
                format!("the order is for {expected}, the vehicle shown is {seen}"),
                "bring the right vehicle, or have the order's identity corrected by two people",
            )),
        }
    }
}

/// A hold on the vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct VehicleHold {
    /// Its id.
    pub id: Uuid,
    /// `must_not_move`, `undecided` (a task broke off) and the like.
    pub kind: String,
    /// Why, in words.
    pub reason: String,
    /// When it ends by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
}

/// One reason why a task may not start, with the way out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Obstacle {
    /// Stable word for programs: `precondition_not_met`, `caution_not_acknowledged`, `earlier_task_open`, ...
    pub code: String,
    /// What stands in the way, in words.
    pub detail: String,
    /// How it is removed.
    pub how: String,
    /// The precondition or caution that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// The verdict, for preconditions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
    /// What would be accepted as evidence.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub accepts: Vec<String>,
    /// Who can remove it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub who: Vec<String>,
    /// What is dangerous while it is removed: the cautions of the procedure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<String>,
    /// The task, line or hold that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// The line that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// The earliest moment at which it can be gone, when time alone removes it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earliest_at: Option<DateTime<Utc>>,
}

impl Obstacle {
    /// An obstacle with only words.
    pub fn new(code: &str, detail: impl Into<String>, how: impl Into<String>) -> Self {
        Self {
            code: code.to_owned(),
            detail: detail.into(),
            how: how.into(),
            id: None,
            verdict: None,
            accepts: Vec::new(),
            who: Vec::new(),
            hazards: Vec::new(),
            task: None,
            line: None,
            earliest_at: None,
        }
    }
}

/// Every reason why the task may not start at `now`; empty: it may.
pub fn may_start(snapshot: &Snapshot, now: DateTime<Utc>) -> Vec<Obstacle> {
    let mut found = Vec::new();
    lease(snapshot, now, &mut found);
    order_of_things(snapshot, now, &mut found);
    vehicle(snapshot, now, &mut found);
    people_and_things(snapshot, now, &mut found);
    found
}

fn lease(snapshot: &Snapshot, now: DateTime<Utc>, found: &mut Vec<Obstacle>) {
    if snapshot.state != TaskState::Taken {
        let detail =
            format!("the task is {}, only one that is taken is started", snapshot.state.word());
        let how = match snapshot.state {
            TaskState::Running => "it runs already: finish it, or tell that it was interrupted",
            TaskState::Held | TaskState::Failed => "decide what becomes of it first",
            TaskState::Waiting | TaskState::Ready => "take it first",
            _ => "it is over; nothing is to be done",
        };
        found.push(Obstacle::new("wrong_state", detail, how));
    }
    let over = snapshot.lease_until.is_none_or(|until| until <= now);
    if snapshot.state == TaskState::Taken && (!snapshot.lease_held || over) {
        let (detail, how) = if over {
            ("the lease with this fence has ended", "take the task again")
        } else {
            (
                "the lease in force is another: it has another fence or is somebody else's",
                "take the task when it is free",
            )
        };
        found.push(Obstacle::new("lease_lost", detail, how));
    }
    if !snapshot.order_open {
        found.push(Obstacle::new(
            "order_not_open",
            "the order is not open",
            "open a new order that follows it",
        ));
    }
}

fn order_of_things(snapshot: &Snapshot, now: DateTime<Utc>, found: &mut Vec<Obstacle>) {
    for earlier in snapshot.earlier.iter().filter(|e| !ends_the_wait(e.state)) {
        found.push(Obstacle {
            task: Some(earlier.task),
            ..Obstacle::new(
                "earlier_task_open",
                format!("`{}` comes first and is {}", earlier.title, earlier.state.word()),
                "finish it, or have it waived where that is allowed",
            )
        });
    }
    for line in snapshot.lines.iter().filter(|l| !l.state.is_over()) {
        found.push(Obstacle {
            line: Some(line.line),
            ..Obstacle::new(
                "line_open",
                format!("the mechanical work of line {} is {}", line.line, line.state.word()),
                "report the line finished",
            )
        });
    }
    for wait in snapshot.waits.iter().filter(|w| w.until > now) {
        found.push(Obstacle {
            earliest_at: Some(wait.until),
            ..Obstacle::new("settling", format!("`{}` is settling", wait.after), "wait")
        });
    }
}

fn vehicle(snapshot: &Snapshot, now: DateTime<Utc>, found: &mut Vec<Obstacle>) {
    found.extend(snapshot.identity.obstacle());
    for with in &snapshot.vehicle_busy_with {
        found.push(Obstacle::new(
            "vehicle_busy",
            format!("on this vehicle {with} is running"),
            "finish or interrupt that first",
        ));
    }
    for bracket in &snapshot.foreign_brackets {
        found.push(Obstacle {
            task: Some(bracket.entered_by),
            ..Obstacle::new(
                "bracket_open",
                format!("`{}` stands open and would be disturbed", bracket.mode),
                format!("finish `{}` first", bracket.left_by),
            )
        });
    }
    if let Some(mode) = &snapshot.bracket_not_open {
        found.push(Obstacle::new(
            "bracket_not_open",
            format!("this belongs inside `{mode}`, which is not open"),
            "begin with the step that enters it; it can't be entered in the middle",
        ));
    }
    if let Some(holder) = &snapshot.lock_held_by {
        found.push(Obstacle {
            who: vec!["lock_holder".to_owned()],
            ..Obstacle::new(
                "lock_not_held",
                format!("the lock is held by {holder}"),
                "its holder does this, or passes the lock on: both with their own token",
            )
        });
    }
    if let Some(away) = &snapshot.away {
        found.push(Obstacle::new("vehicle_away", away.clone(), "report its return first"));
    }
    for hold in snapshot.holds.iter().filter(|h| h.until.is_none_or(|until| until > now)) {
        found.push(Obstacle {
            earliest_at: hold.until,
            ..Obstacle::new("vehicle_held", hold.reason.clone(), "wait, or have it decided")
        });
    }
}

fn people_and_things(snapshot: &Snapshot, now: DateTime<Utc>, found: &mut Vec<Obstacle>) {
    for caution in snapshot.cautions.difference(&snapshot.acknowledged) {
        found.push(Obstacle {
            id: Some(caution.clone()),
            who: vec!["technician".to_owned()],
            ..Obstacle::new(
                "caution_not_acknowledged",
                format!("the caution `{caution}` was not acknowledged in this attempt"),
                "read it and acknowledge it by name",
            )
        });
    }
    let open = |f: &&Finding| f.verdict != Verdict::Met && !f.waived;
    for finding in snapshot.preconditions.iter().filter(open) {
        found.push(Obstacle {
            id: Some(finding.id.clone()),
            verdict: Some(finding.verdict),
            accepts: finding.accepts.clone(),
            who: finding.who.clone(),
            earliest_at: finding.wait_seconds.map(|wait| now + TimeDelta::seconds(wait.into())),
            ..Obstacle::new("precondition_not_met", finding.detail.clone(), finding.text.clone())
        });
    }
    if snapshot.second_person_missing {
        found.push(Obstacle {
            who: vec!["second_person".to_owned()],
            ..Obstacle::new(
                "second_person_missing",
                "this procedure is for two people",
                format!("the second person attests `{SECOND_PERSON}` with their own token"),
            )
        });
    }
    for resource in &snapshot.resources {
        found.push(Obstacle::new(
            "resource_missing",
            resource.clone(),
            "choose another, or wait until it is free",
        ));
    }
}

/// Whether a predecessor in this state no longer holds up what follows.
pub fn ends_the_wait(state: TaskState) -> bool {
    matches!(
        state,
        TaskState::Passed | TaskState::Waived | TaskState::Withdrawn | TaskState::Disturbed
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(verdict: Verdict, wait_seconds: Option<u32>) -> Finding {
        Finding {
            id: "resting".to_owned(),
            text: "Ignition off for 60 s".to_owned(),
            verdict,
            detail: "`ignition_off` for 20 s, needs 60 s".to_owned(),
            evidence: Vec::new(),
            accepts: vec!["reading of ignition: off".to_owned()],
            who: vec!["technician".to_owned()],
            wait_seconds,
            changes_at: None,
            by_alternative: false,
            waived: false,
            contradiction: None,
        }
    }

    fn ready(now: DateTime<Utc>) -> Snapshot {
        Snapshot {
            state: TaskState::Taken,
            lease_held: true,
            lease_until: Some(now + TimeDelta::seconds(60)),
            order_open: true,
            cautions: BTreeSet::from(["pinch".to_owned()]),
            acknowledged: BTreeSet::from(["pinch".to_owned()]),
            preconditions: vec![finding(Verdict::Met, None)],
            earlier: Vec::new(),
            lines: Vec::new(),
            waits: Vec::new(),
            vehicle_busy_with: Vec::new(),
            foreign_brackets: Vec::new(),
            bracket_not_open: None,
            lock_held_by: None,
            away: None,
            identity: Identity::Matches,
            second_person_missing: false,
            holds: Vec::new(),
            resources: Vec::new(),
        }
    }

    #[test]
    fn a_refusal_tells_every_reason_at_once_and_when_time_alone_removes_it() {
        let now = DateTime::UNIX_EPOCH;
        assert_eq!(may_start(&ready(now), now), []);
        let settled = now + TimeDelta::seconds(30);
        let snapshot = Snapshot {
            acknowledged: BTreeSet::new(),
            preconditions: vec![
                finding(Verdict::Violated, Some(40)),
                finding(Verdict::Missing, None),
            ],
            waits: vec![Wait { after: "Close the calipers".to_owned(), until: settled }],
            identity: Identity::Missing,
            ..ready(now)
        };
        let found = may_start(&snapshot, now);
        let told: Vec<_> = found.iter().map(|o| (o.code.as_str(), o.earliest_at)).collect();
        assert_eq!(
            told,
            [
                ("settling", Some(settled)),
                ("identity_missing", None),
                ("caution_not_acknowledged", None),
                ("precondition_not_met", Some(now + TimeDelta::seconds(40))),
                ("precondition_not_met", None),
            ]
        );
    }
}
