//! The states of tasks, lines and orders, and the one table of transitions.
//!
//! The migration's table `transition` is tested equal to [`TRANSITIONS`]; the database's guard reads that one.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Where a task stands.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum TaskState {
    /// Something it needs is open.
    Waiting,
    /// A technician may take it.
    Ready,
    /// A technician holds the lease and prepares.
    Taken,
    /// It was started.
    Running,
    /// It broke off while running; a person decides.
    Held,
    /// It is done and proven.
    Passed,
    /// The last attempt failed; a person decides.
    Failed,
    /// It had passed and was undone; another task takes its place.
    Disturbed,
    /// It is no longer required.
    Withdrawn,
    /// Someone with authority decided to leave it undone.
    Waived,
}

/// What happens to a task.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum TaskEvent {
    /// What it waited for has ended.
    Unblock,
    /// Something that it needs opened (again).
    Block,
    /// A technician takes the lease.
    Take,
    /// The lease is prolonged.
    Renew,
    /// The technician gives it back.
    Return,
    /// The lease ran out.
    Lapse,
    /// Another technician takes it over.
    HandOver,
    /// The procedure begins.
    Start,
    /// It ended and is proven.
    Pass,
    /// It ended without success.
    Fail,
    /// It broke off.
    Interrupt,
    /// After an interruption: go on.
    Resume,
    /// After a failure or an interruption: a new attempt.
    Retry,
    /// After an interruption: every step since the bracket was entered again.
    RestartChain,
    /// After an interruption: it counts as failed.
    GiveUp,
    /// Something undid it.
    Disturb,
    /// It is no longer required.
    Withdraw,
    /// It is waived.
    Waive,
    /// A waiver is taken back.
    RevokeWaiver,
}

use TaskEvent as E;
use TaskState as S;

/// Every transition there is: from, event, to.
pub const TRANSITIONS: &[(TaskState, TaskEvent, TaskState)] = &[
    (S::Waiting, E::Unblock, S::Ready),
    (S::Waiting, E::Withdraw, S::Withdrawn),
    (S::Waiting, E::Waive, S::Waived),
    (S::Ready, E::Block, S::Waiting),
    (S::Ready, E::Take, S::Taken),
    (S::Ready, E::Withdraw, S::Withdrawn),
    (S::Ready, E::Waive, S::Waived),
    (S::Taken, E::Renew, S::Taken),
    (S::Taken, E::HandOver, S::Taken),
    (S::Taken, E::Return, S::Ready),
    (S::Taken, E::Lapse, S::Ready),
    (S::Taken, E::Block, S::Waiting),
    (S::Taken, E::Start, S::Running),
    (S::Taken, E::Pass, S::Passed),
    (S::Taken, E::Withdraw, S::Withdrawn),
    (S::Taken, E::Waive, S::Waived),
    (S::Running, E::Renew, S::Running),
    (S::Running, E::HandOver, S::Running),
    (S::Running, E::Pass, S::Passed),
    (S::Running, E::Fail, S::Failed),
    (S::Running, E::Interrupt, S::Held),
    (S::Running, E::Lapse, S::Held),
    (S::Held, E::Resume, S::Running),
    (S::Held, E::Retry, S::Ready),
    (S::Held, E::RestartChain, S::Waiting),
    (S::Held, E::GiveUp, S::Failed),
    (S::Failed, E::Retry, S::Ready),
    (S::Failed, E::RestartChain, S::Waiting),
    (S::Failed, E::Withdraw, S::Withdrawn),
    (S::Failed, E::Waive, S::Waived),
    (S::Passed, E::Disturb, S::Disturbed),
    (S::Waived, E::RevokeWaiver, S::Waiting),
];

impl TaskState {
    /// Every state.
    pub const ALL: [Self; 10] = [
        Self::Waiting,
        Self::Ready,
        Self::Taken,
        Self::Running,
        Self::Held,
        Self::Passed,
        Self::Failed,
        Self::Disturbed,
        Self::Withdrawn,
        Self::Waived,
    ];

    /// The state that an event leads to; `None`: it can't happen here.
    pub fn after(self, event: TaskEvent) -> Option<Self> {
        TRANSITIONS
            .iter()
            .find(|(from, with, _)| *from == self && *with == event)
            .map(|(_, _, to)| *to)
    }

    /// Nothing is left to do on it.
    pub fn is_over(self) -> bool {
        matches!(self, Self::Passed | Self::Disturbed | Self::Withdrawn | Self::Waived)
    }

