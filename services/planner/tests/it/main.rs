//! What the planner promises.

mod calm;
mod checker;
mod instances;
mod published;
mod reasons;
mod rules;
mod shops;
mod week;
