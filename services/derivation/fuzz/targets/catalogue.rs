//! Any bytes are a catalogue or a list of faults with places; what is read can be checked and derived with.
#![no_main]

use derivation::check::check;
use derivation::derive::derive;
use derivation::document::{Document, Limits, read};
use derivation::index::Compiled;
use derivation::repair::Repair;
use domain::vehicle::VehicleFacts;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let limits = Limits { values: 20_000, ..Limits::default() };
    match read(bytes, limits) {
        Err(faults) => {
            assert!(!faults.is_empty(), "refused without a reason");
            assert!(faults.iter().all(|fault| fault.line > 0 && fault.column > 0));
        }
        Ok(Document { catalogue, positions }) => {
            check(&catalogue, &positions);
            let json = serde_json::to_vec(&catalogue).expect("writes");
            let again = read(&json, Limits::default()).expect("reads what it wrote");
            assert_eq!(again.catalogue, catalogue);
            check(&again.catalogue, &again.positions);
            let vehicle = VehicleFacts::default();
            let codes = ["P0507".to_owned()];
            let repair = Repair {
                vehicle: &vehicle,
                lines: &[],
                trouble_codes: &codes,
                complaints: &[],
                observed: &[],
            };
            let compiled = Compiled::new(catalogue);
            derive(&compiled, &repair);
        }
    }
});
