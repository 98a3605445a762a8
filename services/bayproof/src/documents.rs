//! Documents from files and to standard output, and the catalogue that a new shop begins with.

use std::error::Error;
use std::io::{ErrorKind, Read as _, Write as _};
use std::path::Path;

use derivation::document::{self, Fault, Limits};
use derivation::starter;
use domain::catalogue::Catalogue;

use crate::Outcome;

/// The catalogue in this file, or the starter catalogue.
pub(crate) fn catalogue(file: Option<&Path>) -> Outcome<Catalogue> {
    let Some(file) = file else {
        return starter::catalogue().map_err(|faults| refusal(&faults));
    };
    let name = file.display().to_string();
    let bytes = bytes(file)?;
    let read = document::read(&bytes, Limits::default()).map_err(|faults| {
        refusal(&faults.into_iter().map(|fault| (name.clone(), fault)).collect::<Vec<_>>())
    })?;
    Ok(read.catalogue)
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

/// Prints a line or several. A reader that has seen enough (`| head`) is no fault.
pub(crate) fn print(text: &str) -> Outcome {
    match writeln!(std::io::stdout(), "{text}") {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}

fn refusal(faults: &[(String, Fault)]) -> Box<dyn Error> {
    let lines: Vec<String> =
        faults.iter().map(|(file, fault)| format!("\n{file}:{fault}")).collect();
    format!("the catalogue has faults:{}", lines.concat()).into()
}
