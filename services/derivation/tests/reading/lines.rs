//! What a line reader owes its shop.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use derivation::lexicon::Lexicon;
use derivation::reader::own::{OwnPhrase, OwnPhrases};
use derivation::reader::{self, LineReading};
use derivation::starter;
use domain::operation::Operation;
use domain::order::Reading;
use proptest::prelude::*;

static LEXICON: LazyLock<Lexicon> = LazyLock::new(Lexicon::starter);

fn read(text: &str) -> LineReading {
    reader::read(&LEXICON, text, &OwnPhrases::default())
}

fn operations(reading: &LineReading) -> Vec<String> {
    reading.operations.iter().map(|read| format!("{} {}", read.action, read.component)).collect()
}

#[test]
fn each_operation_names_the_words_that_it_rests_on() {
    let reading = read("Disconnect battery, replace throttle body");
    assert_eq!(reading.reading, Reading::Sure);
    let words: Vec<&str> = reading.operations.iter().map(|read| read.words.as_str()).collect();
    assert_eq!(words, ["Disconnect battery", "replace throttle body"]);
    assert_eq!(operations(&reading), ["disconnect battery", "replace throttle_body"]);
    assert!(reading.operations.iter().all(|read| read.confidence > 0.9));
}

#[test]
fn a_doubt_keeps_its_candidates_and_says_why() {
    let reading = read("replace brake pads");
    assert_eq!(reading.reading, Reading::Unsure);
    assert_eq!(operations(&reading), ["replace front_brake_pads", "replace rear_brake_pads"]);
    assert!(reading.explanation.contains("front or rear"), "{}", reading.explanation);
    assert!(reading.operations.iter().all(|read| read.confidence < 0.6));
    let unknown = read("replace throttle body and frobnicate the wug");
    assert_eq!(unknown.reading, Reading::Unsure);
    assert!(unknown.explanation.contains("frobnicate"), "{}", unknown.explanation);
}

#[test]
fn nothing_is_silent_that_nobody_understood() {
    for text in ["", "   ", "...", "frobnicate the wug", "replace", "rear pads", "12345", "🚗"] {
        assert!(
            matches!(read(text).reading, Reading::Unread | Reading::Unsure),
            "{text:?} reads {:?}",
            read(text)
        );
    }
}

#[test]
fn a_place_is_read_with_its_part() {
    let places = |text: &str| -> Vec<Option<String>> {
        read(text).operations.into_iter().map(|read| read.place).collect()
    };
    assert_eq!(places("replace LF wheel speed sensor"), [Some("front_left".to_owned())]);
    assert_eq!(
        places("wheel speed sensors LF & RR replaced"),
        [Some("front_left".to_owned()), Some("rear_right".to_owned())]
    );
    assert_eq!(places("replace rear brake pads"), [None], "the part's name holds the axle");
}

#[test]
fn one_wrong_letter_in_a_long_word_is_forgiven_and_in_a_short_one_asked() {
    for text in
        ["replace windsheild", "replcae windshield", "replace wind shield", "replace winshield"]
    {
        assert_eq!(operations(&read(text)), ["replace windshield"], "{text}");
        assert_eq!(read(text).reading, Reading::Sure, "{text}");
    }
    assert_ne!(read("replace clucth").reading, Reading::Sure);
    assert_ne!(read("replace wndsheild").reading, Reading::Sure, "two wrong letters");
    assert!(
        read("replace windsheild").operations[0].confidence
            < read("replace windshield").operations[0].confidence
    );
}

#[test]
fn what_was_refused_asks_for_nothing_and_how_far_it_reaches_is_asked() {
    for text in [
        "rear brake pads declined",
        "Customer declined: front pads and rotors",
        "quote only - replace steering rack",
        "battery not replaced",
        "do not disconnect battery",
    ] {
        assert_eq!(read(text).reading, Reading::None, "{text}");
    }
    let partly = read("replace front pads, rear pads declined");
    assert_eq!(
        (partly.reading, operations(&partly)),
        (Reading::Sure, vec!["replace front_brake_pads".to_owned()])
    );
    for (text, done) in [
        ("Replaced front pads. Rear rotors rusted, customer declined", "replace front_brake_pads"),
        ("Replaced LF tire, RF tire worn, declined", "replace tire"),
        ("Replace battery. Tires worn. Declined.", "replace battery"),
    ] {
        // What was seen last was declined, not the work before it.
        let reading = read(text);
        let read = operations(&reading);
        assert_eq!((reading.reading, read), (Reading::Sure, vec![done.to_owned()]), "{text}");
    }
    assert_eq!(read("replace battery, replace alternator - declined").reading, Reading::Unsure);
    assert_eq!(read("battery declined, replace battery").reading, Reading::Unsure);
}

