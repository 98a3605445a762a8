//! The invented day of a repair shop: a pure HTTP client of the running service, which the tests use too.

pub mod client;
pub mod day;
pub mod orders;
pub mod proof;
pub mod report;
pub mod scenes;
pub mod service;
pub mod shop;
pub mod technician;
pub mod vin;
pub mod visit;
