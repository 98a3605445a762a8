//! Every SQL statement of the service. The only crate that knows `sqlx`.
//!
//! Each function takes `&mut Conn`, so its caller decides which transaction it is part of; none begins or commits one.
//! Every statement names the shop besides row security. Functions hold no rules of the trade.

pub mod bays;
mod db;
mod error;
pub mod journal;
pub mod lines;
pub mod orders;
pub mod questions;
pub mod shops;
pub mod stored_answers;
pub mod tasks;
pub mod vehicles;

pub use db::{Conn, Db, MIGRATOR, Readiness, Tx, commit, service_now, try_lock};
pub use error::StoreError;
