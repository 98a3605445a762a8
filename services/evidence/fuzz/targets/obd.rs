//! Any bytes as an answer of SAE J1979: decoded or refused, and what is decoded can be kept.

#![no_main]

use evidence::frame::{Protocol, decode};
use evidence::sample::Kind;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    for kind in decode(Protocol::Obd, bytes).unwrap_or_default() {
        let text = serde_json::to_string(&kind).expect("writes");
        assert_eq!(serde_json::from_str::<Kind>(&text).expect("reads"), kind);
    }
});
