//! Whether what an item says can be said: known names, fitting units, places and states, well-formed texts.

use std::collections::BTreeSet;

use domain::signal::{Signal, Values};
use domain::unit::Unit;

use super::Limits;
use super::fault::Refusal;
use crate::sample::{Kind, Mark};

/// What the item says, spelled as the tables spell it; marked where it cannot be.
pub(super) fn checked(
    kind: &Kind,
    limits: &Limits,
    marks: &mut BTreeSet<Mark>,
) -> Result<Kind, Refusal> {
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
        Kind::Attested { statement: name, .. } => named(name, limits, marks)?,
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
        Kind::Attachment { shows, sha256 } => {
            named(shows, limits, marks)?;
            sha256.make_ascii_lowercase();
            if sha256.len() != 64 || !is_hex(sha256) {
                return Err(malformed("a SHA-256 in 64 hex digits", sha256));
            }
        }
        Kind::CodesNotReadable { reason } if reason.trim().is_empty() => {
            return Err(malformed("a reason", reason));
        }
        Kind::CodesNotReadable { .. }
        | Kind::CodesCleared
        | Kind::Monitors { .. }
        | Kind::Refused { .. } => {}
    }
    Ok(kind)
}

/// What a person says or a file shows, by its name.
fn named(name: &str, limits: &Limits, marks: &mut BTreeSet<Mark>) -> Result<(), Refusal> {
    if !is_name(name) {
        return Err(malformed("a snake_case name", name));
    }
    not_asked(name, limits, marks);
    Ok(())
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

fn not_asked(name: &str, limits: &Limits, marks: &mut BTreeSet<Mark>) {
    if !limits.asked.contains(name) {
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
