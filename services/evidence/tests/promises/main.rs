//! What the crate promises, one promise a test.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

mod arrivals;
mod changes;
mod codes;
mod frames;
mod inconsistencies;
mod preconditions;
mod refusals;
mod routines;
mod scene;
mod temporal;
