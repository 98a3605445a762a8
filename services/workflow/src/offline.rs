//! What a shop's catalogue says of one order, without a server or a database.

use chrono::{DateTime, Utc};
use contract::orders::{DerivationView, NewOrder};
use derivation::index::Compiled;
use domain::catalogue::Catalogue;

use crate::reading::Reader;
use crate::refusal::Refusal;
use crate::{checks, intake, vehicle_identity};

/// Derives an order as `POST /v1/derivations` does, without a shop's own words.
pub fn derive(
    catalogue: Catalogue,
    order: &NewOrder,
    now: DateTime<Utc>,
) -> Result<DerivationView, Refusal> {
    let version = catalogue.version.clone();
    let compiled = Compiled::new(catalogue);
    let mut faults = checks::order(&compiled, order);
    let (found, vin_faults) = vehicle_identity::check(&order.vehicle, now);
    faults.extend(vin_faults);
    if !faults.is_empty() {
        return Err(Refusal::unprocessable(faults));
    }
    Ok(intake::preview(&version, &compiled, &Reader::default(), order, found))
}
