//! Catalogue documents at the limit of what is read, and those that are no documents.

use std::fmt::Write as _;
use std::time::Duration;

use domain::role::Role;
use reqwest::Method;
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use workflow::catalogues::LARGEST;

use crate::harness::{self, Answer, Client, Shop, answer};

async fn in_force(keeper: &Client) -> (Value, Value) {
    let all = keeper.get("/v1/catalogues").await.expect(200);
    let version = all["items"][0]["version"].as_str().expect("a version");
    let path = format!("/v1/catalogues/{version}/document");
    (all.clone(), keeper.get(&path).await.expect(200))
}

async fn upload(keeper: &Client, media: &str, bytes: Vec<u8>) -> Answer {
    let request = keeper.request(Method::POST, "/v1/catalogues").header("content-type", media);
    answer(request.body(bytes)).await
}

const PATIENCE: Duration = Duration::from_mins(2);

/// What the service answers to these bytes, which are too many.
async fn raw(shop: &Shop, keeper: &Client, head: &str, body: &[u8]) -> String {
    let host = shop.base().trim_start_matches("http://").to_owned();
    let mut stream = TcpStream::connect(&host).await.expect("connects");
    let token = keeper.token();
    let head = format!(
        "POST /v1/catalogues HTTP/1.1\r\nhost: {host}\r\nauthorization: Bearer {token}\r\n\
         content-type: application/yaml\r\nconnection: close\r\n{head}\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).await.expect("sends");
    stream.write_all(body).await.expect("sends");
    // Nobody waits for the connection's end: the service may still read what a client goes on to send.
    let mut told = Vec::new();
    while !String::from_utf8_lossy(&told).contains("body-too-large") {
        let read = tokio::time::timeout(PATIENCE, stream.read_buf(&mut told));
        assert_ne!(read.await.expect("answers in time").expect("reads"), 0, "{told:?}");
    }
    String::from_utf8(told).expect("text")
}

#[tokio::test]
async fn a_document_of_the_largest_size_is_taken_and_one_byte_more_is_too_much() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let (_, mut document) = in_force(&keeper).await;
    document["version"] = json!("as large as it gets");
    let mut bytes = serde_json::to_vec(&document).expect("writes");
    bytes.resize(LARGEST, b' ');
    let made = upload(&keeper, "application/json", bytes).await.expect(201);
    assert_eq!(made["state"], "draft");

    let announced = format!("content-length: {}", LARGEST + 1);
    let refused = raw(&shop, &keeper, &announced, b"").await;
    assert!(refused.starts_with("HTTP/1.1 413"), "{refused}");
    assert!(refused.contains("application/problem+json"), "{refused}");
    assert!(refused.contains("/problems/body-too-large"), "{refused}");
    // One that does not say how long it is, is read as far as the limit.
    let mut chunk = format!("{:x}\r\n", LARGEST + 1).into_bytes();
    chunk.resize(chunk.len() + LARGEST + 1, b'#');
    let refused = raw(&shop, &keeper, "transfer-encoding: chunked", &chunk).await;
    assert!(refused.starts_with("HTTP/1.1 413"), "{refused}");
}

#[tokio::test]
async fn what_is_no_document_is_refused_with_the_place_and_the_one_in_force_stays() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let (before, _) = in_force(&keeper).await;
    let mut bomb = "a0: &a0 [x, x, x, x, x, x, x, x]\n".to_owned();
    for n in 1..12 {
        let refers = vec![format!("*a{}", n - 1); 8].join(", ");
        writeln!(bomb, "a{n}: &a{n} [{refers}]").expect("writes");
    }
    let cases: [(&str, Vec<u8>, &str, u64); 5] = [
        ("application/yaml", bomb.into_bytes(), "too_many_values", 0),
        ("application/yaml", b"version: one\nversion: two\n".to_vec(), "duplicate_key", 2),
        (
            "application/json",
            b"{ \"version\": \"one\",\n\"version\": \"two\" }".to_vec(),
            "duplicate_key",
            2,
        ),
        ("application/yaml", b"version: one\nrules: \xff\xfe\n".to_vec(), "not_utf8", 2),
        ("application/yaml", b"version: one\nrules: [\n".to_vec(), "syntax", 0),
    ];
    for (media, bytes, code, line) in cases {
        let told = String::from_utf8_lossy(&bytes).chars().take(60).collect::<String>();
        let problem = upload(&keeper, media, bytes).await.expect_problem(422, "catalogue-faulty");
        let faults = problem["faults"].as_array().expect("faults");
        let fault = faults.iter().find(|fault| fault["code"] == code);
        let fault = fault.unwrap_or_else(|| panic!("{told}: {faults:#?}"));
        assert!(fault["line"].as_u64() >= Some(1), "{told}: {fault:#}");
        assert!(line == 0 || fault["line"] == line, "{told}: {fault:#}");
    }
    assert_eq!(in_force(&keeper).await.0, before);
}
