//! The promises of this crate.

mod changing;
mod checking;
mod deriving;
mod documents;
mod exactness;
mod oracle;
mod random;
mod schema;
mod shop;
mod starter;
