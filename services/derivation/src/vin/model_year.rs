//! The model year in position 10 (49 CFR 565.15, Table VII and its note): a candidate, never a fact.

use super::{Finding, LENGTH};

/// Table VII: one code per year from 1980, repeated after thirty years.
const CODES: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";
const FIRST: i32 = 1980;
const PERIOD: i32 = 30;

/// The years that the code stands for, the likeliest first.
///
/// A letter in position 7 means 2010 or later and a digit an earlier year on light vehicles; heavy ones carried
/// letters there before, so a year after `latest_year` falls back by thirty.
pub(super) fn candidates(number: &[u8; LENGTH], latest_year: Option<i32>) -> Vec<i32> {
    let Some(index) = CODES
        .iter()
        .position(|&code| code == number[9])
        .and_then(|index| i32::try_from(index).ok())
    else {
        return Vec::new();
    };
    let (early, late) = (FIRST + index, FIRST + PERIOD + index);
    if latest_year.is_some_and(|latest| late > latest) {
        vec![early]
    } else if number[6].is_ascii_alphabetic() {
        vec![late, early]
    } else {
        vec![early, late]
    }
}

/// `north_american` says that the number has to follow the regulation; elsewhere position 10 is the maker's own.
pub(super) fn finding(
    number: &[u8; LENGTH],
    candidates: &[i32],
    stated: Option<i32>,
    north_american: bool,
) -> Option<Finding> {
    let code = char::from(number[9]);
    let Some(&likeliest) = candidates.first() else {
        return north_american.then(|| Finding {
            code: "vin_year_code",
            detail: format!("{code} in position 10 stands for no model year (49 CFR 565.15)."),
            error: false,
        });
    };
    let stated = stated.filter(|&stated| stated != likeliest)?;
    let read = match candidates.contains(&stated) {
        true if !north_american => return None,
        true => format!("position 7 speaks for {likeliest}, except on a heavy vehicle"),
        false if north_american => format!("position 10 speaks for {likeliest}"),
        false => format!(
            "position 10 would mean {likeliest}, though outside North America it need not hold the year"
        ),
    };
    Some(Finding {
        code: "vin_model_year_differs",
        detail: format!("The order states model year {stated}; {read}."),
        error: false,
    })
}
