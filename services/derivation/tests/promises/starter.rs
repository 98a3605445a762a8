//! What the starter catalogue promises.

use std::collections::BTreeSet;
use std::path::Path;

use derivation::check::check;
use derivation::document::{Limits, read};
use derivation::starter;

#[test]
fn every_file_of_the_starter_catalogue_is_part_of_it() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/catalogue");
    let files: BTreeSet<String> = std::fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    let parts: BTreeSet<String> = starter::PARTS.iter().map(|(name, _)| (*name).into()).collect();
    assert_eq!(files, parts);
}

#[test]
fn the_starter_catalogue_passes_its_own_check() {
    let catalogue = starter::catalogue().expect("reads");
    assert!(catalogue.procedures.len() >= 70, "{}", catalogue.procedures.len());
    let text = serde_json::to_string_pretty(&catalogue).expect("writes");
    let document = read(text.as_bytes(), Limits::default()).expect("reads");
    assert_eq!(document.catalogue, catalogue);
    let report = check(&document.catalogue, &document.positions);
    let told: Vec<String> =
        report.faults.iter().chain(&report.notes).map(ToString::to_string).collect();
    assert!(told.is_empty(), "{}", told.join("\n"));
}
