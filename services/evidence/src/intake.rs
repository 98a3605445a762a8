//! What speaks against an item as it arrives: refused item by item where it says nothing, marked where it says
//! something that proves nothing, kept otherwise.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, TimeDelta, Utc};
use domain::quantity::Decimal;
use domain::signal::{Signal, Values};
use domain::unit::Unit;
use uuid::Uuid;

use crate::sample::{Kind, Mark, Sample};

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
    /// Signals that the procedure asks for (see `judge::asked`).
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

/// Why an item says nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No such signal.
    #[error("`{0}` is not a signal that is known")]
    UnknownSignal(String),
    /// The signal has states, not numbers.
    #[error("{signal} is a state, one of {words}; it has no number")]
    NotANumber {
        /// The signal.
        signal: String,
        /// Its states.
        words: String,
    },
    /// The signal has numbers, not states.
    #[error("{signal} is a number in {unit}; it has no state")]
    NotAState {
        /// The signal.
        signal: String,
        /// Its base unit.
        unit: &'static str,
    },
    /// No such unit.
    #[error("`{given}` is not a unit that is known; {signal} is read in one of {units}")]
    UnknownUnit {
        /// The signal.
        signal: String,
        /// The unit as given.
        given: String,
        /// Units that fit.
        units: String,
    },
    /// The unit measures something else.
    #[error("{given} does not measure {signal}, which is read in one of {units}")]
    WrongDimension {
        /// The signal.
        signal: String,
        /// The unit as given.
        given: String,
        /// Units that fit.
        units: String,
    },
    /// No such state.
    #[error("`{given}` is not a state of {signal}, which is one of {words}")]
    UnknownState {
        /// The signal.
        signal: String,
        /// The state as given.
        given: String,
        /// Its states.
        words: String,
    },
    /// The place is missing, unknown or out of place.
    #[error("{signal} is read at one of {places}, not at {given}")]
    WrongPlace {
        /// The signal.
        signal: String,
        /// The place as given.
        given: String,
        /// Its places.
        places: String,
    },
    /// Not a finite decimal number.
    #[error("the value is not a decimal number of at most 18 digits")]
    NotFinite,
    /// A text has not the form that it must have.
    #[error("`{given}` is not {what}")]
    Malformed {
        /// What it should be.
        what: &'static str,
        /// The text as given, shortened.
        given: String,
    },
    /// The same item stands in the batch already.
    #[error("it repeats item {of} of this batch")]
    Duplicate {
        /// Position of the first, from 0.
        of: usize,
    },
}

impl Refusal {
    /// Stable word for programs.
    pub fn code(&self) -> &'static str {
        match self {
            Self::UnknownSignal(_) => "unknown_signal",
            Self::NotANumber { .. } => "not_a_number",
            Self::NotAState { .. } => "not_a_state",
            Self::UnknownUnit { .. } => "unknown_unit",
            Self::WrongDimension { .. } => "wrong_dimension",
            Self::UnknownState { .. } => "unknown_state",
            Self::WrongPlace { .. } => "wrong_place",
            Self::NotFinite => "not_finite",
            Self::Malformed { .. } => "malformed",
            Self::Duplicate { .. } => "duplicate",
        }
    }
}

