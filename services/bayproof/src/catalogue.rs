//! `catalogue check`: every fault of a document.

use std::path::Path;

use derivation::document::{self, Limits};

use crate::{Outcome, starter};

/// Prints every fault with line and column; the outcome says whether there are any.
pub(crate) fn check(file: &Path) -> Outcome {
    match document::read(&starter::bytes(file)?, Limits::default()) {
        Ok(catalogue) => {
            println!(
                "{}: version {}, {} procedures, {} rules, no faults",
                file.display(),
                catalogue.version,
                catalogue.procedures.len(),
                catalogue.rules.len()
            );
            Ok(())
        }
        Err(faults) => {
            for fault in &faults {
                println!("{}:{fault}", file.display());
            }
            Err(format!("{} faults", faults.len()).into())
        }
    }
}
