//! `catalogue check`: every fault of a document.

use std::path::Path;

use derivation::document::{self, Limits};

use crate::{Outcome, documents};

/// Prints every fault with line and column; the outcome says whether there are any.
pub(crate) fn check(file: &Path) -> Outcome {
    match document::read(&documents::bytes(file)?, Limits::default()) {
        Ok(catalogue) => documents::print(&format!(
            "{}: version {}, {} procedures, {} rules, no faults",
            file.display(),
            catalogue.version,
            catalogue.procedures.len(),
            catalogue.rules.len()
        )),
        Err(faults) => {
            for fault in &faults {
                documents::print(&format!("{}:{fault}", file.display()))?;
            }
            Err(format!("{} faults", faults.len()).into())
        }
    }
}
