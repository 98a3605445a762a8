//! Every SQL statement of the service. The only crate that knows `sqlx`.
//!
//! Each function takes `&mut Conn`, so its caller decides which transaction it is part of; none begins or commits one.
//! Every statement names the shop besides row security. Functions hold no rules of the trade.

pub mod absences;
pub mod attachments;
pub mod attempts;
pub mod bays;
pub mod catalogues;
mod db;
pub mod departures;
pub mod equipment;
mod error;
pub mod identity_corrections;
pub mod journal;
pub mod labour_words;
pub mod leases;
pub mod limits;
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
pub mod watch;

pub use db::{Conn, Db, MIGRATOR, Moment, Readiness, Tx, commit, moment, roll_back};
pub use error::StoreError;
/// A column that holds a JSON document.
pub use sqlx::types::Json;
