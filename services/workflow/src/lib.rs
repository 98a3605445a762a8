//! One file per step of a repair order's way, and the only place that opens transactions.
//!
//! A step begins a transaction, locks and loads, asks a pure crate, stores the result and its journal entry, and commits.
//! It knows nothing of HTTP and holds no SQL. Locks are taken in one order: vehicle, order, tasks by id.

pub mod absences;
pub mod acknowledge;
pub mod amend;
pub mod answer;
mod attachment;
pub mod bays;
pub mod caller;
mod case;
mod catalogues;
mod checks;
mod derive;
mod disturbance;
pub mod equipment;
pub mod events;
pub mod evidence;
pub mod finish;
pub mod flow;
pub mod forget;
pub mod handover;
mod ids;
pub mod intake;
pub mod interrupt;
pub mod lapse;
pub mod observe;
pub mod offline;
pub mod orders;
pub mod plan;
pub mod progress;
pub mod reading;
mod record;
pub mod refusal;
pub mod release;
pub mod report;
pub mod seal;
mod settle;
pub mod shift_times;
pub mod shifts;
pub mod shops;
pub mod start;
pub mod take;
pub mod technicians;
mod vehicle_identity;
mod verdicts;
mod view;
pub mod waive;