    /// A technician holds it.
    pub fn is_leased(self) -> bool {
        matches!(self, Self::Taken | Self::Running)
    }

    /// The word used in documents and in the database.
    pub fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Ready => "ready",
            Self::Taken => "taken",
            Self::Running => "running",
            Self::Held => "held",
            Self::Passed => "passed",
            Self::Failed => "failed",
            Self::Disturbed => "disturbed",
            Self::Withdrawn => "withdrawn",
            Self::Waived => "waived",
        }
    }

    /// The state of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

impl TaskEvent {
    /// The word used in documents and in the database.
    pub fn word(self) -> &'static str {
        match self {
            Self::Unblock => "unblock",
            Self::Block => "block",
            Self::Take => "take",
            Self::Renew => "renew",
            Self::Return => "return",
            Self::Lapse => "lapse",
            Self::HandOver => "hand_over",
            Self::Start => "start",
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Interrupt => "interrupt",
            Self::Resume => "resume",
            Self::Retry => "retry",
            Self::RestartChain => "restart_chain",
            Self::GiveUp => "give_up",
            Self::Disturb => "disturb",
            Self::Withdraw => "withdraw",
            Self::Waive => "waive",
            Self::RevokeWaiver => "revoke_waiver",
        }
    }
}

/// Where a line of work stands.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum LineState {
    /// Not begun.
    Open,
    /// Being worked on.
    Started,
    /// Begun and laid aside.
    Paused,
    /// Done.
    Finished,
    /// Authorised, but it was not done after all.
    NotDone,
    /// Taken off the order.
    Removed,
}

impl LineState {
    /// Every state.
    pub const ALL: [Self; 6] =
        [Self::Open, Self::Started, Self::Paused, Self::Finished, Self::NotDone, Self::Removed];

    /// Nothing is left to do on it.
    pub fn is_over(self) -> bool {
        matches!(self, Self::Finished | Self::NotDone | Self::Removed)
    }

    /// Work on it has begun at some time.
    pub fn was_begun(self) -> bool {
        matches!(self, Self::Started | Self::Paused | Self::Finished)
    }

    /// The word used in documents and in the database.
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Started => "started",
            Self::Paused => "paused",
            Self::Finished => "finished",
            Self::NotDone => "not_done",
            Self::Removed => "removed",
        }
    }

    /// The state of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

/// Where an order stands.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum OrderState {
    /// The vehicle is here or expected.
    Open,
    /// The vehicle may leave; something may still end after hand-over.
    Released,
    /// Everything has ended.
    Closed,
    /// The visit does not happen.
    Cancelled,
}

impl OrderState {
    /// Every state.
    pub const ALL: [Self; 4] = [Self::Open, Self::Released, Self::Closed, Self::Cancelled];

    /// The word used in documents and in the database.
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Released => "released",
            Self::Closed => "closed",
            Self::Cancelled => "cancelled",
        }
    }

    /// The state of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_leads_to_one_state() {
        for (at, (from, event, _)) in TRANSITIONS.iter().enumerate() {
            let again = TRANSITIONS[at + 1..].iter().any(|(f, e, _)| f == from && e == event);
            assert!(!again, "{from:?} {event:?} stands twice");
        }
    }

    #[test]
    fn every_task_that_is_not_over_can_still_end() {
        for start in TaskState::ALL.into_iter().filter(|state| !state.is_over()) {
            let mut seen = vec![start];
            let mut next = 0;
            while next < seen.len() {
                let here = seen[next];
                next += 1;
                for (_, _, to) in TRANSITIONS.iter().filter(|(from, _, _)| *from == here) {
                    if !seen.contains(to) {
                        seen.push(*to);
                    }
                }
            }
            assert!(seen.contains(&TaskState::Passed), "{start:?} can never pass");
        }
    }

    #[test]
    fn only_a_taken_or_running_task_passes_and_what_is_over_stays_so() {
        for (from, event, _) in TRANSITIONS {
            assert!(*event != TaskEvent::Pass || from.is_leased());
            assert!(
                !from.is_over() || matches!(event, TaskEvent::Disturb | TaskEvent::RevokeWaiver),
                "{from:?} {event:?}"
            );
        }
    }

    #[test]
    fn words_read_back() {
        for state in TaskState::ALL {
            assert_eq!(TaskState::of_word(state.word()), Some(state));
            assert_eq!(serde_json::to_value(state).expect("writes"), state.word());
        }
    }
}
