//! What paper promises to its readers.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

mod board;
mod calendar;
mod report;
mod sample;
mod table;
