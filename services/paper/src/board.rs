//! The plan as a picture: bays as rows, time to the right, as SVG that reads without colour.
//!
//! A bar is one task; what it is told by pattern and sign: see the legend in [`svg`]'s output.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

mod fit;
mod paint;
mod scale;

/// What the board shows.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Board {
    /// The shop's name.
    pub shop: String,
    /// The IANA time zone of the clock along the top.
    pub time_zone: String,
    /// The moment that the plan is of.
    pub now: DateTime<Utc>,
    /// Left edge.
    pub from: DateTime<Utc>,
    /// Right edge; at least an hour after the left one is shown.
    pub until: DateTime<Utc>,
    /// The bays in the shop's order.
    pub bays: Vec<Bay>,
    /// Tasks without a bay: test drives.
    pub road: Vec<Bar>,
    /// Tasks that have no place in the plan.
    pub unplanned: Vec<Unplanned>,
}

/// A row.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bay {
    /// Its name.
    pub name: String,
    /// What it offers, in few words: `lift, level floor`.
    pub offers: String,
    /// When nothing can be done there.
    pub closed: Vec<Closed>,
    /// What is planned there; bars that overlap stand below each other.
    pub bars: Vec<Bar>,
}

/// A time in which a bay is out of use.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Closed {
    /// Its beginning.
    pub from: DateTime<Utc>,
    /// Its end.
    pub until: DateTime<Utc>,
    /// Why.
    pub why: String,
}

/// A task in the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bar {
    /// The order's number.
    pub order: String,
    /// The task's title.
    pub title: String,
    /// Who does it.
    pub technician: Option<String>,
    /// Its beginning.
    pub from: DateTime<Utc>,
    /// Its end, without the wait after it.
    pub until: DateTime<Utc>,
    /// The end of the wait after it.
    pub settles_until: Option<DateTime<Utc>>,
    /// How far it is.
    pub state: BarState,
    /// Its order will miss its promise.
    pub late: bool,
    /// A dispatcher fixed its place.
    pub pinned: bool,
}

/// How far a task is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BarState {
    /// In the plan only.
    Planned,
    /// Being worked.
    Running,
    /// Broke off: a person must decide.
    Held,
    /// Over.
    Done,
}

/// A task without a place in the plan.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unplanned {
    /// The order's number.
    pub order: String,
    /// The task's title.
    pub title: String,
    /// What it lacks.
    pub why: String,
}

/// The picture, as `image/svg+xml`.
pub fn svg(board: &Board) -> String {
    crate::clean::clean(&paint::board(board).into_string())
}
