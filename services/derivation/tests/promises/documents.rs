//! What the reader of documents promises.

use std::fmt::Write;

use derivation::document::{Limits, read};

use crate::shop::CATALOGUE;

fn faults(text: &str) -> Vec<String> {
    let faults = read(text.as_bytes(), Limits::default()).expect_err("must be refused");
    faults.iter().map(|fault| format!("{}:{} {}", fault.line, fault.column, fault.code)).collect()
}

#[test]
fn yaml_and_json_give_the_same_catalogue() {
    let catalogue = read(CATALOGUE.as_bytes(), Limits::default()).expect("reads").catalogue;
    let json = serde_json::to_string(&catalogue).expect("writes");
    assert_eq!(read(json.as_bytes(), Limits::default()).expect("reads").catalogue, catalogue);
    let pretty = serde_json::to_string_pretty(&catalogue).expect("writes");
    assert_eq!(read(pretty.as_bytes(), Limits::default()).expect("reads").catalogue, catalogue);
}

#[test]
fn all_faults_of_a_document_are_told_at_once_with_their_places() {
    let broken = CATALOGUE
        .replace("title: Record codes", "titel: Record codes")
        .replace("kind: service_mode", "kind: service_mood")
        .replace("seconds: 30", "seconds: thirty")
        .replace("least: 10, likely: 20", "least: -1, likely: x");
    let found = faults(&broken);
    let codes: Vec<&str> = found.iter().filter_map(|fault| fault.split(' ').nth(1)).collect();
    let count = |code: &str| codes.iter().filter(|one| **one == code).count();
    assert_eq!(count("unknown_field"), 1, "{found:?}");
    assert_eq!(count("missing_field"), 1, "{found:?}");
    assert_eq!(count("unknown_word"), 1, "{found:?}");
    assert_eq!(count("wrong_type") + count("wrong_value"), 5, "{found:?}");
    let line = broken.lines().position(|line| line.contains("service_mood")).expect("there") + 1;
    assert!(found.contains(&format!("{line}:11 unknown_word")), "{found:?}");
}

#[test]
fn a_key_that_stands_twice_is_a_fault_in_either_notation() {
    let yaml = CATALOGUE.replace("notice:", "version: \"2\"\nnotice:");
    assert_eq!(faults(&yaml), ["2:1 duplicate_key"]);
    let json = r#"{"version": "1",
        "version": "2"}"#;
    assert!(faults(json).contains(&"2:9 duplicate_key".to_owned()));
}

#[test]
fn a_document_that_blows_up_is_refused() {
    let mut bomb = "a: &a [x, x, x, x, x, x, x, x, x, x]\n".to_owned();
    for (now, before) in ('b'..='k').zip('a'..='j') {
        let many = vec![format!("*{before}"); 10].join(", ");
        writeln!(bomb, "{now}: &{now} [{many}]").expect("a string takes it");
    }
    assert_eq!(faults(&bomb), ["8:7 too_many_values"]);
    assert_eq!(faults("a: &a [ *a ]"), ["1:9 alias"]);
    let deep = format!("{}{}", "[".repeat(100), "]".repeat(100));
    assert_eq!(faults(&deep), ["1:65 too_deep"]);
    let small = Limits { bytes: 10, ..Limits::default() };
    assert_eq!(read(CATALOGUE.as_bytes(), small).expect_err("large")[0].code, "too_large");
}

#[test]
fn what_is_no_text_or_no_document_is_told_with_its_place() {
    let broken = read(b"version: \"1\"\nnotice: \xff", Limits::default()).expect_err("not UTF-8");
    assert_eq!((broken[0].line, broken[0].column, broken[0].code), (2, 9, "not_utf8"));
    assert_eq!(faults(""), ["1:1 empty"]);
    assert_eq!(faults("a: ["), ["1:4 syntax"]);
    assert_eq!(faults("--- {}\n--- {}")[0], "2:1 second_document");
    assert!(faults("!made_up {}").iter().any(|fault| fault.ends_with(" tag")));
    assert!(faults("[1, 2]").contains(&"1:1 wrong_type".to_owned()));
}
