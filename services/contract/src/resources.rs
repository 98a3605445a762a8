//! The shop's means: bays, technicians, equipment, shifts, absences.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::orders::FindingView;

/// A bay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewBay {
    /// Name, unique in the shop.
    #[schema(min_length = 1, max_length = 64)]
    pub name: String,
    /// Part of the premises; moving between two costs more time.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 64)]
    pub zone: String,
    /// What can be done in it.
    #[schema(max_items = 50, example = json!(["lift", "exhaust_extraction"]))]
    pub capabilities: Vec<String>,
    /// What was measured of it: it proves preconditions on these signals for whoever works in the bay, while it is valid.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub measured: Vec<BayMeasurement>,
}

/// Something measured of a bay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BayMeasurement {
    /// The signal, for example `floor_slope`.
    #[schema(min_length = 1, max_length = 64, example = "floor_slope")]
    pub signal: String,
    /// The value; of a slope the steepest one.
    pub value: domain::quantity::Decimal,
    /// UCUM code.
    #[schema(min_length = 1, max_length = 32, example = "deg")]
    pub unit: String,
    /// With what it was measured.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"\S",
        example = "Inclinometer 2, calibrated until 2026-10"
    )]
    pub instrument: String,
    /// When.
    pub measured_at: DateTime<Utc>,
    /// Until when it counts.
    pub valid_until: DateTime<Utc>,
}

/// A bay as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BayView {
    /// Its id.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Part of the premises.
    pub zone: String,
    /// What can be done in it.
    pub capabilities: Vec<String>,
    /// What was measured of it.
    pub measured: Vec<BayMeasurement>,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
    /// Told when it is added or changed: words that the catalogue in force does not know.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<FindingView>,
}

/// A technician.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTechnician {
    /// Name.
    #[schema(min_length = 1, max_length = 64)]
    pub name: String,
    /// Skills.
    #[schema(max_items = 50, example = json!(["general", "brakes"]))]
    pub skills: Vec<String>,
    /// What certifies them. A skill that nothing certifies counts by the shop's word; one whose certificates have all run
    /// out does not count.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub certificates: Vec<Certificate>,
}

/// A certificate of a skill.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Certificate {
    /// The skill, one of the technician's.
    #[schema(example = "high_voltage", min_length = 1, max_length = 64)]
    pub skill: String,
    /// The document, by its title and number.
    #[schema(
        example = "work on live vehicles, no. 4471",
        min_length = 1,
        max_length = 200,
        pattern = r"\S"
    )]
    pub document: String,
    /// Who issued it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200)]
    pub issued_by: Option<String>,
    /// It counts until then; none: for good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<DateTime<Utc>>,
}

/// A technician as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TechnicianView {
    /// Their id.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Skills.
    pub skills: Vec<String>,
    /// What certifies them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub certificates: Vec<Certificate>,
    /// Skills that do not count now, because every certificate has run out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lapsed: Vec<String>,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
    /// No longer here.
    pub retired: bool,
    /// Told when it is added or changed: words that the catalogue in force does not know.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<FindingView>,
}

/// A unit of shared equipment.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewEquipment {
    /// Name, unique in the shop.
    #[schema(min_length = 1, max_length = 64)]
    pub name: String,
    /// Kind, a word of the catalogue.
    #[schema(min_length = 1, max_length = 64, example = "scan_tool")]
    pub kind: String,
    /// Its calibration runs out then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibrated_until: Option<DateTime<Utc>>,
}

/// A unit of equipment as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EquipmentView {
    /// Its id.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Kind.
    pub kind: String,
    /// Its calibration runs out then.
    pub calibrated_until: Option<DateTime<Utc>>,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
    /// Told when it is added or changed: words that the catalogue in force does not know.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<FindingView>,
}

/// A technician's working time, repeated by an RRULE (RFC 5545).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewShift {
    /// The technician.
    pub technician: Uuid,
    /// The first occurrence, in the shop's local time.
    #[schema(value_type = String, example = "2026-11-02T07:30:00", pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}$")]
    pub starts_local: NaiveDateTime,
    /// Its length in minutes that pass: the night in which the clocks change does not make it shorter or longer.
    #[schema(minimum = 0, maximum = 1440)]
    pub minutes: i32,
    /// How it repeats; without it, once. An occurrence whose beginning the clocks leave out does not happen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR", max_length = 256)]
    pub rrule: Option<String>,
    /// Days on which it does not happen: those on which it would begin. A day more is a shift of its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 400)]
    pub except_dates: Vec<NaiveDate>,
}

/// A shift as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ShiftView {
    /// Its id.
    pub id: Uuid,
    /// The technician.
    pub technician: Uuid,
    /// The first occurrence, in the shop's local time.
    #[schema(value_type = String, example = "2026-11-02T07:30:00")]
    pub starts_local: NaiveDateTime,
    /// Its length.
    pub minutes: i32,
    /// How it repeats.
    pub rrule: Option<String>,
    /// Days on which it does not happen.
    pub except_dates: Vec<NaiveDate>,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
    /// No longer in force.
    pub retired: bool,
}

/// A technician is away, a bay or a unit is out of service.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAbsence {
    /// The technician, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Uuid>,
    /// the bay, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// the unit of equipment: exactly one of the three.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equipment: Option<Uuid>,
    /// From; without it, now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_at: Option<DateTime<Utc>>,
    /// Until; without it, unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until_at: Option<DateTime<Utc>>,
    /// Why.
    #[schema(min_length = 1, max_length = 500, pattern = r"\S")]
    pub reason: String,
}

/// The end of an absence becomes known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EndAbsence {
    /// Until.
    pub until_at: DateTime<Utc>,
}

/// An absence as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AbsenceView {
    /// Its id.
    pub id: Uuid,
    /// The technician.
    pub technician: Option<Uuid>,
    /// The bay.
    pub bay: Option<Uuid>,
    /// The unit of equipment.
    pub equipment: Option<Uuid>,
    /// From.
    pub from_at: DateTime<Utc>,
    /// Until; none: unknown.
    pub until_at: Option<DateTime<Utc>>,
    /// Why.
    pub reason: String,
    /// Version; the `ETag` is `"v<version>"`.
    pub version: i64,
}
