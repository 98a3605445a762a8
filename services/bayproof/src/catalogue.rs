//! `catalogue check`: every fault of a document.

use std::path::Path;

use derivation::check;
use derivation::document::{Document, Limits};

use crate::{Outcome, documents};

/// Prints every fault with line and column, and what a keeper should look at; the outcome says whether there are faults.
pub(crate) fn check(file: &Path) -> Outcome {
    let bytes = documents::bytes(file)?;
    let (read, report) = check::examine(&bytes, Limits::default());
    for note in &report.notes {
        documents::print(&format!("{}:{note} (note)", file.display()))?;
    }
    let summary = read.map_or(String::new(), |Document { catalogue, .. }| {
        format!(
            "{}: version {}, {} procedures, {} rules, no faults",
            file.display(),
            catalogue.version,
            catalogue.procedures.len(),
            catalogue.rules.len()
        )
    });
    let faults = report.faults;
    for fault in &faults {
        documents::print(&format!("{}:{fault}", file.display()))?;
    }
    if faults.is_empty() {
        documents::print(&summary)
    } else {
        let faults = faults.len();
        Err(if faults == 1 { "one fault".to_owned() } else { format!("{faults} faults") }.into())
    }
}
