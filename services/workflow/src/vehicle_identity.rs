//! What an order says of its vehicle's identity, checked.

use chrono::{DateTime, Utc};
use contract::orders::FindingView;
use contract::problem::FieldFault;
use domain::vehicle::VehicleFacts;

/// Findings to show, and faults that refuse the order.
pub(crate) fn check(
    vehicle: &VehicleFacts,
    _now: DateTime<Utc>,
) -> (Vec<FindingView>, Vec<FieldFault>) {
    let mut findings = Vec::new();
    if vehicle.vin.is_none() && vehicle.identity.is_none() && vehicle.plate.is_none() {
        findings.push(FindingView {
            code: "vehicle_unidentified".to_owned(),
            detail: "the order has no VIN, plate or other identity of its vehicle".to_owned(),
        });
    }
    (findings, Vec::new())
}
