//! The promises of this crate.

mod checking;
mod deriving;
mod documents;
mod shop;
mod starter;
