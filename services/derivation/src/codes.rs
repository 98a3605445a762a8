//! Diagnostic trouble codes (SAE J2012): their five-character form, their two-byte form, and patterns.

use std::fmt;
use std::str::FromStr;

use serde::Serialize;

/// A trouble code as the two bytes that travel over the diagnostic connection.
///
/// The highest two bits name the system (P, C, B, U), the next two the first digit, the rest three hexadecimal digits
/// (SAE J2012, SAE J1979; public knowledge, the standards were not at hand).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TroubleCode(u16);

const SYSTEMS: [char; 4] = ['P', 'C', 'B', 'U'];

/// Why a text is no trouble code or pattern.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not a trouble code: P, C, B or U, a digit 0 to 3, then three hexadecimal digits")]
pub struct NotACode(String);

impl TroubleCode {
    /// From the two bytes; `None` for `0000`, which only pads a message.
    pub fn from_bytes(bytes: [u8; 2]) -> Option<Self> {
        Some(u16::from_be_bytes(bytes)).filter(|&code| code != 0).map(Self)
    }

    /// As two bytes, high byte first.
    pub fn to_bytes(self) -> [u8; 2] {
        self.0.to_be_bytes()
    }
}

impl fmt::Display for TroubleCode {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let system = SYSTEMS[usize::from(self.0 >> 14)];
        write!(formatter, "{system}{:04X}", self.0 & 0x3FFF)
    }
}

impl FromStr for TroubleCode {
    type Err = NotACode;

    fn from_str(text: &str) -> Result<Self, NotACode> {
        let pattern: CodePattern = text.parse()?;
        // Padding is no code, neither in bytes nor in letters.
        if pattern.mask != u16::MAX || pattern.value == 0 {
            return Err(NotACode(text.to_owned()));
        }
        Ok(Self(pattern.value))
    }
}

impl Serialize for TroubleCode {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A code in which `x` stands for any digit: `P05xx`. The system's letter stands always.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct CodePattern {
    value: u16,
    mask: u16,
}

impl CodePattern {
    /// Whether the code is one of those that the pattern stands for.
    pub fn matches(self, code: TroubleCode) -> bool {
        code.0 & self.mask == self.value
    }
}

impl FromStr for CodePattern {
    type Err = NotACode;

    fn from_str(text: &str) -> Result<Self, NotACode> {
        parse_pattern(text.trim()).ok_or_else(|| NotACode(text.to_owned()))
    }
}

fn parse_pattern(text: &str) -> Option<CodePattern> {
    let &[letter, ref digits @ ..] = text.as_bytes() else { return None };
    let system =
        SYSTEMS.iter().position(|&system| system == char::from(letter.to_ascii_uppercase()))?;
    let (mut value, mut mask) = (u16::try_from(system).ok()?, 0b11);
    if digits.len() != 4 {
        return None;
    }
    for (index, &digit) in digits.iter().enumerate() {
        // The first digit has two bits beside the system's two.
        let (bits, limit) = if index == 0 { (2, 4) } else { (4, 16) };
        let (number, known) = match digit.to_ascii_lowercase() {
            b'x' => (0, 0),
            other => (char::from(other).to_digit(limit)?, limit - 1),
        };
        value = value << bits | u16::try_from(number).ok()?;
        mask = mask << bits | u16::try_from(known).ok()?;
    }
    Some(CodePattern { value, mask })
}
