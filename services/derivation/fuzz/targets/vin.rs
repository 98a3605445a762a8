//! Any text is a VIN or is told what is wrong with it.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    let _ = derivation::vin::check(text, Some("US"), Some(2019), Some(2027));
});
