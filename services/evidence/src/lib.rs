//! What stored evidence says, and whether it proves what must be true.
//!
//! No clock, no I/O, no catalogue: samples, the procedure frozen in the task and the moment come in as arguments.
//!
//! - [`sample`]: one item of evidence as plain data, and the marks that keep it from proving anything.
//! - [`frame`]: raw bytes of diagnostic answers, decoded or refused.
//! - [`intake`]: what speaks against an item as it arrives.
//! - [`identity`]: whether this is the order's vehicle.
//! - [`consistency`]: what several items say against each other.
//! - [`judge`]: the verdicts: bounded past-time temporal logic over timed samples, defined in this one place.

pub mod consistency;
pub mod frame;
pub mod identity;
pub mod intake;
pub mod judge;
pub mod refusal;
pub mod sample;
