//! Files: of the type that their content says, readable by the auditor, and redacted with the record intact.

use base64::Engine as _;
use domain::role::Role;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

use crate::harness::answer;
use crate::worker::{Held, Yard, now, rear_pads, taken_in, task, yard};

/// 67 bytes: a picture of one pixel (PNG, ISO/IEC 15948). Base64 and SHA-256 with `base64` and `sha256sum`.
pub(crate) const PIXEL: (&str, &str) = (
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg==",
    "eaa4a94ea300e0d2c775968cbe42f0b5b51ceafdeb73d64e9efddf6d4e880865",
);
/// The five bytes `hello`.
const HELLO: (&str, &str) =
    ("aGVsbG8=", "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824");

pub(crate) async fn taken(yard: &Yard) -> (uuid::Uuid, Held) {
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    (order.id, yard.ada.take(task(&order, "parking_brake_open_for_service").id).await)
}

pub(crate) async fn photo(yard: &Yard, media_type: &str, file: (&str, &str)) -> Value {
    json!({ "kind": "attachment", "shows": "vehicle_identity", "media_type": media_type, "data": file.0,
        "sha256": file.1, "taken_at": now(&yard.shop).await })
}

#[tokio::test]
async fn a_photo_is_read_by_the_auditor_and_replaced_with_both_digests_on_record() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let shown = yard.ada.show(&held, vec![photo(&yard, "image/png", PIXEL).await]).await;
    let id = shown["items"][0]["id"].as_str().expect("an id").to_owned();
    let auditor = yard.shop.as_role(Role::Auditor);
    let path = format!("/v1/attachments/{id}");
    let response = auditor.request(reqwest::Method::GET, &path).send().await.expect("answers");
    assert_eq!(response.status(), 200);
    assert_eq!(response.headers()["content-type"], "image/png");
    assert_eq!(response.headers()["x-content-type-options"], "nosniff");
    assert!(response.bytes().await.expect("bytes").starts_with(b"\x89PNG"));
    // Not a program's business, and not another shop's.
    yard.shop.as_role(Role::Integration).get(&path).await.expect_problem(403, "role-not-allowed");
    let other = yard.shop.beside("hillside").await;
    other.as_role(Role::Auditor).get(&path).await.expect_problem(404, "not-found");

    let redaction = json!({ "media_type": "text/plain", "data": HELLO.0, "sha256": HELLO.1, "reason": "a plate" });
    let redact = format!("{path}/redaction");
    auditor.post(&redact, redaction.clone()).await.expect_problem(403, "role-not-allowed");
    let desk = yard.shop.as_role(Role::Dispatcher);
    let mut wrong = redaction.clone();
    wrong["media_type"] = json!("image/png");
    desk.post(&redact, wrong).await.expect_problem(422, "unprocessable");
    let done = desk.post(&redact, redaction.clone()).await.expect(200);
    assert_eq!((&done["sha256"], &done["redacted_sha256"]), (&json!(PIXEL.1), &json!(HELLO.1)));
    desk.post(&redact, redaction).await.expect_problem(409, "wrong-state");
    let now = answer(auditor.request(reqwest::Method::GET, &path)).await;
    assert_eq!(now.expect(200), json!("hello"));

    let report = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200).to_string();
    assert!(
        report.contains(PIXEL.1) && report.contains(HELLO.1) && report.contains(&path),
        "{report}"
    );
    assert!(report.contains("redacted"));
}

/// A file of this many bytes that nobody can guess, with its base64 and SHA-256.
fn large(bytes: usize) -> (String, String) {
    let text: Vec<u8> = (0..bytes).map(|n| b'a' + u8::try_from(n % 23).expect("small")).collect();
    (base64::engine::general_purpose::STANDARD.encode(&text), hex::encode(Sha256::digest(&text)))
}

#[tokio::test]
async fn a_file_of_20_mb_is_kept_and_one_byte_more_is_too_large() {
    let yard = yard().await;
    let (_, held) = taken(&yard).await;
    let limit = 20 * 1024 * 1024;
    let send = async |bytes: usize| {
        let (data, sha256) = large(bytes);
        let mut printout = photo(&yard, "text/plain", (&data, &sha256)).await;
        printout["shows"] = json!("alignment_printout");
        yard.ada.act(&held, "evidence", json!({ "items": [printout] })).await
    };
    let kept = send(limit).await.expect(200);
    let id = kept["items"][0]["id"].as_str().expect("it is kept");
    let auditor = yard.shop.as_role(Role::Auditor);
    let path = format!("/v1/attachments/{id}");
    let back = auditor.request(reqwest::Method::GET, &path).send().await.expect("answers");
    assert_eq!(back.bytes().await.expect("bytes").len(), limit);
    send(limit + 1).await.expect_problem(413, "body-too-large");
}

