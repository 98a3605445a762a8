//! A caller of the service.

use reqwest::header::{HeaderMap, HeaderName, HeaderValue};
use reqwest::{Method, RequestBuilder};
use serde_json::Value;

/// A caller with a token.
#[derive(Clone)]
pub(crate) struct Client {
    http: reqwest::Client,
    base: String,
    headers: HeaderMap,
}

/// What the service answered.
#[derive(Debug)]
pub(crate) struct Answer {
    /// Status code.
    pub(crate) status: u16,
    /// Headers.
    pub(crate) headers: HeaderMap,
    /// The body as JSON; null when it is empty, a string when it is no JSON.
    pub(crate) body: Value,
}

impl Client {
    pub(super) fn new(base: &str, token: &str) -> Self {
        let client =
            Self { http: reqwest::Client::new(), base: base.to_owned(), headers: HeaderMap::new() };
        client.with("authorization", &format!("Bearer {token}"))
    }

    /// The token, as a shell story sends it.
    pub(crate) fn token(&self) -> String {
        let bearer = self.headers["authorization"].to_str().expect("a token is text");
        bearer.trim_start_matches("Bearer ").to_owned()
    }

    /// The same caller, sending this header too.
    pub(crate) fn with(&self, name: &str, value: &str) -> Self {
        let mut client = self.clone();
        let name: HeaderName = name.parse().expect("a header's name");
        client.headers.insert(name, HeaderValue::from_str(value).expect("a header's value"));
        client
    }

    /// The same caller without this header.
    pub(crate) fn without(&self, name: &str) -> Self {
        let mut client = self.clone();
        client.headers.remove(name);
        client
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        answer(self.request(Method::GET, path)).await
    }

    pub(crate) async fn post(&self, path: &str, body: Value) -> Answer {
        answer(self.request(Method::POST, path).json(&body)).await
    }

    pub(crate) async fn put(&self, path: &str, body: Value) -> Answer {
        answer(self.request(Method::PUT, path).json(&body)).await
    }

    pub(crate) async fn patch(&self, path: &str, body: Value) -> Answer {
        answer(self.request(Method::PATCH, path).json(&body)).await
    }

    pub(crate) async fn delete(&self, path: &str) -> Answer {
        answer(self.request(Method::DELETE, path)).await
    }

    /// Any request, for what the others can't say.
    pub(crate) fn request(&self, method: Method, path: &str) -> RequestBuilder {
        self.http.request(method, format!("{}{path}", self.base)).headers(self.headers.clone())
    }
}

/// Sends a request and reads the whole answer.
pub(crate) async fn answer(request: RequestBuilder) -> Answer {
    let response = request.send().await.expect("the service answers");
    let (status, headers) = (response.status().as_u16(), response.headers().clone());
    let text = response.text().await.expect("the body arrives");
    let body = match text.as_str() {
        "" => Value::Null,
        text => serde_json::from_str(text).unwrap_or_else(|_| Value::String(text.to_owned())),
    };
    Answer { status, headers, body }
}

impl Answer {
    /// The body, if the status is this one; else the test ends and shows the answer.
    #[track_caller]
    pub(crate) fn expect(self, status: u16) -> Value {
        assert_eq!(self.status, status, "{:#}", self.body);
        self.body
    }

    /// Checks that it is a problem document (RFC 9457) of this type and status.
    #[track_caller]
    pub(crate) fn expect_problem(self, status: u16, word: &str) -> Value {
        assert_eq!(self.status, status, "{:#}", self.body);
        assert_eq!(self.header("content-type"), "application/problem+json");
        assert_eq!(self.body["type"], format!("/problems/{word}"), "{:#}", self.body);
        assert_eq!(self.body["status"], status);
        self.body
    }

    /// A header as text; empty when it is not there.
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }
}
