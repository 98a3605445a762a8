//! What an order says of its vehicle's identity, checked.

use chrono::{DateTime, Datelike as _, Utc};
use contract::orders::FindingView;
use contract::problem::FieldFault;
use derivation::vin;
use domain::vehicle::VehicleFacts;

use crate::checks::fault;

/// Findings to show, and faults that refuse the order.
pub(crate) fn check(
    vehicle: &VehicleFacts,
    now: DateTime<Utc>,
) -> (Vec<FindingView>, Vec<FieldFault>) {
    let finding = |code: &str, detail: String| FindingView { code: code.to_owned(), detail };
    let Some(number) = &vehicle.vin else {
        let unidentified = vehicle.identity.is_none() && vehicle.plate.is_none();
        let detail = "the order has no VIN, plate or other identity of its vehicle".to_owned();
        return (
            unidentified.then(|| finding("vehicle_unidentified", detail)).into_iter().collect(),
            Vec::new(),
        );
    };
    // Next year's models are on the road this year.
    let report =
        vin::check(number, vehicle.market.as_deref(), vehicle.model_year, Some(now.year() + 1));
    let (errors, findings): (Vec<_>, Vec<_>) = report.findings.into_iter().partition(|f| f.error);
    (
        findings.into_iter().map(|f| finding(f.code, f.detail)).collect(),
        errors.into_iter().map(|f| fault("/vehicle/vin", f.detail)).collect(),
    )
}
