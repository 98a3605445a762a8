//! Plans a shop's open work onto bays, technicians and equipment: a flexible job shop with calendars.
//!
//! A caller builds a [`model::Model`] and asks
//! - [`improve::plan`] for a plan: a first valid one at once, better ones as long as it is given time;
//! - [`repair::repair`] after an event, for the plan in force with as little changed as possible;
//! - [`explain::explain`] for what holds a late order, and [`compare::compare`] for two plans side by side.
//!
//! # How it plans
//! A plan is a *list* of jobs and a place for each (bay, people). The builder (`build`) goes through the list once and starts each job at the
//! first moment at which its vehicle, bay, people and equipment are free *after all earlier jobs of the list* and its calendars
//! allow. A list sorted by start loses nothing, so every useful plan has a list, one evaluation costs a few dozen nanoseconds a job, and
//! calendars, moves, settling, brackets and immobile vehicles are rules of one place.
//!
//! The first plan comes from dispatching (`construct`) with apparent tardiness cost for several look-aheads. Then `anneal` searches:
//! single jobs on the chain that makes an order late are pulled before what blocks them, blockers are pushed back or given to
//! other bays and people, and whole orders are taken out and laid in again. Annealing rather than a strict descent, since lateness that runs through
//! the night gives the objective cliffs; moves along the late chain rather than random ones, since most jobs hold nobody up.
//!
//! Pure: no clock, no I/O. Time is any whole unit (*ticks*) from any origin; the caller picks one and keeps to it.

pub mod calendar;
pub mod compare;

pub mod cost;
pub mod explain;
pub mod improve;
pub mod model;
pub mod outcome;
pub mod repair;
pub mod yardstick;

mod anneal;
mod build;
mod construct;
mod dice;
mod moves;
mod screen;
mod shop;
mod sites;
