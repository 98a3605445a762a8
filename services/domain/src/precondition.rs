//! What must be true before, and sometimes throughout, a task; and what proves its result.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::limit::MayDiffer;
use crate::procedure::WaiverRule;
use crate::quantity::Decimal;

/// One requirement on the vehicle, the bay or the people, proven by evidence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Precondition {
    /// Name, unique within its procedure.
    #[schema(example = "coolant_warm")]
    pub id: String,
    /// What must be true, in words.
    #[schema(example = "Engine coolant between 200 and 210 degF")]
    pub text: String,
    /// What must be true, exactly.
    pub condition: Condition,
    /// Evidence older than this many seconds no longer proves it. Without it, the evidence of the present attempt does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_age: Option<u32>,
    /// It must have held for this many seconds, without a gap longer than the signal allows.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub hold_for: u32,
    /// It must go on holding while the task runs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub throughout: bool,
    /// While the task runs, a wider condition applies instead (start windows may be narrower).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub while_running: Option<Condition>,
    /// Readings of an instrument that the shop has not registered prove it too; they are shown as unverified.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unverified_allowed: bool,
    /// Another figure may stand in for its limit, where the manufacturer gives one; without it none may.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub may_differ: Option<MayDiffer>,
    /// It alone may be left out by a waiver; without it only the whole task may, or nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiver: Option<WaiverRule>,
    /// A source of the catalogue's list, for example `common_practice`.
    pub source: String,
}

/// What must be true. The same forms serve preconditions and proofs of a result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Condition {
    /// A signal's value lies in a range, both ends included, compared exactly in the range's own unit.
    Range(Range),
    /// A signal is in an exact state.
    State {
        /// The signal, for example `parking_brake`.
        signal: String,
        /// The state, for example `applied`.
        is: String,
    },
    /// A person attests it, by the statement's name.
    Attested {
        /// What is attested, a `snake_case` name, for example `calipers_bolted`.
        statement: String,
        /// It must be attested by a second person with a token of their own.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        second_person: bool,
    },
    /// A list of trouble codes read in this attempt holds none that matches.
    NoCode {
        /// Pattern over the codes of SAE J2012: `x` is any digit, for example `P05xx`, `U0xxx`, `xxxxx`.
        pattern: String,
        /// Codes or patterns that this very task is to cure.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        except: Vec<String>,
    },
    /// At least this many seconds have passed since something was attested or a signal reached a state.
    Elapsed {
        /// The statement's or state's name, for example `engine_off`.
        since: String,
        /// Seconds.
        at_least: u32,
    },
    /// A diagnostic routine ended with this answer (ISO 14229-1, `71 03` with this identifier).
    Routine {
        /// Routine identifier, four hex digits; without it the identifier that the technician names.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        identifier: Option<String>,
        /// Hex digits that the status record must begin with; `..` is any byte. Without it a person reads the
        /// status and attests it beside the frame.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        passes: Option<String>,
    },
    /// A list of trouble codes was read and is on record, whatever it holds.
    CodesRecorded {
        /// Accepts `not_readable` with a reason (flat battery) in its place.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        or_not_readable: bool,
    },
    /// A file is attached: a photo, a printed result.
    Attachment {
        /// What it shows, a `snake_case` name, for example `alignment_printout`.
        shows: String,
    },
    /// Every one of these.
    #[schema(no_recursion)]
    All(Vec<Condition>),
    /// At least one of these; the one used is marked in the report.
    #[schema(no_recursion)]
    Any(Vec<Condition>),
}

impl Condition {
    /// Tells every part of it that is neither `all` nor `any`.
    pub fn each_leaf(&self, tell: &mut impl FnMut(&Self)) {
        match self {
            Self::All(parts) | Self::Any(parts) => {
                for part in parts {
                    part.each_leaf(tell);
                }
            }
            leaf => tell(leaf),
        }
    }
}

/// A range of a signal. At least one end is given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Range {
    /// The signal, for example `engine_coolant_temperature`.
    pub signal: String,
    /// Lowest value that still satisfies it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Decimal>,
    /// Highest value that still satisfies it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_most: Option<Decimal>,
    /// UCUM code of both ends, for example `[degF]`.
    pub unit: String,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde's skip_serializing_if passes a reference"
)]
fn is_zero(seconds: &u32) -> bool {
    *seconds == 0
}
