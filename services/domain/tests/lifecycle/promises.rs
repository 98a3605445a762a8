//! What must hold in every state, and what must be reached in some.

use domain::lifecycle::{LineState, TaskState};
use stateright::Property;

use crate::checked::{Checked, State};
use crate::ending::can_end;
use crate::floor::{Task, User};

pub(crate) const ONE_RUNS: &str = "one thing at most runs on a vehicle";
pub(crate) const NOT_IN_THE_MIDDLE: &str = "no chain is entered in the middle";
pub(crate) const HELD: &str = "nothing starts or passes but by whoever holds its lease";
pub(crate) const CAN_END: &str = "every task can still end";
pub(crate) const LEFT: &str = "what has ended left no service mode open";
pub(crate) const FREE: &str = "what uses the vehicle runs";
pub(crate) const ENDS: &str = "everything ends";
pub(crate) const ENDS_AFTER_ALL: &str = "everything ends after an amendment and a crash";
pub(crate) const AGAIN: &str = "what failed is tried again";

/// All of it.
pub(crate) fn promises() -> Vec<Property<Checked>> {
    vec![
        Property::always(ONE_RUNS, |_, state: &State| {
            let floor = &state.floor;
            let runs = |s: TaskState| matches!(s, TaskState::Running | TaskState::Held);
            let tasks = floor.tasks.iter().filter(|t| runs(t.state)).count();
            let lines = floor.lines.iter().filter(|l| **l == LineState::Started).count();
            tasks + lines <= 1
        }),
        Property::always(NOT_IN_THE_MIDDLE, |_, state: &State| !state.seen.in_the_middle),
        Property::always(HELD, |_, state: &State| !state.seen.not_held),
        Property::always(CAN_END, |model: &Checked, state: &State| {
            !state.open.is_empty()
                || can_end(&model.work, model.rules, &state.floor, &model.endings)
        }),
        Property::always(LEFT, |_, state: &State| !state.floor.is_done() || !state.floor.mode_open),
        Property::always(FREE, |_, state: &State| match state.floor.in_use {
            None => true,
            Some(User::Line(line)) => state.floor.lines[line] == LineState::Started,
            Some(User::Task(at)) => {
                matches!(state.floor.tasks[at].state, TaskState::Running | TaskState::Held)
            }
        }),
        Property::sometimes(ENDS, |_, state: &State| state.floor.is_done()),
        Property::sometimes(ENDS_AFTER_ALL, |model: &Checked, state: &State| {
            let amended = state.floor.lines.len() == model.work.lines.len();
            state.floor.is_done() && amended && state.crashes == 0
        }),
        Property::sometimes(AGAIN, |model: &Checked, state: &State| {
            let last = |t: &Task| t.state == TaskState::Running && t.attempt == model.attempts;
            state.floor.tasks.iter().any(last)
        }),
    ]
}
