//! One file per step of a repair order's way, and the only place that opens transactions.
//!
//! A step begins a transaction, locks and loads, asks a pure crate, stores the result and its journal entry, and commits.
//! It knows nothing of HTTP and holds no SQL. Locks are taken in one order: vehicle, order, tasks by id.

pub mod bays;
pub mod caller;
pub mod flow;
mod ids;
pub mod record;
pub mod refusal;
