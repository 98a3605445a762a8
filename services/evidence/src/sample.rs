//! One item of evidence as plain data: what it says, when, and what speaks against it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use domain::exact::{Exact, rounded};
use domain::quantity::Decimal;
use domain::unit::Unit;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What one stored item of evidence says. A frame that says several things is as many samples with one id.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sample {
    /// The item's id.
    pub id: Uuid,
    /// When it was taken, as it counts: clamped to the taking of the task and the receipt.
    pub taken_at: DateTime<Utc>,
    /// When it was received.
    pub received_at: DateTime<Utc>,
    /// What it says.
    pub kind: Kind,
    /// What speaks against it.
    #[serde(default)]
    pub marks: BTreeSet<Mark>,
}

/// What an item says.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "says", rename_all = "snake_case")]
pub enum Kind {
    /// A measured value.
    Number {
        /// The signal, for example `engine_coolant_temperature`.
        signal: String,
        /// The wheel or corner, for signals that are read at each.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<String>,
        /// The value as given.
        value: Exact,
        /// UCUM code of the value as given.
        unit: String,
    },
    /// A signal's state.
    State {
        /// The signal, for example `parking_brake`.
        signal: String,
        /// The state, for example `applied`.
        is: String,
    },
    /// A person's word.
    Attested {
        /// What is attested, for example `calipers_bolted`.
        statement: String,
        /// Yes or no.
        holds: bool,
        /// Who says so: a person's id.
        by: String,
        /// Said by a second person with a token of their own.
        #[serde(default)]
        second_person: bool,
    },
    /// A list of trouble codes, possibly empty.
    Codes {
        /// Which list.
        list: CodeList,
        /// The codes.
        codes: Vec<Code>,
    },
    /// Trouble codes could not be read.
    CodesNotReadable {
        /// Why, in words.
        reason: String,
    },
    /// Trouble codes were cleared: what is absent afterwards is not tested yet.
    CodesCleared,
    /// The monitors of the on-board diagnosis, at one moment (SAE J1979 service 01, parameter 01).
    Monitors {
        /// Monitors that the vehicle has, and whether each has run since codes were cleared.
        monitors: Vec<Monitor>,
    },
    /// An answer of a diagnostic routine (ISO 14229-1 `RoutineControl`).
    Routine {
        /// Routine identifier, four upper-case hex digits.
        identifier: String,
        /// Which request was answered.
        sub: RoutineAnswer,
        /// Status record, upper-case hex digits.
        status: String,
    },
    /// A negative response (ISO 14229-1, SAE J1979).
    Refused {
        /// The refused service.
        service: u8,
        /// Negative response code.
        nrc: u8,
    },
    /// A vehicle identification number read or scanned from the vehicle.
    Vin {
        /// The number.
        vin: String,
    },
    /// The last six characters of the VIN (or the plate), typed by a person who stands before the vehicle.
    TypedIdentity {
        /// The characters.
        last_six: String,
    },
    /// A file.
    Attachment {
        /// What it shows, for example `alignment_printout`.
        shows: String,
        /// SHA-256 of its bytes, hex.
        sha256: String,
    },
}

/// A list of trouble codes by what it lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CodeList {
    /// Confirmed codes (SAE J1979 service 03), or a list that a person read.
    Stored,
    /// Codes of this or the last driving cycle (service 07).
    Pending,
    /// Codes that only their monitor clears (service 0A).
    Permanent,
    /// Codes with their status bytes (ISO 14229-1 `59 02`, or `59 0A`: all that the module knows).
    WithStatus,
}

/// A trouble code.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Code {
    /// The code as SAE J2012 writes it, for example `P0420`, with a failure type `C0035-11`.
    pub code: String,
    /// Status byte of ISO 14229-1, where the list has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub status: Option<u8>,
}

impl Code {
    /// Status bits of ISO 14229-1: test failed, pending, confirmed.
    const PRESENT: u8 = 0b0000_1101;
    /// Status bits: test not completed since codes were cleared, or in this cycle.
    const UNTESTED: u8 = 0b0101_0000;

    /// Whether its list says that the fault is there; one without status lists nothing else.
    pub fn is_present(&self) -> bool {
        self.status.is_none_or(|bits| bits & Self::PRESENT != 0)
    }

    /// Whether its status says that its test has yet to run.
    pub fn is_untested(&self) -> bool {
        self.status.is_some_and(|bits| bits & Self::PRESENT == 0 && bits & Self::UNTESTED != 0)
    }
}

