//! What the starter catalogue makes of typical repairs, read with a practitioner's eyes.
//!
//! Expected tasks are common practice, no source, where nothing else is said.

mod brakes;
mod chassis_and_assistance;
mod order;
mod other_table;
mod power;
mod whole_catalogue;
