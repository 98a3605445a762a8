//! SAE J2012: the standard is sold and was not opened; its two-byte form is public knowledge, and the samples below are
//! what python-OBD 0.7.3 decodes from the same bytes.

use derivation::codes::{CodePattern, TroubleCode};
use proptest::prelude::*;

fn code(text: &str) -> TroubleCode {
    text.parse().expect("a code")
}

#[test]
fn a_code_has_one_two_byte_form() {
    for (bytes, text) in [
        ([0x01, 0x33], "P0133"),
        ([0x03, 0x00], "P0300"),
        ([0x04, 0x20], "P0420"),
        ([0x05, 0x62], "P0562"),
        ([0x07, 0x00], "P0700"),
        ([0x12, 0x34], "P1234"),
        ([0x3F, 0xFF], "P3FFF"),
        ([0x40, 0x35], "C0035"),
        ([0x41, 0x23], "C0123"),
        ([0x47, 0x50], "C0750"),
        ([0x80, 0x01], "B0001"),
        ([0x92, 0x34], "B1234"),
        ([0xA0, 0xF0], "B20F0"),
        ([0xBF, 0xFF], "B3FFF"),
        ([0xC1, 0x00], "U0100"),
        ([0xC1, 0x21], "U0121"),
        ([0xC1, 0x58], "U0158"),
        ([0xE0, 0x00], "U2000"),
        ([0xFF, 0xFF], "U3FFF"),
    ] {
        let decoded = TroubleCode::from_bytes(bytes).expect("not padding");
        assert_eq!(decoded.to_string(), text);
        assert_eq!(code(text).to_bytes(), bytes);
    }
    assert_eq!(TroubleCode::from_bytes([0, 0]), None, "padding is no code");
    assert!("P0000".parse::<TroubleCode>().is_err(), "padding is no code");
}

#[test]
fn what_is_not_a_code_is_refused() {
    for text in
        ["", "P", "P05", "P05071", "X0507", "P4507", "P05G7", "P05xx", "0507", "P 507", "Ｐ0507"]
    {
        assert!(text.parse::<TroubleCode>().is_err(), "{text:?}");
    }
    assert_eq!(code(" p0a1f ").to_string(), "P0A1F", "case and blanks do not matter");
}

#[test]
fn a_pattern_stands_for_every_code_with_its_digits() {
    let pattern: CodePattern = "P05xx".parse().expect("a pattern");
    assert!(pattern.matches(code("P0507")) && pattern.matches(code("P05FF")));
    assert!(!pattern.matches(code("P0607")) && !pattern.matches(code("C0507")));
    assert!("U0xxx".parse::<CodePattern>().expect("a pattern").matches(code("U0158")));
    for text in ["xxxxx", "P05x", "P0-xx", "P9xxx"] {
        assert!(text.parse::<CodePattern>().is_err(), "{text:?}");
    }
}

proptest! {
    #[test]
    fn every_two_bytes_survive_the_way_to_text_and_back(bytes: [u8; 2]) {
        if let Some(decoded) = TroubleCode::from_bytes(bytes) {
            prop_assert_eq!(code(&decoded.to_string()), decoded);
            prop_assert_eq!(decoded.to_bytes(), bytes);
        }
    }

    #[test]
    fn no_text_stops_the_code_reader(text in "\\PC{0,8}") {
        let _ = text.parse::<TroubleCode>();
        let _ = text.parse::<CodePattern>();
    }
}
