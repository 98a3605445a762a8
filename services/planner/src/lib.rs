//! Plans a shop's open work onto bays, technicians and equipment: a flexible job shop with calendars.
//!
//! A caller builds a [`model::Model`] and asks
//! - [`improve::plan`] for a plan: a first valid one at once, better ones as long as it is given time;
//! - [`repair::repair`] after an event, for the plan in force with as little changed as possible;
//! - [`load::load`] for how much of the bays and people a plan uses;
//! - [`explain::explain`] for what holds a late order, [`upset::upset`] for what took a job's place away, and [`compare::compare`] for two plans
//!   side by side.
//!
//! # How it plans
//! The builder (`build`) gives each job a *turn* and starts it at the first moment at which its vehicle, bay, people and equipment are free
//! after those with an earlier turn and its calendars allow. What it has built is a *chart* (`chart`): per vehicle, bay and person the chain of the
//! jobs it serves. Calendars, moves, settling, brackets and immobile vehicles are rules of one place.
//!
//! The first plan comes from dispatching (`construct`) with apparent tardiness cost for several look-aheads. Then `anneal` searches:
//! - `refit` takes late vehicles and those in their way out of a timetable with gaps (`table`) and lays them in again in another sequence. All others stay
//!   where they are, so a try costs the same in a shop of any size. Who is taken out, `ruin` tells or, the more often the colder it is, `claim`. In some rounds `shift`
//!   takes a job ahead of others in its row, and the row gives way. Where there is time all this is done in several rounds (`rounds`) from the start, the
//!   last one from the best of them; where few orders are late, each round insists on what stayed late in the one before;
//! - `trial` gives single jobs another turn, bay or people, and lays in anew whatever that reaches: for what `refit` leaves alone (brackets,
//!   immobile vehicles);
//! - `critical` is for job shops, where a job takes a machine and all that counts is when everything is done: it moves jobs of a longest chain, with a
//!   tabu list, on the rows of the machines (`rows`), and the builder lays in what it finds.
//!
//! Annealing rather than a strict descent, since lateness that runs through the night gives the objective cliffs.
//!
//! Pure: no clock, no I/O. Time is any whole unit (*ticks*) from any origin; the caller picks one and keeps to it.

pub mod calendar;
pub mod compare;

pub mod cost;
pub mod explain;
pub mod improve;
pub mod load;
pub mod model;
pub mod outcome;
pub mod repair;
pub mod upset;
pub mod yardstick;

mod anneal;
mod best;
mod budget;
mod build;
mod chart;
mod claim;
mod construct;
mod critical;
mod dice;
mod moves;
mod pins;
mod place;
mod read;
mod recreate;
mod refit;
mod rounds;
mod rows;
mod ruin;
#[cfg(test)]
mod samples;
mod screen;
mod shift;
mod shop;
mod table;
mod ties;
mod trial;
mod undo;
mod uses;
mod wake;
