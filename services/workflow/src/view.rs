//! What everybody sees: orders and tasks as the contract shows them, computed from a case.

mod leaving;
mod order;
mod result_fields;
mod task;

pub(crate) use leaving::leaving;
pub(crate) use order::{left_behind, order, promise_with, ready_with, summary};
pub(crate) use task::{dry_task, obstacles_before, on_hold, task};
