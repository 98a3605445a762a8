//! From catalogue documents to what a repair makes necessary.
//!
//! `document` reads a catalogue, `check` says what is wrong with it, `index` compiles it, `derive` finds the tasks of
//! an order with their reasons, order and questions, `compare` and `impact` say what a change does.

mod bits;
mod by_operation;
pub mod check;
pub mod codes;
mod codes_index;
pub mod compare;
pub mod derive;
mod disturbed;
pub mod document;
pub mod facts;
pub mod impact;
pub mod index;
pub mod lexicon;
mod procedure_set;
pub mod reader;
pub mod repair;
mod rule_index;
pub mod schema;
pub mod starter;
mod symbols;
pub mod vin;
pub mod why_not;
