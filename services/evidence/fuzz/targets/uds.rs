//! Any bytes as an answer of ISO 14229-1: decoded or refused; a routine's answer gives back its bytes.

#![no_main]

use evidence::frame::{Protocol, decode};
use evidence::sample::{Kind, RoutineAnswer};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    for kind in decode(Protocol::Uds, bytes).unwrap_or_default() {
        if let Kind::Routine { identifier, sub, status } = kind {
            let sub = match sub {
                RoutineAnswer::Started => "01",
                RoutineAnswer::Stopped => "02",
                RoutineAnswer::Results => "03",
            };
            let shown: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
            assert_eq!(format!("71{sub}{identifier}{status}"), shown);
        }
    }
});
