//! Numbers from the regulation and its outline for makers, and synthetic ones around each rule
//! (`tests/vectors/vin.json` names the source of each); the crate `vin-info` as a second opinion.

use derivation::vin::origin::Region;
use derivation::vin::{self, VinReport};
use proptest::prelude::*;
use serde::Deserialize;

/// 49 CFR 565.15(c), Table VI.
const REGULATION: &str = "1G4AH59H45G118341";

#[derive(Deserialize)]
struct Vectors {
    vectors: Vec<Vector>,
}

#[derive(Deserialize)]
struct Vector {
    vin: String,
    kind: String,
    note: String,
    #[serde(default)]
    check_ok: bool,
    charset_ok: bool,
    length_ok: bool,
    year_by_pos7_rule_light_vehicle: Option<i32>,
}

fn vectors() -> Vec<Vector> {
    serde_json::from_str::<Vectors>(include_str!("../vectors/vin.json")).expect("vectors").vectors
}

fn codes(report: &VinReport) -> Vec<&'static str> {
    report.findings.iter().map(|finding| finding.code).collect()
}

fn in_us(vin: &str) -> VinReport {
    vin::check(vin, Some("US"), None, None)
}

#[test]
fn every_published_and_synthetic_vector_is_read_as_its_source_says() {
    let vectors = vectors();
    assert!(vectors.len() > 150);
    for vector in vectors {
        let report = in_us(&vector.vin);
        let note = format!("{} ({}: {})", vector.vin, vector.kind, vector.note);
        // The vectors know no trimming and no small letters; intake forgives both.
        let forgiven = matches!(vector.vin.as_str(), "1g4ah59h45g118341" | " 1G4AH59H45G118341");
        if !(forgiven || vector.charset_ok && vector.length_ok) {
            assert!(report.is_refused() && report.normalised.is_none(), "{note}");
            continue;
        }
        assert_eq!(report.is_refused(), !(forgiven || vector.check_ok), "{note}");
        if !forgiven {
            assert_eq!(
                report.candidate_years.first().copied(),
                vector.year_by_pos7_rule_light_vehicle,
                "{note}"
            );
        }
    }
}

#[test]
fn a_wrong_check_digit_refuses_only_where_the_market_makes_it_binding() {
    let wrong = "1G4AH59H55G118341";
    for market in ["US", "CA"] {
        let report = vin::check(wrong, Some(market), None, None);
        assert!(report.is_refused() && codes(&report) == ["vin_check_digit"], "{market}");
    }
    for market in [None, Some("DE"), Some("MX")] {
        let report = vin::check(wrong, market, None, None);
        assert!(!report.is_refused() && codes(&report) == ["vin_check_digit"], "{market:?}");
    }
    let built_abroad = "JZZZZZ1KZ5W000001";
    assert!(vin::check(built_abroad, Some("US"), None, None).is_refused());
    assert!(!vin::check(built_abroad, Some("JP"), None, None).is_refused());
}

#[test]
fn letters_that_look_like_digits_are_refused_and_the_place_is_named() {
    let report = vin::check("1G4AH59H45GO18341", None, None, None);
    assert!(report.is_refused());
    assert!(report.findings[0].detail.contains("position 12"), "{:?}", report.findings);
    assert!(report.findings[0].detail.contains("a 0 looks like it"));
}

#[test]
fn blanks_around_and_small_letters_are_forgiven_but_no_foreign_digit_is() {
    let report = in_us(" 1g4ah59h45g118341\n");
    assert_eq!(report.normalised.as_deref(), Some(REGULATION));
    assert!(report.findings.is_empty());
    for vin in ["1G4AH59H45G11834١", "1G4AH59H45G11834１", "1G4AH59H45G11834ß"] {
        assert_eq!(codes(&in_us(vin)), ["vin_character"], "{vin}");
    }
}

