//! Invented vehicle identification numbers that are right in form.

/// What a letter counts, and the weight of each position (49 CFR 565.15).
const VALUES: &[(char, u32)] = &[
    ('A', 1),
    ('B', 2),
    ('C', 3),
    ('D', 4),
    ('E', 5),
    ('F', 6),
    ('G', 7),
    ('H', 8),
    ('J', 1),
    ('K', 2),
    ('L', 3),
    ('M', 4),
    ('N', 5),
    ('P', 7),
    ('R', 9),
    ('S', 2),
    ('T', 3),
    ('U', 4),
    ('V', 5),
    ('W', 6),
    ('X', 7),
    ('Y', 8),
    ('Z', 9),
];
const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
/// Codes of the model years from 2010 on (49 CFR 565.15).
const YEARS: &[u8] = b"ABCDEFGHJKLMNPRSTVWXY";

/// A number of an invented maker of few vehicles (9 in position 3), with its check digit, for a model year from 2010
/// to 2030. `serial` tells vehicles apart, up to a million of them.
pub fn invented(model_year: i32, serial: u32) -> String {
    let year = usize::try_from(model_year - 2010).unwrap_or(0) % YEARS.len();
    // Positions 12 to 14 belong to the identifier of a maker of few vehicles; the series takes positions 4 to 6.
    let (high, low) = (serial / 1_000 % 1_000, serial % 1_000);
    let body = format!("1H9{high:03}EB0{}A042{low:03}", char::from(YEARS[year]));
    let digit = check_digit(&body);
    let mut characters: Vec<char> = body.chars().collect();
    characters[8] = digit;
    characters.into_iter().collect()
}

fn check_digit(vin: &str) -> char {
    let value =
        |c: char| c.to_digit(10).or_else(|| VALUES.iter().find(|(l, _)| *l == c).map(|(_, v)| *v));
    let sum: u32 = vin.chars().zip(WEIGHTS).map(|(c, weight)| value(c).unwrap_or(0) * weight).sum();
    char::from_digit(sum % 11, 10).unwrap_or('X')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of 49 CFR 565.15(c): 1G4AH59H45G118341 carries the digit 4.
    #[test]
    fn the_check_digit_is_the_regulations() {
        assert_eq!(check_digit("1G4AH59H05G118341"), '4');
    }

    #[test]
    fn every_serial_is_another_vehicle() {
        let (one, other) = (invented(2019, 41), invented(2019, 1_041));
        assert_ne!(one, other);
        assert_eq!((one.len(), one.chars().nth(9)), (17, Some('K')));
    }
}
