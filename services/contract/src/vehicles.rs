//! Vehicles, across orders.

use chrono::{DateTime, Utc};
use domain::start::{OpenBracket, VehicleHold};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::orders::OrderSummary;

/// A vehicle as everybody sees it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VehicleView {
    /// Its id.
    pub id: Uuid,
    /// VIN, if it has one.
    pub vin: Option<String>,
    /// How it is known without a VIN.
    pub identity: Option<String>,
    /// Registration plate.
    pub plate: Option<String>,
    /// What runs on it now.
    pub busy_with: Vec<String>,
    /// Service modes that stand open.
    pub open_brackets: Vec<OpenBracket>,
    /// Holds.
    pub holds: Vec<VehicleHold>,
    /// Locks that are a person's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub locks: Vec<LockView>,
    /// It is away from the premises.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub away: Option<DepartureView>,
    /// Its orders, newest first.
    pub orders: Vec<OrderSummary>,
}

/// The lock of a service mode.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LockView {
    /// The service mode, for example `high_voltage_isolated`.
    pub mode: String,
    /// Whose lock it is.
    pub holder: Uuid,
    /// To whom it is offered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offered_to: Option<Uuid>,
}

/// Pass a lock on: its holder offers it, the other accepts, each with their own token.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLockTransfer {
    /// The service mode, for example `high_voltage_isolated`.
    #[schema(min_length = 1, max_length = 64)]
    pub mode: String,
    /// Offer it to this technician.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Uuid>,
    /// Accept what was offered to me.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub accept: bool,
}

/// The vehicle leaves the premises without being released.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDeparture {
    /// The open order it leaves on.
    pub order: Uuid,
    /// What kind of departure it is.
    pub kind: DepartureKind,
    /// Why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
    /// The technician who drives; needed for a test drive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver: Option<Uuid>,
    /// Who works on it elsewhere; needed for sublet work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200, pattern = r"\S")]
    pub provider: Option<String>,
    /// Odometer as it leaves, km.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub odometer_out: Option<i32>,
    /// When it is expected back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<Utc>>,
}

/// Kinds of departure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DepartureKind {
    /// A person of the shop drives it and brings it back.
    TestDrive,
    /// Somebody else works on it elsewhere.
    Sublet,
    /// It left with work open; the order stays open.
    LeftUnreleased,
}

impl DepartureKind {
    /// The word used in documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::TestDrive => "test_drive",
            Self::Sublet => "sublet",
            Self::LeftUnreleased => "left_unreleased",
        }
    }
}

/// The vehicle is back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReturn {
    /// Odometer as it came back, km; less than as it left is a finding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub odometer_in: Option<i32>,
    /// How it came back, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub condition: Option<String>,
}

/// A departure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DepartureView {
    /// Its id.
    pub id: Uuid,
    /// The order it left on.
    pub order: Uuid,
    /// `test_drive`, `sublet` or `left_unreleased`.
    pub kind: String,
    /// Why.
    pub reason: String,
    /// The technician who drives.
    pub driver: Option<Uuid>,
    /// Who works on it elsewhere.
    pub provider: Option<String>,
    /// Odometer as it left, km.
    pub odometer_out: Option<i32>,
    /// When it left.
    pub left_at: DateTime<Utc>,
    /// When it is expected back.
    pub due_at: Option<DateTime<Utc>>,
    /// When it came back.
    pub returned_at: Option<DateTime<Utc>>,
    /// Odometer as it came back, km.
    pub odometer_in: Option<i32>,
    /// How it came back.
    pub condition: Option<String>,
}

/// The vehicle was taken for another one: its right VIN, plate, or both.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewIdentityCorrection {
    /// The right VIN.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 32)]
    pub vin: Option<String>,
    /// The right registration plate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 32, pattern = r"\S")]
    pub plate: Option<String>,
    /// Why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
}

/// A correction of a vehicle's identity.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct IdentityCorrectionView {
    /// Its id.
    pub id: Uuid,
    /// The vehicle.
    pub vehicle: Uuid,
    /// The right VIN.
    pub vin: Option<String>,
    /// The right plate.
    pub plate: Option<String>,
    /// The VIN before.
    pub old_vin: Option<String>,
    /// The plate before.
    pub old_plate: Option<String>,
    /// Why.
    pub reason: String,
    /// When it was given.
    pub given_at: DateTime<Utc>,
    /// Who agreed; it is in force from then on.
    pub approved_by: Option<String>,
}
