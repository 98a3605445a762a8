//! Requests and answers of the service as types: what the generated `OpenAPI` document promises.
//!
//! No logic stands here. The workflow fills these types, the HTTP crate publishes them, and clients (the demo and the
//! acceptance tests among them) read them, so a drift between the three does not compile.

pub mod attachments;
pub mod catalogue;
pub mod evidence;
pub mod forecast;
pub mod journal;
pub mod labour_words;
pub mod leases;
pub mod limits;
pub mod list;
pub mod orders;
pub mod plan;
pub mod problem;
pub mod readiness;
pub mod resources;
pub mod tasks;
pub mod vehicles;
pub mod why_not;
pub mod worklist;
