//! What words of a line can be, and how actions and parts behave.

use std::collections::BTreeMap;

use serde::Deserialize;

/// What a phrase says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Meaning {
    /// An action by its index.
    Action(u16),
    /// An action only where the words around hold no other.
    WeakAction(u16),
    /// A part by its index.
    Noun(u16),
    Place(Place),
    /// Every axle or wheel.
    AllRound,
    /// `and`, `with`, a comma's equal.
    Join,
    /// `then`: a new job begins.
    Then,
    /// `before`, `after` other work.
    Around,
    To,
    Reason,
    Purpose,
    Access,
    Not,
    Declined,
    Quote,
    Condition,
    /// Spoken of as work that may come.
    Recommended,
    History,
    Said,
    Found,
    Correction,
    State,
    NewPart,
    SamePart,
    /// A job that asks for nothing.
    Nothing,
    /// Something that asks for nothing beside another job.
    Beside,
    SmallPart,
    /// `only`: what comes after it stands against what was denied.
    Only,
    /// `the other side`
    OtherSide,
    Filler,
}

/// An axle of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Axle {
    Front,
    Rear,
}

/// A side of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Left,
    Right,
    Driver,
    Passenger,
}

/// Where on the vehicle, as far as it is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) axle: Option<Axle>,
    pub(crate) side: Option<Side>,
    /// Written `RR`: the rear axle, or the rear right wheel.
    pub(crate) either: bool,
}

/// Which half of taking something out and putting it back an action is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Half {
    /// Taken out.
    Out,
    /// Put in, the same or another.
    In,
    /// The same one put back.
    Back,
}

/// An action and how it behaves.
#[derive(Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is a trait of its own")]
pub(crate) struct Action {
    pub(crate) name: Box<str>,
    /// The operation's action; `None` where it looks only, or where a person must choose.
    pub(crate) gives: Option<Box<str>>,
    /// What it gives on parts that do not take that.
    pub(crate) elsewhere: Option<Box<str>>,
    pub(crate) asks: Vec<Box<str>>,
    pub(crate) looks: bool,
    pub(crate) half: Option<Half>,
    /// The part that it is about when none is named.
    pub(crate) alone: Option<u16>,
    pub(crate) doubted: bool,
    pub(crate) doubted_where_often_refitted: bool,
    pub(crate) fluids_only: bool,
    pub(crate) slight: bool,
    /// Follows from other work on the same part.
    pub(crate) follows: bool,
    pub(crate) only_on: Vec<u16>,
}

/// A part, by what it is called, and how it behaves.
#[derive(Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is a trait of its own")]
pub(crate) struct Noun {
    pub(crate) component: Box<str>,
    pub(crate) also: Option<Box<str>>,
    pub(crate) by_axle: Option<[Box<str>; 2]>,
    /// What it is where no axle is said.
    pub(crate) otherwise: Option<Box<str>>,
    pub(crate) takes: Vec<Box<str>>,
    pub(crate) fluid: bool,
    pub(crate) means: BTreeMap<Box<str>, Outcome>,
    /// What an action stands for that names no part and comes behind work on this one.
    pub(crate) behind: BTreeMap<Box<str>, (Box<str>, Box<str>)>,
    pub(crate) alone: Option<Box<str>>,
    pub(crate) only: Vec<Box<str>>,
    pub(crate) often_refitted: bool,
    pub(crate) sits_in: Vec<Box<str>>,
    pub(crate) asks: Vec<(Box<str>, Box<str>)>,
    pub(crate) nothing: bool,
    pub(crate) single: bool,
    /// Its aim is set when it is fitted: aiming it follows from that work.
    pub(crate) aimed: bool,
    /// It has a coolant beside that of the engine.
    pub(crate) own_coolant: bool,
    /// The part that is meant where a line only says "fluid" or "belt" beside work on this one.
    pub(crate) its: BTreeMap<Box<str>, u16>,
    /// A word of which many parts have one, said by itself.
    pub(crate) any: Option<Box<str>>,
    /// What it asks is clear where a place is named.
    pub(crate) placed: bool,
    /// Parts whose work brings its calibration with it.
    pub(crate) set_after: Vec<Box<str>>,
    /// The last words of its names: one of them may name it again.
    pub(crate) heads: Vec<super::phrases::WordId>,
    /// It belongs to an axle, not to a side of it.
    pub(crate) on_axle: bool,
}

/// Actions that rules of the reader name.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Usual {
    pub(crate) install: Option<u16>,
    pub(crate) remove: Option<u16>,
    pub(crate) disconnect: Option<u16>,
    pub(crate) program: Option<u16>,
    pub(crate) transfer: Option<u16>,
    pub(crate) clean: Option<u16>,
}

/// What one action on one part stands for, where it is not plain.
#[derive(Debug)]
pub(crate) enum Outcome {
    Operation(Box<str>, Box<str>),
    Nothing,
    NothingKnown,
}

impl Place {
    /// The same place on the other side, where a side is said.
    pub(crate) fn other_side(self) -> Option<Self> {
        let side = match self.side? {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
            Side::Driver => Side::Passenger,
            Side::Passenger => Side::Driver,
        };
        Some(Self { side: Some(side), ..self })
    }

    pub(super) fn named(name: &str) -> Option<Self> {
        let axle = |name: &str| match name {
            "front" => Some(Axle::Front),
            "rear" => Some(Axle::Rear),
            _ => None,
        };
        let side = |name: &str| match name {
            "left" => Some(Side::Left),
            "right" => Some(Side::Right),
            "driver_side" => Some(Side::Driver),
            "passenger_side" => Some(Side::Passenger),
            _ => None,
        };
        let (axle, side) = match name.split_once('_') {
            Some((first, second)) if axle(first).is_some() => (axle(first), side(second)),
            _ => (axle(name), side(name)),
        };
        (axle.is_some() || side.is_some()).then_some(Self { axle, side, either: false })
    }
}
