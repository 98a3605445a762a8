//! The completion report.

use paper::report::html::page;
use paper::report::task::{Evidence, Precondition};
use paper::report::{DEFERENCE, Report, json};
use proptest::prelude::*;
use serde_json::Value;

use crate::sample;

#[test]
fn a_report_is_a_page_that_stays_the_same() {
    let html = page(&sample::report(), Some(&sample::seal()));
    sample::keep("report.html", &html);
    assert_eq!(html, page(&sample::report(), Some(&sample::seal())));
    insta::assert_snapshot!("report", html);
}

#[test]
fn the_makers_information_comes_first_in_every_report() {
    let nothing = Report { deference: "something else".into(), ..Report::default() };
    let html = page(&nothing, None);
    assert!(html.contains(DEFERENCE));
    assert!(html.contains("This report is not sealed yet."));
    assert!(html.find("The manufacturer").unwrap() < html.find("<main>").unwrap());
}

#[test]
fn times_are_those_of_the_shops_clocks_and_exact_for_programs() {
    let html = page(&sample::report(), None);
    assert!(
        html.contains(r#"<time datetime="2026-11-26T15:41:00Z">2026-11-26 10:41:00 EST</time>"#)
    );
    let mut elsewhere = sample::report();
    elsewhere.shop.time_zone = "Nowhere/At_All".into();
    assert!(page(&elsewhere, None).contains("2026-11-26 15:41:00 UTC"));
}

#[test]
fn a_report_shows_what_a_reader_looks_for() {
    let html = page(&sample::report(), Some(&sample::seal()));
    for wanted in [
        "RO-20417",
        "1H9AC3EB2KA042117",
        "vin model year differs",
        "P0507",
        "61209\u{a0}mi",
        "rule throttle_replaced",
        "98\u{a0}°C",
        "41058a",
        "scan tool ST-2, calibrated until 2027-03-01",
        "acknowledged by Ida Brandt",
        "Attempt 2",
        "the connection broke off",
        "by hand",
        "Not done: one-touch window",
        "The regulator is on order",
        "Ivo Castellane",
        "needs 93 to 99 °C",
        "starter 2026.11",
        "Added later",
        "bayproof/0193a1b2",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    ] {
        assert!(html.contains(wanted), "{wanted}");
    }
}

#[test]
fn a_report_loads_nothing_and_runs_nothing() {
    let html = page(&sample::report(), Some(&sample::seal()));
    for absent in ["http:", "https:", "//", "<script", "<img", "<link", "url(", "@import", "src="] {
        let found = html.replace("default-src", "").replace("style-src", "");
        assert!(!found.contains(absent), "{absent}");
    }
}

#[test]
fn a_report_can_be_heard_as_well_as_read() {
    let html = page(&sample::report(), Some(&sample::seal()));
    assert!(html.contains(r#"<html lang="en">"#));
    assert_eq!(html.matches("<h1>").count(), 1);
    assert_eq!(html.matches("<table>").count(), html.matches("<caption>").count());
    assert_eq!(html.matches("<table>").count(), html.matches("<thead>").count());
    assert_eq!(html.matches("<th ").count(), html.matches("<th scope=").count());
}

#[test]
fn the_json_reads_back_to_the_same_report() {
    let report = sample::report();
    let bytes = json(&report);
    assert_eq!(serde_json::from_slice::<Report>(&bytes).unwrap(), report);
    assert_eq!(json(&serde_json::from_slice(&bytes).unwrap()), bytes);
}

/// Every text of the report replaced, save those that must be times or decide the clock.
fn with_texts(report: &Report, text: &str) -> Report {
    fn fill(value: &mut Value, text: &str) {
        match value {
            Value::String(old) if old.parse::<chrono::DateTime<chrono::Utc>>().is_ok() => {}
            Value::String(old) => text.clone_into(old),
            Value::Array(values) => values.iter_mut().for_each(|value| fill(value, text)),
            Value::Object(members) => members.values_mut().for_each(|value| fill(value, text)),
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }
    let mut value = serde_json::to_value(report).unwrap();
    fill(&mut value, text);
    serde_json::from_value(value).unwrap()
}

fn markup(html: &str) -> [usize; 3] {
    ["<", ">", "\""].map(|sign| html.matches(sign).count())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// No text can open or close a tag or an attribute, wherever it stands.
    #[test]
    fn no_text_becomes_markup(
        text in prop_oneof![
            "\\PC{0,20}",
            any::<String>(),
            Just("</style><script>alert(1)</script>".to_owned()),
            Just("\" onmouseover=\"alert(1)".to_owned()),
            Just("--><img src=x onerror=alert(1)>&lt;".to_owned()),
            Just("\u{0}\u{1b}\u{202e}txt.exe".to_owned()),
        ]
    ) {
        let plain = page(&with_texts(&sample::report(), "plain"), None);
        let hostile = page(&with_texts(&sample::report(), &text), None);
        prop_assert_eq!(markup(&plain), markup(&hostile));
        prop_assert!(!hostile.contains(|c: char| c.is_control() && c != '\n' && c != '\t'));
        let turned = hostile.contains('\u{202e}');
        prop_assert!(!turned);
    }
}

#[test]
fn a_violated_precondition_is_told_by_sign_and_word() {
    let mut report = sample::report();
    report.tasks[0].attempts[0].preconditions = vec![Precondition {
        text: "ignition on".into(),
        verdict: "violated".into(),
        detail: Some("ignition is off".into()),
        evidence: vec![Evidence::default()],
    }];
    assert!(page(&report, None).contains("\u{2717} <strong>violated</strong>: ignition on"));
}
