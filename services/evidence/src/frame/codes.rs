//! Trouble codes as SAE J2012 writes them.

use crate::sample::Code;

/// A code of two bytes; `None` for the padding `0000`.
pub fn two_bytes(high: u8, low: u8) -> Option<String> {
    let system = ['P', 'C', 'B', 'U'][usize::from(high >> 6)];
    let first = (high >> 4) & 0b11;
    (high != 0 || low != 0).then(|| format!("{system}{first}{:X}{low:02X}", high & 0x0F))
}

/// A code of three bytes (the third is the failure type) with its status byte.
pub fn with_status(high: u8, low: u8, failure: u8, status: u8) -> Option<Code> {
    let code = two_bytes(high, low)?;
    Some(Code { code: format!("{code}-{failure:02X}"), status: Some(status) })
}