/// The exact decimal of a double; NaN, infinities and absurdly long ones are refused.
///
/// # Errors
/// [`Refusal::NotFinite`].
pub fn finite(value: f64) -> Result<Decimal, Refusal> {
    Decimal::shortest(value).ok_or(Refusal::NotFinite)
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
    let kind = said(&item.kind, limits, &mut marks)?;
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

fn moment(
    given: Option<DateTime<Utc>>,
    limits: &Limits,
    marks: &mut BTreeSet<Mark>,
) -> DateTime<Utc> {
    let off = |clock: DateTime<Utc>| (clock - limits.now).abs() > CLOCK_TOLERANCE;
    if limits.client_clock.is_some_and(off) {
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

fn said(kind: &Kind, limits: &Limits, marks: &mut BTreeSet<Mark>) -> Result<Kind, Refusal> {
    let mut kind = kind.clone();
    match &mut kind {
        Kind::Number { signal, place, value, unit } => {
            let known = number(signal, place.as_deref(), unit)?;
            let Values::Number { unit: base, least, most } = known.values else {
                return Err(Refusal::NotFinite);
            };
            let bound = |limit: i64| limit_in_base(limit, base);
            let plain = Unit::of_code(unit).map(|unit| unit.to_base(value.ratio()));
            if plain.is_none_or(|plain| plain < bound(least) || plain > bound(most)) {
                marks.insert(Mark::Implausible);
            }
            not_asked(signal, limits, marks);
        }
        Kind::State { signal, is } => {
            state(signal, is)?;
            not_asked(signal, limits, marks);
        }
        Kind::Attested { statement: name, .. } | Kind::Attachment { shows: name, .. }
            if !is_name(name) =>
        {
            return Err(malformed("a snake_case name", name));
        }
        Kind::Codes { codes, .. } => {
            for code in codes {
                code.code.make_ascii_uppercase();
                if !is_code(&code.code) {
                    return Err(malformed("a trouble code as SAE J2012 writes it", &code.code));
                }
            }
        }
        Kind::Routine { identifier, status, .. } => {
            identifier.make_ascii_uppercase();
            status.make_ascii_uppercase();
            if identifier.len() != 4 || !is_hex(identifier) {
                return Err(malformed("a routine identifier of four hex digits", identifier));
            }
            if !is_hex(status) || !status.len().is_multiple_of(2) {
                return Err(malformed("a status record in hex digits", status));
            }
        }
        Kind::Vin { vin } => {
            vin.make_ascii_uppercase();
            if !is_vin(vin) {
                return Err(malformed("a vehicle identification number", vin));
            }
            if limits.vin.as_ref().is_some_and(|expected| !expected.eq_ignore_ascii_case(vin)) {
                marks.insert(Mark::WrongVehicle);
            }
        }
        Kind::TypedIdentity { last_six } => {
            last_six.make_ascii_uppercase();
            if !(4..=6).contains(&last_six.len())
                || !last_six.bytes().all(|b| b.is_ascii_alphanumeric())
            {
                return Err(malformed(
                    "the last six characters of a VIN, or of a plate that may be shorter",
                    last_six,
                ));
            }
        }
        Kind::Attachment { sha256, .. } => {
            sha256.make_ascii_lowercase();
            if sha256.len() != 64 || !is_hex(sha256) {
                return Err(malformed("a SHA-256 in 64 hex digits", sha256));
            }
        }
        Kind::CodesNotReadable { reason } if reason.trim().is_empty() => {
            return Err(malformed("a reason", reason));
        }
        Kind::Attested { .. }
        | Kind::CodesNotReadable { .. }
        | Kind::CodesCleared
        | Kind::Monitors { .. }
        | Kind::Refused { .. } => {}
    }
    Ok(kind)
}

fn number(name: &str, place: Option<&str>, unit: &str) -> Result<&'static Signal, Refusal> {
    let signal = known(name)?;
    let base = match signal.values {
        Values::Number { unit, .. } => unit,
        Values::Words(words) => {
            let words = words.join(", ");
            return Err(Refusal::NotANumber { signal: name.to_owned(), words });
        }
    };
    let fits = || {
        let dimension = Unit::of_code(base).map(|unit| unit.dimension);
        let units = dimension.into_iter().flat_map(domain::unit::Dimension::units);
        units.map(|unit| unit.code).collect::<Vec<_>>().join(", ")
    };
    let (signal_name, given) = (|| name.to_owned(), || cut(unit));
    let Some(of) = Unit::of_code(unit) else {
        return Err(Refusal::UnknownUnit { signal: signal_name(), given: given(), units: fits() });
    };
    if Unit::of_code(base).is_none_or(|base| base.dimension != of.dimension) {
        let units = fits();
        return Err(Refusal::WrongDimension { signal: signal_name(), given: given(), units });
    }
    let at_home = match place {
        Some(place) => signal.places().contains(&place),
        None => signal.places().is_empty(),
    };
    if !at_home {
        return Err(Refusal::WrongPlace {
            signal: signal_name(),
            given: place.map_or("no place".to_owned(), cut),
            places: match signal.places() {
                [] => "no place".to_owned(),
                places => places.join(", "),
            },
        });
    }
    Ok(signal)
}

fn state(name: &str, is: &str) -> Result<(), Refusal> {
    match known(name)?.values {
        Values::Number { unit, .. } => Err(Refusal::NotAState { signal: name.to_owned(), unit }),
        Values::Words(words) if words.contains(&is) => Ok(()),
        Values::Words(words) => Err(Refusal::UnknownState {
            signal: name.to_owned(),
            given: cut(is),
            words: words.join(", "),
        }),
    }
}

fn known(name: &str) -> Result<&'static Signal, Refusal> {
    Signal::of_name(name).ok_or_else(|| Refusal::UnknownSignal(cut(name)))
}

fn limit_in_base(limit: i64, unit: &str) -> num_rational::Ratio<i128> {
    let limit = num_rational::Ratio::from_integer(i128::from(limit));
    Unit::of_code(unit).map_or(limit, |unit| unit.to_base(limit))
}

fn not_asked(signal: &str, limits: &Limits, marks: &mut BTreeSet<Mark>) {
    if !limits.asked.contains(signal) {
        marks.insert(Mark::NotAsked);
    }
}

fn malformed(what: &'static str, given: &str) -> Refusal {
    Refusal::Malformed { what, given: cut(given) }
}

fn cut(text: &str) -> String {
    text.chars().take(40).collect()
}

fn is_name(text: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_';
    (1..=64).contains(&text.len()) && text.bytes().all(fits)
}

fn is_hex(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

fn is_vin(text: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_alphanumeric() && !matches!(byte, b'I' | b'O' | b'Q');
    text.len() == 17 && text.bytes().all(fits)
}

/// `P0420`, or with a failure type `C0035-11`.
fn is_code(text: &str) -> bool {
    let (code, failure) = text.split_once('-').unwrap_or((text, "00"));
    let mut bytes = code.bytes();
    code.len() == 5
        && bytes.next().is_some_and(|byte| b"PCBU".contains(&byte))
        && bytes.next().is_some_and(|byte| (b'0'..=b'3').contains(&byte))
        && bytes.all(|byte| byte.is_ascii_hexdigit())
        && failure.len() == 2
        && is_hex(failure)
}
