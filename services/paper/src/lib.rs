//! What people read and keep: the completion report, the plan's board, calendars and tables.
//!
//! Each module defines what it needs as plain data and turns it into bytes: the same data, the
//! same bytes. Pure: no clock, no ids, no I/O.

pub mod board;
pub mod calendar;
mod clean;
mod local;
pub mod report;
pub mod table;
