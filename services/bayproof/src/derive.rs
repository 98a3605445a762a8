//! `derive`: one order, without a server or a database.

use chrono::DateTime;

use crate::cli::DeriveSettings;
use crate::{Outcome, starter, token};

/// Prints the derivation of an order.
pub(crate) fn run(settings: &DeriveSettings) -> Outcome {
    let catalogue = match &settings.catalogue {
        Some(file) => starter::read(file)?,
        None => starter::catalogue()?,
    };
    let order = serde_json::from_slice(&starter::bytes(&settings.order)?)
        .map_err(|error| format!("{}: {error}", settings.order.display()))?;
    let now = DateTime::from_timestamp(token::real_time(), 0).unwrap_or_default();
    let derived = workflow::offline::derive(catalogue, &order, now)?;
    println!("{}", serde_json::to_string_pretty(&derived)?);
    Ok(())
}
