//! Vehicles, across orders.

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
    /// Its orders, newest first.
    pub orders: Vec<OrderSummary>,
}
