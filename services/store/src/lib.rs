//! Every SQL statement of the service. The only crate that knows `sqlx`.
//!
//! Each function takes `&mut Conn`, so its caller decides which transaction it is part of; none begins or commits one.
//! Every statement names the shop besides row security. Functions hold no rules of the trade.

pub mod absences;
pub mod attempts;
pub mod bays;
pub mod catalogues;
mod db;
pub mod equipment;
mod error;
pub mod journal;
pub mod leases;
pub mod lines;
pub mod means;
pub mod orders;
pub mod plans;
pub mod questions;
pub mod shifts;
pub mod shops;
pub mod stored_answers;
pub mod tasks;
pub mod technicians;
pub mod vehicles;
pub mod waivers;

pub use db::{Conn, Db, MIGRATOR, Readiness, Tx, commit, service_now, try_lock};
pub use error::StoreError;
/// A column that holds a JSON document.
pub use sqlx::types::Json;
