//! The catalogue that a new shop begins with, and documents from files.

use std::io::Read as _;
use std::path::Path;

use derivation::document::{self, Limits};
use domain::catalogue::Catalogue;

use crate::Outcome;

/// The starter catalogue.
pub(crate) fn catalogue() -> Outcome<Catalogue> {
    Err("this build carries no starter catalogue: name a document with --catalogue".into())
}

/// The catalogue in a file.
pub(crate) fn read(file: &Path) -> Outcome<Catalogue> {
    document::read(&bytes(file)?, Limits::default()).map_err(|faults| {
        let lines: Vec<String> =
            faults.iter().map(|fault| format!("\n{}:{fault}", file.display())).collect();
        format!("the catalogue has faults:{}", lines.concat()).into()
    })
}

/// The bytes of a file; `-` is standard input.
pub(crate) fn bytes(file: &Path) -> Outcome<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = if file == Path::new("-") {
        std::io::stdin().read_to_end(&mut bytes).map(drop)
    } else {
        std::fs::read(file).map(|found| bytes = found)
    };
    read.map_err(|error| format!("{}: {error}", file.display()))?;
    Ok(bytes)
}
