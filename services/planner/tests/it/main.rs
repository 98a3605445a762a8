//! What the planner promises.

mod calm;
mod checker;
mod published;
mod reasons;
mod rules;
mod shops;
