//! The promises of the product, over real HTTP and a real PostgreSQL.

mod harness;
mod isolation;
mod layers;
mod means;
