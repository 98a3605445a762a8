//! The invented day of a repair shop: a pure HTTP client of the running service.

pub mod client;
pub mod proof;
pub mod service;
pub mod technician;
pub mod vin;