#[test]
fn a_condition_asks_wherever_it_stands() {
    for text in [
        "throttle body replace and sensor not if needed",
        "replace throttle body if needed",
        "replace throttle body, program ECM - if needed",
        "replace throttle body, sensor not responding, if needed",
        "replace throttle body and do not clean if needed",
    ] {
        assert_eq!(read(text).reading, Reading::Unsure, "{text}");
    }
}

#[test]
fn a_line_that_nobody_would_write_takes_no_more_than_a_moment() {
    for text in [
        format!("replace tie rod{}", ", LF, RF".repeat(60)),
        format!("{} {}", "replace clean ".repeat(100), "pads battery tie rod ".repeat(60)),
        "R&R, ".repeat(250),
        "pads and ".repeat(250),
        "LF and RF and pads, ".repeat(100),
        "replace front and rear pads and rotors LF and RF, ".repeat(40),
    ] {
        let reading = read(&text);
        assert!(reading.operations.len() <= 128, "{} operations", reading.operations.len());
    }
    assert_eq!(read(&"replace battery ".repeat(1000)).reading, Reading::Unread);
}

#[test]
fn the_shops_own_phrases_come_first() {
    let own = OwnPhrases::new(
        &LEXICON,
        vec![
            OwnPhrase {
                phrase: "BRK-R1".to_owned(),
                operations: vec![Operation::new("replace", "rear_brake_pads")],
            },
            OwnPhrase { phrase: "the usual".to_owned(), operations: Vec::new() },
            OwnPhrase {
                phrase: "R&R box".to_owned(),
                operations: vec![Operation {
                    place: Some("front_left".to_owned()),
                    ..Operation::new("replace", "door_control_module")
                }],
            },
        ],
    );
    let code = reader::read(&LEXICON, "brk r1", &own);
    assert_eq!(
        (code.reading, operations(&code)),
        (Reading::Sure, vec!["replace rear_brake_pads".to_owned()])
    );
    assert!((code.operations[0].confidence - 1.0).abs() < f64::EPSILON);
    assert_eq!(code.operations[0].words, "brk r1");
    assert_eq!(reader::read(&LEXICON, "The usual", &own).reading, Reading::None);
    let with_more = reader::read(&LEXICON, "r & r box, disconnect battery", &own);
    assert_eq!(with_more.reading, Reading::Sure);
    assert_eq!(operations(&with_more), ["replace door_control_module", "disconnect battery"]);
    assert_eq!(with_more.operations[0].place.as_deref(), Some("front_left"));
}

#[test]
fn every_word_of_the_lexicon_is_one_of_the_starter_catalogue() {
    let catalogue = starter::catalogue().expect("the starter catalogue");
    let known: BTreeSet<&str> =
        catalogue.vocabulary.components.iter().map(|word| word.id.as_str()).collect();
    let read: BTreeSet<&str> = LEXICON.components().collect();
    assert_eq!(read.difference(&known).collect::<Vec<_>>(), Vec::<&&str>::new());
    let actions: BTreeSet<&str> =
        catalogue.vocabulary.actions.iter().map(|word| word.id.as_str()).collect();
    assert!(LEXICON.actions().all(|action| actions.contains(action)));
    let complaints: BTreeSet<&str> =
        catalogue.vocabulary.complaints.iter().map(|word| word.id.as_str()).collect();
    let unheard: Vec<&str> = complaints
        .into_iter()
        .filter(|name| !LEXICON.complaints().any(|heard| heard == *name))
        .collect();
    assert!(unheard.is_empty(), "no wording for {unheard:?}");
}

