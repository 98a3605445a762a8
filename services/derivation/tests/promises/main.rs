//! The promises of this crate.

mod deriving;
mod documents;
mod shop;
