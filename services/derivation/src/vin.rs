//! Vehicle identification numbers: what a number says, and where it contradicts itself or the order.
//!
//! Shape and alphabet follow ISO 3779 and 49 CFR 565.13; check digit and model year follow 49 CFR 565.15. Only a
//! vehicle built for the market of the United States (49 CFR 565.15) or Canada (CMVSS 115, from memory) must carry a
//! check digit, wherever it was built; elsewhere a digit that does not fit is told, not refused.

mod check_digit;
mod model_year;
pub mod origin;

use serde::Serialize;

use origin::Region;

/// The characters of a number (ISO 3779, 49 CFR 565.13).
pub const LENGTH: usize = 17;

/// What a number says, as far as it can be read.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct VinReport {
    /// The number without surrounding blanks and in capitals, once length and alphabet are right.
    pub normalised: Option<String>,
    /// What is wrong or worth knowing, in the order of the number's positions.
    pub findings: Vec<Finding>,
    /// The model years that position 10 allows, the likeliest first; empty when it holds no year.
    pub candidate_years: Vec<i32>,
    /// Where the maker's identifier was given out (ISO 3780).
    pub region: Option<Region>,
    /// The country of that identifier as ISO 3166-1 alpha-2: advice only, since public tables differ.
    pub country: Option<&'static str>,
    /// The maker's identifier: positions 1 to 3, with 12 to 14 for a maker of few vehicles.
    pub maker: Option<String>,
    /// Whether the maker builds few vehicles a year: a 9 in position 3 (49 CFR 565.15(a)).
    pub low_volume: bool,
}

/// One thing about a number that a person should know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// A stable word: `vin_length`, `vin_character`, `vin_check_digit`, `vin_year_code`, `vin_model_year_differs`.
    pub code: &'static str,
    /// A sentence for a person.
    pub detail: String,
    /// Whether the number can't be right and the order must be refused.
    pub error: bool,
}

impl VinReport {
    /// Whether a finding says that the number can't be right.
    pub fn is_refused(&self) -> bool {
        self.findings.iter().any(|finding| finding.error)
    }
}

/// Reads a number as it was posted.
///
/// `market` is the country that the vehicle was built for (ISO 3166-1 alpha-2), `model_year` what the order states,
/// and `latest_year` the last model year that can be on the road now (next year's, as a rule); without it no year is
/// held impossible.
pub fn check(
    vin: &str,
    market: Option<&str>,
    model_year: Option<i32>,
    latest_year: Option<i32>,
) -> VinReport {
    let mut report = VinReport::default();
    let number = match normalise(vin) {
        Ok(number) => number,
        Err(finding) => {
            report.findings.push(finding);
            return report;
        }
    };
    let bound = market.is_some_and(|market| ["US", "CA"].contains(&market));
    report.region = origin::region(&number);
    report.country = origin::country(&number);
    report.low_volume = number[2] == b'9';
    report.maker = Some(origin::maker(&number));
    report.findings.extend(check_digit::finding(&number, bound, report.region));
    let north_american = bound || report.region == Some(Region::NorthAmerica);
    report.candidate_years = model_year::candidates(&number, latest_year);
    report.findings.extend(model_year::finding(
        &number,
        &report.candidate_years,
        model_year,
        north_american,
    ));
    report.normalised = Some(number.iter().map(|&byte| char::from(byte)).collect());
    report
}

/// Trims and capitalises a number of the right length and alphabet. Anything outside ASCII is refused before letters
/// are mapped, so that no foreign digit turns into one of ours.
fn normalise(vin: &str) -> Result<[u8; LENGTH], Finding> {
    let trimmed = vin.trim_matches([' ', '\t', '\r', '\n']);
    let length = trimmed.chars().count();
    if length != LENGTH {
        return Err(Finding {
            code: "vin_length",
            detail: format!(
                "A VIN has {LENGTH} characters, this one has {length}. A vehicle without one is known by its \
                 `identity`."
            ),
            error: true,
        });
    }
    let mut number = [0; LENGTH];
    for (index, character) in trimmed.chars().enumerate() {
        let byte = u8::try_from(character).unwrap_or_default().to_ascii_uppercase();
        if check_digit::value(byte).is_none() {
            let hint = match byte {
                b'I' => "; a 1 looks like it",
                b'O' | b'Q' => "; a 0 looks like it",
                _ => "",
            };
            return Err(Finding {
                code: "vin_character",
                detail: format!(
                    "{character:?} in position {} is not used in a VIN: only digits and letters without I, O and \
                     Q{hint}.",
                    index + 1
                ),
                error: true,
            });
        }
        number[index] = byte;
    }
    Ok(number)
}
