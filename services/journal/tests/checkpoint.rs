//! Checkpoints and signatures, against published vectors.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use chrono::{TimeZone, Utc};
use journal::checkpoint::{BadCheckpoint, Checkpoint, SignedCheckpoint, origin};
use journal::hash::digest;
use journal::key::{PublicKey, SealingKey, Signature};
use serde::Deserialize;
use uuid::Uuid;

/// RFC 8032 7.1; edge cases: novifinancial/ed25519-speccheck cases.json (Apache-2.0), described in
/// eprint 2020/1244.
#[derive(Deserialize)]
struct Published {
    vectors: Vec<Vector>,
    edge_cases: Vec<EdgeCase>,
    malleable: Malleable,
}

#[derive(Deserialize)]
struct Vector {
    name: String,
    seed: String,
    public: String,
    message: String,
    signature: String,
}

#[derive(Deserialize)]
struct EdgeCase {
    case: u8,
    message: String,
    pub_key: String,
    signature: String,
}

/// Test 2 with the group's order added to the second half of the signature.
#[derive(Deserialize)]
struct Malleable {
    signature: String,
}

fn published() -> Published {
    serde_json::from_str(include_str!("data/ed25519.json")).unwrap()
}

fn bytes<const N: usize>(text: &str) -> [u8; N] {
    hex::decode(text).unwrap().try_into().unwrap()
}

fn signature(text: &str) -> Signature {
    let base64 = BASE64_STANDARD.encode(hex::decode(text).unwrap());
    Signature::try_from(base64).unwrap()
}

fn signed() -> SignedCheckpoint {
    let statement = Checkpoint {
        origin: origin(Uuid::from_u128(1)),
        size: 42,
        root: digest(b"a root"),
        time: Utc.with_ymd_and_hms(2026, 11, 26, 17, 0, 0).unwrap(),
    };
    statement.sign(&SealingKey::from_seed(&[7; 32]))
}

#[test]
fn signatures_are_those_of_rfc_8032() {
    for vector in &published().vectors {
        let key = SealingKey::from_seed(&bytes(&vector.seed));
        let message = hex::decode(&vector.message).unwrap();
        let expected = signature(&vector.signature);
        assert_eq!(*key.public().as_bytes(), bytes(&vector.public), "{}", vector.name);
        assert_eq!(key.sign(&message), expected, "{}", vector.name);
        assert!(key.public().signed(&message, &expected), "{}", vector.name);
    }
}

#[test]
fn weak_keys_and_second_signatures_are_refused() {
    let published = published();
    let accepted: Vec<u8> = published
        .edge_cases
        .iter()
        .filter(|case| {
            PublicKey::from_bytes(bytes(&case.pub_key))
                .signed(&hex::decode(&case.message).unwrap(), &signature(&case.signature))
        })
        .map(|case| case.case)
        .collect();
    assert_eq!(accepted, [3], "the one case of mixed, not of small order");
    let test_2 = &published.vectors[1];
    let key = PublicKey::from_bytes(bytes(&test_2.public));
    let message = hex::decode(&test_2.message).unwrap();
    assert!(!key.signed(&message, &signature(&published.malleable.signature)));
}

/// The key, note and signature of golang.org/x/mod `sumdb/note/note_test.go` (BSD-3-Clause).
#[test]
fn keys_and_signatures_are_those_of_signed_notes() {
    let named = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    let note = "If you think cryptography is the answer to your problem,\n\
                then you don't know what your problem is.\n";
    let blob = "x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=";
    let (name, key) = PublicKey::from_named(named).unwrap();
    assert_eq!(key.named(&name), named);
    assert_eq!(key.id(&name).to_string(), "c74f20a3");

    let signed = BASE64_STANDARD.decode(blob).unwrap();
    assert_eq!(hex::encode(&signed[..4]), "c74f20a3");
    let fits = signature(&hex::encode(&signed[4..]));
    assert!(key.signed(note.as_bytes(), &fits));
    assert!(!key.signed(note.replace("your", "our").as_bytes(), &fits));

    let mangled = [
        &named[1..],
        &named[..named.len() - 1],
        "PeterNeumann+c74f20a4+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
        // Wrong length and unknown algorithm, each with the id that fits (from the same file).
        "PeterNeumann+cc469956+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TWBADKEY==",
        "PeterNeumann+173116ae+ZRpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
    ];
    for text in mangled {
        assert!(PublicKey::from_named(text).is_err(), "{text}");
    }
}

#[test]
fn a_checkpoint_is_a_few_lines_that_read_back() {
    let signed = signed();
    let text = signed.to_text();
    let lines: Vec<&str> = text.split('\n').collect();
    assert_eq!(
        lines[..5],
        [
            "bayproof/00000000-0000-0000-0000-000000000001",
            "42",
            "ULMS9cvHFnWfViDXOnzBFBVwc0n0Gwzgt897eAfsMdo=",
            "time 2026-11-26T17:00:00.000000Z",
            "",
        ]
    );
    assert!(lines[5].starts_with("\u{2014} bayproof/00000000-0000-0000-0000-000000000001 "));
    assert_eq!(SignedCheckpoint::from_text(&text).unwrap(), signed);
    let witnessed = format!("{text}\u{2014} witness.example AAAA\n");
    assert_eq!(SignedCheckpoint::from_text(&witnessed).unwrap(), signed);

    let json = serde_json::to_string(&signed).unwrap();
    assert_eq!(serde_json::from_str::<SignedCheckpoint>(&json).unwrap(), signed);
    signed.check(&SealingKey::from_seed(&[7; 32]).public()).unwrap();
}

#[test]
fn a_checkpoint_that_was_touched_is_refused() {
    let key = SealingKey::from_seed(&[7; 32]).public();
    let touched = |touch: &dyn Fn(&mut SignedCheckpoint)| {
        let mut signed = signed();
        touch(&mut signed);
        signed.check(&key).unwrap_err()
    };
    assert_eq!(touched(&|c| c.statement.size += 1), BadCheckpoint::Signature);
    assert_eq!(touched(&|c| c.statement.root = digest(b"another")), BadCheckpoint::Signature);
    assert_eq!(
        touched(&|c| c.statement.time += chrono::TimeDelta::microseconds(1)),
        BadCheckpoint::Signature
    );
    assert_eq!(touched(&|c| c.statement.origin.push_str("\n42")), BadCheckpoint::Origin);
    let other = SealingKey::from_seed(&[8; 32]).public();
    assert!(matches!(signed().check(&other), Err(BadCheckpoint::OtherKey { .. })));
    let text = signed().to_text();
    for broken in [
        text.replace("\n42\n", "\n042\n"),
        text.replace("\n42\n", "\n"),
        text.replace("time ", "Time "),
        text.replace('\u{2014}', "-"),
        text.replace("\n\n", "\nmore\n\n"),
    ] {
        assert!(SignedCheckpoint::from_text(&broken).is_err(), "{broken}");
    }
}

#[test]
fn a_secret_key_does_not_show_itself() {
    let key = SealingKey::from_seed(&[7; 32]);
    assert!(!format!("{key:?}").contains("7, 7"));
    assert!(format!("{key:?}").contains(&key.public().to_string()));
}
