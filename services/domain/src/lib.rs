//! The words of the trade as types and tables: no I/O, no clock, no making of ids.
//!
//! Times and ids come in as arguments. What an order, a procedure or a precondition *is* stands
//! here once; how it is derived, proven, planned or stored stands in the crates that know how.

pub mod catalogue;
pub mod exact;
pub mod lifecycle;
pub mod limit;
pub mod operation;
pub mod order;
pub mod precondition;
pub mod predicate;
pub mod procedure;
pub mod quantity;
pub mod role;
pub mod signal;
pub mod start;
pub mod unit;
pub mod vehicle;
pub mod verdict;