#[test]
fn a_stated_year_that_the_number_contradicts_is_told_and_never_corrected() {
    let agrees = vin::check(REGULATION, Some("US"), Some(2005), Some(2027));
    assert!(agrees.findings.is_empty());
    let differs = vin::check(REGULATION, Some("US"), Some(2006), Some(2027));
    assert_eq!(codes(&differs), ["vin_model_year_differs"]);
    assert!(!differs.is_refused());
    // Thirty years apart: only a heavy vehicle can be the other one.
    let other_cycle = vin::check("1ZZAB5CA2AA200000", Some("US"), Some(1980), Some(2027));
    assert_eq!(codes(&other_cycle), ["vin_model_year_differs"]);
    assert!(other_cycle.findings[0].detail.contains("heavy"));
}

#[test]
fn a_year_that_has_not_come_falls_back_by_thirty() {
    let number = "1ZZAB5CAX9A200029"; // a letter in position 7: 2039, or a heavy vehicle of 2009
    assert_eq!(vin::check(number, None, None, None).candidate_years, [2039, 2009]);
    assert_eq!(vin::check(number, None, None, Some(2027)).candidate_years, [2009]);
}

#[test]
fn a_number_from_elsewhere_is_taken_without_check_digit_or_year_code() {
    let report = vin::check("WZZZZZ1KZ0W000001", Some("DE"), Some(2012), Some(2027));
    assert_eq!(report.region, Some(Region::Europe));
    assert_eq!(report.country, Some("DE"));
    assert!(report.candidate_years.is_empty());
    assert_eq!(codes(&report), ["vin_check_digit"]);
    assert!(!report.is_refused());
    // The year of the code in either cycle is no contradiction there.
    let either = vin::check("WZZZZZ1KZCW000001", Some("DE"), Some(2012), Some(2027));
    assert_eq!(codes(&either), ["vin_check_digit"]);
}

#[test]
fn a_maker_of_few_vehicles_is_known_by_six_characters() {
    let report = in_us("1Z9AB5CA9TA123001");
    assert!(report.low_volume && report.findings.is_empty());
    assert_eq!(report.maker.as_deref(), Some("1Z9123"));
    assert_eq!(in_us(REGULATION).maker.as_deref(), Some("1G4"));
}

#[test]
fn regions_that_tables_agree_on_are_named_and_the_rest_left_open() {
    let region =
        |first: char| vin::check(&format!("{first}ZZZZZ1KZ5W000001"), None, None, None).region;
    for (letters, expected) in [
        ("ABC", Some(Region::Africa)),
        ("JKLMNPR", Some(Region::Asia)),
        ("STUVWXYZ", Some(Region::Europe)),
        ("12345", Some(Region::NorthAmerica)),
        ("6", Some(Region::Oceania)),
        ("89", Some(Region::SouthAmerica)),
        ("DEFG0", None),
    ] {
        assert!(letters.chars().all(|first| region(first) == expected), "{letters}");
    }
}

proptest! {
    #[test]
    fn the_check_digit_is_that_of_an_independent_crate(vin in "[A-HJ-NPR-Z0-9]{8}[0-9X][A-HJ-NPR-Z0-9]{8}") {
        let theirs = vin_info::Vin::try_new(&vin).expect("right shape").is_checksum_valid();
        prop_assert_eq!(in_us(&vin).is_refused(), !theirs);
    }

    #[test]
    fn shape_is_judged_as_by_an_independent_crate(vin in "[A-Z0-9*]{15,19}") {
        let theirs = vin_info::Vin::try_new(&vin).is_ok();
        prop_assert_eq!(vin::check(&vin, None, None, None).normalised.is_some(), theirs);
    }

    #[test]
    fn one_mistaken_digit_is_always_found(position in 0_usize..17, digit in b'0'..=b'9') {
        let mut bytes = REGULATION.as_bytes().to_vec();
        prop_assume!(bytes[position].is_ascii_digit() && bytes[position] != digit);
        bytes[position] = digit;
        prop_assert!(in_us(std::str::from_utf8(&bytes).expect("ASCII")).is_refused());
    }

    #[test]
    fn no_text_stops_the_vin_reader(text in "\\PC{0,40}", year in proptest::option::of(any::<i32>())) {
        let report = vin::check(&text, Some("US"), year, year);
        prop_assert!(report.normalised.is_some() || report.is_refused());
    }
}
