//! The bytes that are hashed for an entry.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

use chrono::{TimeZone, Utc};
use journal::entry::{By, Entry, NotAnEntry, Subject, VERSION, canonical, read};
use journal::hash::{Hash, commitment, digest};
use serde::Deserialize;
use serde_json::{Value, json};
use uuid::Uuid;

/// RFC 8785 3.2 and Appendix B; cyberphone/json-canonicalization testdata (Apache-2.0).
#[derive(Deserialize)]
struct Published {
    documents: Vec<Document>,
    numbers: Vec<Number>,
}

#[derive(Deserialize)]
struct Document {
    name: String,
    input: String,
    canonical_hex: String,
}

#[derive(Deserialize)]
struct Number {
    ieee754: String,
    json: Option<String>,
}

fn entry() -> Entry {
    Entry {
        v: VERSION,
        shop: Uuid::from_u128(1),
        entry: Uuid::from_u128(2),
        at: Utc.with_ymd_and_hms(2026, 11, 26, 8, 5, 0).unwrap(),
        kind: "task.started".into(),
        order: Some(Uuid::from_u128(3)),
        order_seq: Some(7),
        subject: Subject { kind: "task".into(), id: Uuid::from_u128(4).to_string() },
        by: By {
            person: Some(commitment(&[9; 16], "Ida Brandt")),
            role: "technician".into(),
            client: None,
        },
        data: json!({ "fence": 3 }).as_object().unwrap().clone(),
    }
}

#[test]
fn canonical_bytes_are_those_that_rfc_8785_publishes() {
    let published: Published = serde_json::from_str(include_str!("data/jcs.json")).unwrap();
    for document in &published.documents {
        let value: Value = serde_json::from_str(&document.input).unwrap();
        let bytes = serde_json_canonicalizer::to_vec(&value).unwrap();
        assert_eq!(hex::encode(bytes), document.canonical_hex, "{}", document.name);
    }
    for number in &published.numbers {
        let value = f64::from_bits(u64::from_str_radix(&number.ieee754, 16).unwrap());
        let text = serde_json_canonicalizer::to_string(&value).ok();
        assert_eq!(text, number.json, "{}", number.ieee754);
    }
    assert_eq!((published.documents.len(), published.numbers.len()), (6, 26));
}

#[test]
fn an_entry_has_one_form_and_reads_back() {
    let bytes = canonical(&entry());
    assert_eq!(
        std::str::from_utf8(&bytes).unwrap(),
        concat!(
            r#"{"at":"2026-11-26T08:05:00.000000Z","by":{"client":null,"#,
            r#""person":"a4d6da3409299e6922a5e5012aa36ead983d58bb9674e07f404b0a9b26284b53","#,
            r#""role":"technician"},"data":{"fence":3},"#,
            r#""entry":"00000000-0000-0000-0000-000000000002","kind":"task.started","#,
            r#""order":"00000000-0000-0000-0000-000000000003","order_seq":7,"#,
            r#""shop":"00000000-0000-0000-0000-000000000001","#,
            r#""subject":{"id":"00000000-0000-0000-0000-000000000004","type":"task"},"v":1}"#
        )
    );
    assert_eq!(read(&bytes).unwrap(), entry());
}

#[test]
fn numbers_that_a_reader_could_change_stand_as_text() {
    let mut entry = entry();
    entry.data = json!({
        "last_safe": 9_007_199_254_740_991_u64,
        "first_unsafe": 9_007_199_254_740_992_u64,
        "negative": -9_007_199_254_740_992_i64,
        "deep": [ { "volts": 12.9 } ],
    })
    .as_object()
    .unwrap()
    .clone();
    let kept = read(&canonical(&entry)).unwrap();
    assert_eq!(
        Value::Object(kept.data),
        json!({
            "last_safe": 9_007_199_254_740_991_u64,
            "first_unsafe": "9007199254740992",
            "negative": "-9007199254740992",
            "deep": [ { "volts": "12.9" } ],
        })
    );
}

#[test]
fn bytes_in_any_other_form_are_refused() {
    let text = String::from_utf8(canonical(&entry())).unwrap();
    let not_canonical = |text: String| {
        assert_eq!(read(text.as_bytes()), Err(NotAnEntry::NotCanonical), "{text}");
    };
    not_canonical(text.replace("\"v\":1", "\"v\": 1"));
    not_canonical(text.replace(".000000Z", "Z"));
    not_canonical(text.replace("{\"fence\":3}", "{\"fence\":2,\"fence\":3}"));
    not_canonical(text.replace("\"client\":null,", ""));
    let shape = |text: String| {
        assert!(matches!(read(text.as_bytes()), Err(NotAnEntry::Shape(_))), "{text}");
    };
    shape(text.replace("\"v\":1", "\"v\":1,\"v\":1"));
    shape(text.replace("\"v\":1", "\"v\":1,\"more\":1"));
    shape(text.replace("\"person\":\"", "\"person\":\"A"));
    assert_eq!(read(text.replace("\"v\":1", "\"v\":2").as_bytes()), Err(NotAnEntry::Version(2)));
}

#[test]
fn a_name_is_committed_to_and_not_told() {
    let bytes = String::from_utf8(canonical(&entry())).unwrap();
    assert!(!bytes.contains("Brandt"));
    assert_ne!(commitment(&[9; 16], "Ida Brandt"), commitment(&[8; 16], "Ida Brandt"));
    // FIPS 180-4's example message, split into salt and name.
    let message = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    let (salt, name) = message.split_at(16);
    assert_eq!(
        commitment(salt.as_bytes().try_into().unwrap(), name).to_string(),
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    );
}

#[test]
fn a_hash_is_exactly_32_bytes_in_one_spelling() {
    let hash = digest(b"abc"); // FIPS 180-4's example
    let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(hash.to_string(), text);
    assert_eq!(text.parse(), Ok(hash));
    assert!(text.to_uppercase().parse::<Hash>().is_err());
    assert!(text[2..].parse::<Hash>().is_err());
    assert!(format!("{text}00").parse::<Hash>().is_err());
    assert!(Hash::try_from(&[0_u8; 31][..]).is_err());
}