/// One monitor of the on-board diagnosis.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Monitor {
    /// Its name, for example `catalyst`.
    pub name: String,
    /// It has run since codes were cleared.
    pub complete: bool,
}

/// Which request of a routine was answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RoutineAnswer {
    /// `71 01`: accepted, not finished.
    Started,
    /// `71 02`: stopped.
    Stopped,
    /// `71 03`: its results.
    Results,
}

/// What speaks against an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Received after the lease had ended.
    Late,
    /// The client's clock is off by more than the tolerance; its times are shown as it gave them.
    ClockOff,
    /// The instrument is not registered with the shop.
    Unverified,
    /// The instrument's calibration had run out.
    CalibrationExpired,
    /// Taken later than it was received.
    Future,
    /// Taken before the task was taken.
    BeforeAttempt,
    /// Outside what the signal can be.
    Implausible,
    /// Taken from another vehicle.
    WrongVehicle,
    /// The procedure does not ask for it.
    NotAsked,
}

impl Mark {
    /// Every mark.
    pub const ALL: [Self; 9] = [
        Self::Late,
        Self::ClockOff,
        Self::Unverified,
        Self::CalibrationExpired,
        Self::Future,
        Self::BeforeAttempt,
        Self::Implausible,
        Self::WrongVehicle,
        Self::NotAsked,
    ];

    /// The mark of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|mark| mark.word() == word)
    }

    /// The word used in documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::Late => "late",
            Self::ClockOff => "clock_off",
            Self::Unverified => "unverified",
            Self::CalibrationExpired => "calibration_expired",
            Self::Future => "future",
            Self::BeforeAttempt => "before_attempt",
            Self::Implausible => "implausible",
            Self::WrongVehicle => "wrong_vehicle",
            Self::NotAsked => "not_asked",
        }
    }

    /// Why an item with this mark proves nothing; `None` when the mark is only shown.
    pub fn objection(self) -> Option<&'static str> {
        match self {
            Self::ClockOff | Self::NotAsked => None,
            Self::Late => Some("it arrived after the lease had ended"),
            Self::Unverified => Some("its instrument is not registered"),
            Self::CalibrationExpired => Some("its instrument's calibration has run out"),
            Self::Future => Some("it was taken later than it was received"),
            Self::BeforeAttempt => Some("it was taken before this attempt"),
            Self::Implausible => Some("the value is not plausible"),
            Self::WrongVehicle => Some("it comes from another vehicle"),
        }
    }
}

impl Kind {
    /// A measured value in the base unit of what it measures, to nine places, with the unit's UCUM code; `None` where it was
    /// given in that unit, and for whatever is no measured value.
    pub fn in_base_unit(&self) -> Option<(Decimal, &'static str)> {
        let Self::Number { value, unit, .. } = self else { return None };
        let given = Unit::of_code(unit)?;
        let base = given.dimension.base();
        (given != base).then(|| (rounded(given.to_base(value.ratio()), 9), base.code))
    }
}

impl Sample {
    /// Why it proves nothing, by the first of its marks that says so.
    pub fn objection(&self, unverified_allowed: bool) -> Option<&'static str> {
        let counts = |mark: &&Mark| !(unverified_allowed && **mark == Mark::Unverified);
        self.marks.iter().filter(counts).find_map(|mark| mark.objection())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn base(value: i64, unit: &str) -> Option<(String, &'static str)> {
        let (signal, unit) = ("a_signal".to_owned(), unit.to_owned());
        let kind = Kind::Number { signal, place: None, value: Exact::whole(value), unit };
        kind.in_base_unit().map(|(value, unit)| (value.to_string(), unit))
    }

    /// NIST SP 811 (2008), appendix B.8: degree Fahrenheit to degree Celsius `(t - 32)/1.8`, psi to kPa `6.894 757 E+00`.
    #[test]
    fn a_value_in_another_unit_is_told_in_the_base_unit_too() {
        assert_eq!(base(203, "[degF]"), Some(("95".to_owned(), "Cel")));
        assert_eq!(base(1, "[psi]"), Some(("6.894757293".to_owned(), "kPa")));
        assert_eq!(base(95, "Cel"), None, "it was given in it");
        assert_eq!(Kind::CodesCleared.in_base_unit(), None);
    }
}
