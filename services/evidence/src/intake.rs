//! What speaks against an item as it arrives: refused item by item where it says nothing, marked where it says
//! something that proves nothing, kept otherwise.

mod content;
pub mod fault;

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Datelike as _, TimeDelta, Utc};
use domain::quantity::Decimal;
use uuid::Uuid;

use crate::identity;
use crate::sample::{Kind, Mark, Sample};
use fault::Refusal;

/// How far a client's clock may be off.
pub const CLOCK_TOLERANCE: TimeDelta = TimeDelta::seconds(5);

/// One item as the client gave it. A frame is decoded first and gives one item for each thing it says.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Given {
    /// When the client says that it was taken; without it, when it was received.
    pub taken_at: Option<DateTime<Utc>>,
    /// What it says.
    pub kind: Kind,
    /// What it was taken with.
    pub instrument: Instrument,
}

/// What an item was taken with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Instrument {
    /// No instrument: a person's observation, a file.
    None,
    /// An instrument that the shop has not registered.
    Unregistered,
    /// A registered instrument.
    Registered {
        /// When its calibration runs out; without it, it needs none.
        calibrated_until: Option<DateTime<Utc>>,
    },
}

/// What an item is held against.
#[derive(Debug, Clone)]
pub struct Limits {
    /// The moment of receipt.
    pub now: DateTime<Utc>,
    /// The client's clock at the moment of sending, if it told.
    pub client_clock: Option<DateTime<Utc>>,
    /// When the task was taken.
    pub attempt_from: DateTime<Utc>,
    /// When the lease ends or ended.
    pub lease_until: DateTime<Utc>,
    /// Signals, statements and files that the procedure asks for (see `judge::asked`).
    pub asked: BTreeSet<String>,
    /// The order's VIN, if it is known.
    pub vin: Option<String>,
}

/// An item that is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Examined {
    /// When it counts as taken: clamped to the taking of the task and the receipt.
    pub taken_at: DateTime<Utc>,
    /// What it says, spelled as the tables spell it.
    pub kind: Kind,
    /// What speaks against it.
    pub marks: BTreeSet<Mark>,
}

impl Examined {
    /// The sample under its id.
    pub fn sample(self, id: Uuid, received_at: DateTime<Utc>) -> Sample {
        let Self { taken_at, kind, marks } = self;
        Sample { id, taken_at, received_at, kind, marks }
    }
}

/// The exact decimal of a double; NaN, infinities and absurdly long ones are refused.
///
/// # Errors
/// [`Refusal::NotFinite`].
pub fn finite(value: f64) -> Result<Decimal, Refusal> {
    Decimal::shortest(value).ok_or(Refusal::NotFinite)
}

/// The statement whose text says why trouble codes could not be read.
pub const CODES_NOT_READABLE: &str = "codes_not_readable";

/// What a person's word says: a few statements carry a text that is evidence of its own kind.
pub fn word(statement: &str, holds: bool, text: &str, by: &str, second_person: bool) -> Kind {
    match statement {
        identity::STATEMENT if holds => Kind::TypedIdentity { last_six: text.trim().to_owned() },
        CODES_NOT_READABLE if holds => Kind::CodesNotReadable { reason: text.trim().to_owned() },
        _ => Kind::Attested {
            statement: statement.to_owned(),
            holds,
            by: by.to_owned(),
            second_person,
        },
    }
}

/// One answer for every item of a batch, in order; good items are kept whatever their neighbours are.
pub fn examine_all(items: &[Given], limits: &Limits) -> Vec<Result<Examined, Refusal>> {
    let mut seen = HashMap::with_capacity(items.len());
    let mut one = |(at, item)| {
        if let Some(&of) = seen.get(item) {
            return Err(Refusal::Duplicate { of });
        }
        seen.insert(item, at);
        examine(item, limits)
    };
    items.iter().enumerate().map(&mut one).collect()
}

/// One item.
///
/// # Errors
/// Says why the item says nothing.
pub fn examine(item: &Given, limits: &Limits) -> Result<Examined, Refusal> {
    let mut marks = BTreeSet::new();
    if item.taken_at.is_some_and(|at| !(1970..=2200).contains(&at.year())) {
        return Err(Refusal::NoMoment);
    }
    let kind = content::checked(&item.kind, limits, &mut marks)?;
    let taken_at = moment(item.taken_at, limits, &mut marks);
    match item.instrument {
        Instrument::None => {}
        Instrument::Unregistered => drop(marks.insert(Mark::Unverified)),
        Instrument::Registered { calibrated_until } => {
            if calibrated_until.is_some_and(|until| taken_at > until) {
                marks.insert(Mark::CalibrationExpired);
            }
        }
    }
    Ok(Examined { taken_at, kind, marks })
}

/// By how much a client's clock is off, ahead above zero, when that is more than the tolerance.
pub fn clock_off(clock: DateTime<Utc>, now: DateTime<Utc>) -> Option<TimeDelta> {
    Some(clock - now).filter(|off| off.abs() > CLOCK_TOLERANCE)
}

fn moment(
    given: Option<DateTime<Utc>>,
    limits: &Limits,
    marks: &mut BTreeSet<Mark>,
) -> DateTime<Utc> {
    if limits.client_clock.is_some_and(|clock| clock_off(clock, limits.now).is_some()) {
        marks.insert(Mark::ClockOff);
    }
    if limits.now > limits.lease_until {
        marks.insert(Mark::Late);
    }
    let given = given.unwrap_or(limits.now);
    if given > limits.now {
        if given - limits.now > CLOCK_TOLERANCE {
            marks.extend([Mark::Future, Mark::ClockOff]);
        }
        return limits.now;
    }
    if given >= limits.attempt_from {
        return given;
    }
    if limits.attempt_from - given <= CLOCK_TOLERANCE {
        return limits.attempt_from;
    }
    // Not clamped: an old reading must not look like a fresh one.
    marks.insert(Mark::BeforeAttempt);
    given
}