/// The frame header of a picture of one pixel (ITU-T T.81, B.2.2).
const FRAME: &[u8] = b"\xFF\xC0\0\x0B\x08\0\x01\0\x01\x01\x01\x11\0";

/// A JPEG file with Exif data that says which side is up and that it was taken at 52 degrees of latitude, and with a
/// comment. The layout is that of ITU-T T.81, annex B, and TIFF 6.0, section 2.
fn photo_from_somewhere() -> Vec<u8> {
    let tiff = [
        b"MM\0*\0\0\0\x08\0\x02".as_slice(),
        b"\x01\x12\0\x03\0\0\0\x01\0\x06\0\0",
        b"\x88\x25\0\x04\0\0\0\x01\0\0\0\x26\0\0\0\0",
        b"\0\x01\0\x02\0\x05\0\0\0\x01\0\0\0\x38\0\0\0\0",
        b"\0\0\0\x34\0\0\0\x01",
    ]
    .concat();
    let exif = [b"Exif\0\0".as_slice(), &tiff].concat();
    let length = u16::try_from(exif.len() + 2).expect("short").to_be_bytes();
    [&[0xFF, 0xD8, 0xFF, 0xE1][..], &length, &exif, b"\xFF\xFE\0\x06note", FRAME, &[0xFF, 0xD9]]
        .concat()
}

#[tokio::test]
async fn place_data_is_taken_out_of_a_photo_before_it_is_hashed_and_that_is_said() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let sent = photo_from_somewhere();
    let digest = hex::encode(Sha256::digest(&sent));
    let data = base64::engine::general_purpose::STANDARD.encode(&sent);
    let shown =
        yard.ada.show(&held, vec![photo(&yard, "image/jpeg", (&data, &digest)).await]).await;
    let told = shown["items"][0]["detail"].as_str().expect("words");
    assert!(told.contains("place data was taken out"), "{told}");
    let path = format!("/v1/attachments/{}", shown["items"][0]["id"].as_str().expect("an id"));
    let auditor = yard.shop.as_role(Role::Auditor);
    let kept = auditor.request(reqwest::Method::GET, &path).send().await.expect("answers");
    let kept = kept.bytes().await.expect("bytes");
    assert!(!kept.windows(4).any(|four| four == [0, 0, 0, 0x34]), "no latitude: {kept:x?}");
    assert!(
        kept.windows(4).any(|four| four == b"note") && kept.windows(4).any(|four| four == b"Exif")
    );
    let report = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200).to_string();
    assert!(report.contains(&hex::encode(Sha256::digest(&kept))) && !report.contains(&digest));
    assert!(report.contains("place data removed"), "{report}");
    // A picture that cannot be read may hide some.
    let torn = &sent[..20];
    let digest = hex::encode(Sha256::digest(torn));
    let data = base64::engine::general_purpose::STANDARD.encode(torn);
    let items = json!([photo(&yard, "image/jpeg", (&data, &digest)).await]);
    let told = yard.ada.act(&held, "evidence", json!({ "items": items })).await.expect(200);
    assert_eq!(told["items"][0]["outcome"], "refused");
}

#[tokio::test]
async fn a_file_is_of_the_type_that_its_content_says_and_no_larger_than_20_mb() {
    let yard = yard().await;
    let (_, held) = taken(&yard).await;
    let mut digest = photo(&yard, "image/png", PIXEL).await;
    digest["sha256"] = json!(HELLO.1);
    let mut printout = photo(&yard, "text/csv", HELLO).await;
    printout["shows"] = json!("alignment_printout");
    // The mark of a PNG file and no picture.
    let mark = ("iVBORw0KGgo=", "4c4b6a3be1314ab86138bef4314dde022e600960d8689a2c8f8631802d20dab6");
    let items = vec![
        photo(&yard, "image/jpeg", PIXEL).await,
        photo(&yard, "text/html", HELLO).await,
        photo(&yard, "application/pdf", HELLO).await,
        digest,
        photo(&yard, "image/png", mark).await,
        photo(&yard, "text/plain", HELLO).await, // the vehicle is photographed, not described
        printout,
        photo(&yard, "image/png", PIXEL).await,
    ];
    let told = yard.ada.act(&held, "evidence", json!({ "items": items })).await.expect(200);
    let outcomes: Vec<&str> = told["items"]
        .as_array()
        .expect("outcomes")
        .iter()
        .map(|o| o["outcome"].as_str().expect("text"))
        .collect();
    assert_eq!(
        outcomes,
        ["refused", "refused", "refused", "refused", "refused", "refused", "marked", "accepted"],
        "{told:#}"
    );
}
