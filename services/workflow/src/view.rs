//! What everybody sees: orders and tasks as the contract shows them, computed from a case.

mod leaving;
mod order;
mod task;

pub(crate) use leaving::leaving;
pub(crate) use order::{order, summary};
pub(crate) use task::{dry_task, obstacles_before, task};
