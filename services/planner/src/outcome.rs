//! What planning gives back.

use crate::model::{JobId, Placement};
use std::fmt;

/// A plan for a model.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    /// By job; none: not planned, see [`Plan::unplanned`].
    pub placements: Vec<Option<Placement>>,
    /// What could not be planned, by job.
    pub unplanned: Vec<Unplanned>,
    /// What each part of the objective costs.
    pub cost: Cost,
}

/// The parts of the objective in its own units (each already times its weight).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Cost {
    /// Promised times missed.
    pub tardiness: i64,
    /// Time until the vehicles are out.
    pub flow: i64,
    /// Changes of bay.
    pub moving: i64,
    /// Departures from the plan in force.
    pub changes: i64,
    /// Time until everything is done.
    pub makespan: i64,
}

impl Cost {
    /// What is minimised, after the number of jobs left unplanned.
    #[must_use]
    pub const fn total(&self) -> i64 {
        self.tardiness + self.flow + self.moving + self.changes + self.makespan
    }
}

/// A job that could not be planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unplanned {
    /// The job.
    pub job: JobId,
    /// Why.
    pub reason: Reason,
}

/// Why a job could not be planned; `Display` says it in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    /// No bay in the order's zones offers all of these.
    NoBay(Vec<String>),
    /// The bays that could do it are never open long enough.
    BayClosed,
    /// Nobody who works there has all of these skills.
    NoTechnician(Vec<String>),
    /// Those who could do it are never there long enough.
    NoShift(Vec<String>),
    /// Fewer units than the job takes, or none.
    NoEquipment {
        /// Kind of equipment.
        kind: String,
        /// Units the job takes.
        needed: u32,
    },
    /// What the dispatcher fixed can't be done.
    Pin(String),
    /// The vehicle can't leave its bay, and the job can't be done there.
    Immobile,
    /// The order of things contradicts itself.
    Circular,
    /// It waits for a job that is not planned.
    WaitsFor(JobId, String),
    /// Nothing is free long enough before the horizon ends.
    NoRoom,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoBay(offers) if offers.is_empty() => f.write_str("there is no bay for it"),
            Self::NoBay(offers) => write!(f, "no bay offers {}", offers.join(" and ")),
            Self::BayClosed => f.write_str("no bay for it is open long enough"),
            Self::NoTechnician(skills) if skills.is_empty() => {
                f.write_str("there is no technician for it")
            }
            Self::NoTechnician(skills) => {
                write!(f, "nobody there has the skill {}", skills.join(" and "))
            }
            Self::NoShift(skills) if skills.is_empty() => {
                f.write_str("nobody is there long enough for it")
            }
            Self::NoShift(skills) => write!(
                f,
                "nobody with the skill {} is there long enough for it",
                skills.join(" and ")
            ),
            Self::NoEquipment { kind, needed } => {
                write!(f, "{needed} of {kind} needed, fewer are there")
            }
            Self::Pin(why) => f.write_str(why),
            Self::Immobile => {
                f.write_str("the vehicle can't leave its bay, and this can't be done there")
            }
            Self::Circular => f.write_str("what has to come first also has to come later"),
            Self::WaitsFor(_, name) => write!(f, "waits for {name}"),
            Self::NoRoom => {
                f.write_str("nothing is free long enough before the end of the planned time")
            }
        }
    }
}

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Candidates each thread looks at; none: as long as the caller's closure allows. With the same seed and iterations
    /// (and a closure that doesn't stop earlier) the plan is the same.
    pub iterations: Option<u64>,
    /// Seed of the search.
    pub seed: u64,
    /// Threads; at least 1.
    pub threads: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { iterations: None, seed: 1, threads: 1 }
    }
}

/// The share of the caller's budget that is used up: planning stops at 1.0, and cools down on the way.
pub type Spent<'a> = &'a (dyn Fn() -> f64 + Sync);
