//! `derive`: one order, without a server or a database.

use chrono::DateTime;

use crate::cli::DeriveSettings;
use crate::{Outcome, documents, token};

/// Prints the derivation of an order.
pub(crate) fn run(settings: &DeriveSettings) -> Outcome {
    let catalogue = documents::catalogue(settings.catalogue.as_deref())?;
    let at = |what: String| format!("{}: {what}", settings.order.display());
    let text = String::from_utf8(documents::bytes(&settings.order)?)
        .map_err(|error| at(format!("not UTF-8 from byte {}", error.utf8_error().valid_up_to())))?;
    let order = serde_json::from_str(&text).map_err(|error| at(error.to_string()))?;
    let now = DateTime::from_timestamp(token::real_time(), 0).unwrap_or_default();
    let derived = workflow::offline::derive(catalogue, &order, now)?;
    documents::print(&serde_json::to_string_pretty(&derived)?)
}
