//! The check digit in position 9 (49 CFR 565.15(c)).

use super::{Finding, LENGTH, Region};

/// Table IV: the weight of each position; position 9 is the digit itself.
const WEIGHTS: [u32; LENGTH] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// Table III: the value of a character, `None` for one that no number may hold.
pub(super) fn value(byte: u8) -> Option<u32> {
    Some(match byte {
        b'0'..=b'9' => u32::from(byte - b'0'),
        b'A'..=b'H' => u32::from(byte - b'A') + 1,
        b'J'..=b'N' => u32::from(byte - b'J') + 1,
        b'P' => 7,
        b'R' => 9,
        b'S'..=b'Z' => u32::from(byte - b'S') + 2,
        _ => return None,
    })
}

/// The digit that belongs in position 9: the weighted sum's remainder by 11, `X` for ten (Table V).
pub(super) fn expected(number: &[u8; LENGTH]) -> u8 {
    let sum: u32 = number
        .iter()
        .zip(WEIGHTS)
        .map(|(&byte, weight)| value(byte).unwrap_or_default() * weight)
        .sum();
    b"0123456789X"[sum as usize % 11]
}

/// `bound` says that the vehicle's market makes the digit binding.
pub(super) fn finding(
    number: &[u8; LENGTH],
    bound: bool,
    region: Option<Region>,
) -> Option<Finding> {
    let (found, expected) = (char::from(number[8]), char::from(expected(number)));
    if found == expected {
        return None;
    }
    let meaning = if bound {
        "the market of this vehicle makes the digit binding, so a character was mistaken"
    } else if !found.is_ascii_digit() && found != 'X' {
        "it is no check digit, as is common outside North America"
    } else if region == Some(Region::NorthAmerica) {
        "most North American numbers carry one: compare the number with the vehicle"
    } else {
        "outside the United States and Canada the digit is not binding: compare the number with the vehicle"
    };
    Some(Finding {
        code: "vin_check_digit",
        detail: format!(
            "Position 9 holds {found} where the check digit would be {expected}; {meaning}."
        ),
        error: bound,
    })
}
