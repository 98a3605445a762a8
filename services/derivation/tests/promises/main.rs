//! The promises of this crate.

mod changing;
mod checking;
mod deriving;
mod documents;
mod schema;
mod shop;
mod starter;