#[test]
fn every_part_of_the_starter_catalogue_can_be_read() {
    let catalogue = starter::catalogue().expect("the starter catalogue");
    let read: BTreeSet<&str> = LEXICON.components().collect();
    // Wholes that other operations stand for; nobody orders work on them by name.
    let wholes = [
        "vehicle",
        "control_module",
        "body_structure",
        "trouble_codes",
        "evaporative_system",
        "fuel_system",
        "reductant_system",
        "brake_system",
        "brake_hydraulics",
        "restraint_system",
        "refrigerant_circuit",
        "high_voltage_component",
    ];
    let missing: Vec<&str> = catalogue
        .vocabulary
        .components
        .iter()
        .map(|word| word.id.as_str())
        .filter(|name| !read.contains(name) && !wholes.contains(name))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn what_a_driver_says_is_heard() {
    for (text, heard) in [
        ("idle rough when warm", vec!["rough_idle"]),
        ("Customer states engine stalls at stop lights", vec!["stalls"]),
        ("steering wheel off-center after tires", vec!["steering_off_centre"]),
        ("ABS light on", vec!["warning_lamp_abs"]),
        ("brake pedal feels spongy", vec!["brake_pedal_soft"]),
        ("driver window won't auto up", vec!["window_no_auto"]),
        ("does not stall anymore", vec![]),
        ("no complaint", vec![]),
        ("rough_idle", vec!["rough_idle"]),
    ] {
        assert_eq!(reader::complaints(&LEXICON, text), heard, "{text}");
    }
}

/// Lines of words that the lexicon knows, in an order that nobody meant.
fn word_soup() -> impl Strategy<Value = String> {
    let words = prop::sample::select(vec![
        "replace",
        "R&R",
        "r&i",
        "remove",
        "reinstall",
        "front",
        "rear",
        "LF",
        "rr",
        "both",
        "pads",
        "rotors",
        "throttle body",
        "battery",
        "disconnect",
        "sensor",
        "wheel",
        "speed",
        "alignment",
        "declined",
        "not",
        "do not",
        "quote only",
        "if",
        "needed",
        "found",
        "C/S",
        "due to",
        "for",
        "access",
        "and",
        ",",
        ".",
        ";",
        "-",
        "(",
        ")",
        "/",
        "before",
        "after",
        "to",
        "new",
        "same",
        "gasket",
        "clean",
        "oil",
        "change",
        "ok",
        "worn",
        "inspect",
        "check",
        "program",
        "calibrate",
        "camera",
        "windshield",
        "1.2 hrs",
        "#3",
        "xyzzy",
        "wash",
        "clear codes",
        "P0507",
        "all",
        "with",
        "?",
    ]);
    prop::collection::vec(words, 0..16).prop_map(|words| words.join(" "))
}

proptest! {
    #[test]
    fn no_text_stops_the_line_reader(text in "\\PC{0,200}") {
        let reading = read(&text);
        prop_assert!(reading.operations.iter().all(|operation| text.contains(&operation.words)));
        reader::complaints(&LEXICON, &text);
    }

    #[test]
    fn any_order_of_known_words_is_read_without_contradiction(text in word_soup()) {
        let reading = read(&text);
        for operation in &reading.operations {
            prop_assert!(text.contains(&operation.words), "{text:?} {operation:?}");
            prop_assert!((0.0..=1.0).contains(&operation.confidence));
        }
        match reading.reading {
            Reading::Sure | Reading::Unsure => prop_assert!(!reading.operations.is_empty()),
            Reading::Unread | Reading::None => prop_assert!(reading.operations.is_empty()),
        }
        prop_assert!(!reading.explanation.is_empty());
    }

    #[test]
    fn neither_case_nor_blanks_matter(text in word_soup()) {
        let plain = read(&text);
        for other in [
            text.to_uppercase(),
            text.to_lowercase(),
            format!("  {}\t", text.replace(' ', "   ")),
        ] {
            let again = read(&other);
            prop_assert_eq!(again.reading, plain.reading, "{} {:?} {:?}", other, &again, &plain);
            prop_assert_eq!(operations(&again), operations(&plain));
        }
    }

    #[test]
    fn a_condition_is_never_taken_for_certain(text in word_soup()) {
        // What a customer tells, reasons and refusals ask for nothing, with a condition or without.
        let story = ["C/S", "due to", "quote only", "declined"];
        let work = story.iter().fold(text, |text, word| text.replace(word, "and"));
        let conditional = format!("{work} if needed");
        prop_assert_ne!(read(&conditional).reading, Reading::Sure, "{}", conditional);
    }
}

#[test]
fn what_belongs_to_a_part_is_not_taken_for_the_part() {
    let parts = [
        "throttle body",
        "ECM",
        "EGR valve",
        "turbo",
        "transmission",
        "ABS module",
        "steering rack",
        "LR air spring",
        "alternator",
        "cluster",
        "LH headlamp",
        "windshield",
        "front radar",
        "radiator",
        "inverter",
        "LF window regulator",
    ];
    // Words that a lexicon may know as something else, and words that it may not know at all.
    let things = [
        "mount",
        "mounts",
        "plug",
        "stop",
        "socket",
        "label",
        "bleeder",
        "bracket",
        "bushing",
        "seal",
        "stud",
        "yoke",
        "perch",
        "elbow",
        "dipstick",
        "reinforcement",
        "dust cover",
    ];
    let lines = |part: &str, thing: &str| {
        [
            format!("Replace {part} {thing}"),
            format!("{part} {thing} replaced"),
            format!("Installed new {thing} on {part}"),
            format!("Replace {thing} of {part}"),
            format!("fitted new {thing} to {part}"),
            format!("{thing} on {part} replaced"),
        ]
    };
    for (part, thing) in parts.iter().flat_map(|part| things.iter().map(move |thing| (part, thing)))
    {
        for text in lines(part, thing) {
            let reading = read(&text);
            assert_ne!(reading.reading, Reading::Sure, "{text}: {reading:?}");
        }
    }
}
