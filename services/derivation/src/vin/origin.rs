//! Who gave the maker's identifier out: region and country (ISO 3780), and the identifier itself.

use serde::Serialize;

use super::LENGTH;

/// A region of ISO 3780.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Region {
    /// First character A to C.
    Africa,
    /// First character H or J to R.
    Asia,
    /// First character S to Z.
    Europe,
    /// First character 1 to 5 or 7.
    NorthAmerica,
    /// First character 6.
    Oceania,
    /// First character 8 or 9.
    SouthAmerica,
}

/// `None` for first characters that public tables disagree on (D to G, 0).
pub(super) fn region(number: &[u8; LENGTH]) -> Option<Region> {
    Some(match number[0] {
        b'A'..=b'C' => Region::Africa,
        b'H' | b'J'..=b'R' => Region::Asia,
        b'S'..=b'Z' => Region::Europe,
        b'1'..=b'5' | b'7' => Region::NorthAmerica,
        b'6' => Region::Oceania,
        b'8' | b'9' => Region::SouthAmerica,
        _ => return None,
    })
}

/// Positions 1 to 3; a 9 in the third says that 12 to 14 belong to it too (49 CFR 565.15(a)).
pub(super) fn maker(number: &[u8; LENGTH]) -> String {
    let more: &[u8] = if number[2] == b'9' { &number[11..14] } else { &[] };
    number[..3].iter().chain(more).map(|&byte| char::from(byte)).collect()
}

/// First character, the second characters from and to, country (ISO 3166-1). Only ranges on which two public tables
/// (the crate `vin_parser` 1.0 and the Python package `vininfo` 1.8) do not differ; the standard was not at hand.
const COUNTRIES: &[(u8, &[u8; 2], &str)] = &[
    (b'A', b"AH", "ZA"),
    (b'J', b"A0", "JP"),
    (b'K', b"LR", "KR"),
    (b'L', b"A0", "CN"),
    (b'M', b"AE", "IN"),
    (b'M', b"FK", "ID"),
    (b'M', b"LR", "TH"),
    (b'N', b"LR", "TR"),
    (b'P', b"AE", "PH"),
    (b'P', b"LR", "MY"),
    (b'R', b"FK", "TW"),
    (b'S', b"AM", "GB"),
    (b'S', b"NT", "DE"),
    (b'S', b"UZ", "PL"),
    (b'T', b"AH", "CH"),
    (b'T', b"JP", "CZ"),
    (b'T', b"RV", "HU"),
    (b'U', b"UZ", "RO"),
    (b'V', b"AE", "AT"),
    (b'V', b"FR", "FR"),
    (b'V', b"SU", "ES"),
    (b'W', b"A0", "DE"),
    (b'X', b"LR", "NL"),
    (b'Y', b"AE", "BE"),
    (b'Y', b"FK", "FI"),
    (b'Y', b"SW", "SE"),
    (b'Z', b"AR", "IT"),
    (b'1', b"A0", "US"),
    (b'2', b"A0", "CA"),
    (b'3', b"AW", "MX"),
    (b'4', b"A0", "US"),
    (b'5', b"A0", "US"),
    (b'6', b"AW", "AU"),
    (b'8', b"AE", "AR"),
    (b'9', b"AE", "BR"),
];

pub(super) fn country(number: &[u8; LENGTH]) -> Option<&'static str> {
    let second = rank(number[1])?;
    COUNTRIES
        .iter()
        .find(|(first, range, _)| {
            *first == number[0] && rank(range[0]) <= Some(second) && Some(second) <= rank(range[1])
        })
        .map(|(_, _, country)| *country)
}

/// The order of second characters: A to Z, then 1 to 9, then 0.
fn rank(byte: u8) -> Option<usize> {
    b"ABCDEFGHJKLMNPRSTUVWXYZ1234567890".iter().position(|&known| known == byte)
}
