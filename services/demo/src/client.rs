//! Calls to a running service: a token, typed bodies, an idempotency key on every change, problem documents as errors.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use contract::list::Page;
use contract::problem::Problem;
use reqwest::{Method, StatusCode};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How often a call is sent again, under the same key, when the service did not answer or asks for patience.
const TRIES: u32 = 5;

/// A caller with a token.
#[derive(Debug, Clone)]
pub struct Client {
    http: reqwest::Client,
    base: String,
    token: String,
}

/// Why a call did not succeed.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The service refused; the document tells why.
    #[error("{} {}: {}", .0.status, .0.kind, .0.detail)]
    Refused(Box<Problem>),
    /// The service could not be reached, or broke off.
    #[error("the service can't be reached: {0}")]
    Unreachable(#[from] reqwest::Error),
    /// The service answered in a way that the contract does not know.
    #[error("{path} answered {status} with what can't be read: {fault}")]
    Unreadable {
        /// The path.
        path: String,
        /// The status.
        status: u16,
        /// What is wrong with the body.
        fault: String,
    },
    /// Something in the invented day went otherwise than it was to.
    #[error("{0}")]
    Unexpected(String),
}

impl Failure {
    /// The word of the problem's type (`precondition-not-met`); none when the service did not refuse.
    pub fn word(&self) -> Option<&str> {
        self.problem().and_then(|problem| problem.kind.rsplit('/').next())
    }

    /// The problem document.
    pub fn problem(&self) -> Option<&Problem> {
        match self {
            Self::Refused(problem) => Some(problem),
            _ => None,
        }
    }
}

/// A body with the version that its `ETag` named.
#[derive(Debug, Clone)]
pub struct Versioned<T> {
    /// The body.
    pub body: T,
    /// The `ETag`, as it was given.
    pub tag: Option<String>,
}

/// The service's time.
#[derive(Debug, Deserialize)]
struct Clock {
    now: DateTime<Utc>,
}

impl Client {
    /// A caller of the service at `base` (`http://127.0.0.1:8080`) with this token.
    pub fn new(base: &str, token: impl Into<String>) -> Self {
        Self { http: reqwest::Client::new(), base: base.to_owned(), token: token.into() }
    }

    /// The same connections with another token.
    #[must_use]
    pub fn with_token(&self, token: impl Into<String>) -> Self {
        Self { token: token.into(), ..self.clone() }
    }

    /// The token.
    pub fn token(&self) -> &str {
        &self.token
    }

    /// Where the service is.
    pub fn base(&self) -> &str {
        &self.base
    }

    /// Reads something.
    pub async fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, Failure> {
        Ok(self.call(Method::GET, path, None::<&()>, None).await?.body)
    }

    /// Reads a list whole, page by page.
    pub async fn list<T: DeserializeOwned>(&self, path: &str) -> Result<Vec<T>, Failure> {
        let mut all = Vec::new();
        let mut next = format!("{path}?limit=500");
        loop {
            let page: Page<T> = self.get(&next).await?;
            all.extend(page.items);
            match page.next {
                Some(cursor) => next = format!("{path}?limit=500&cursor={cursor}"),
                None => return Ok(all),
            }
        }
    }

    /// Reads something as text, in this media type.
    pub async fn get_text(&self, path: &str, media_type: &str) -> Result<String, Failure> {
        let request = self
            .http
            .get(format!("{}{path}", self.base))
            .bearer_auth(&self.token)
            .header("accept", media_type);
        let response = request.send().await?;
        let status = response.status();
        let text = response.text().await?;
        if status.is_success() { Ok(text) } else { Err(refusal(path, status, &text)) }
    }

    /// Asks for a change. The key makes a repeated request harmless.
    pub async fn post<B: Serialize, T: DeserializeOwned>(
        &self,
        path: &str,
        body: &B,
    ) -> Result<T, Failure> {
        Ok(self.call(Method::POST, path, Some(body), None).await?.body)
    }

    /// Puts something whole.
    pub async fn put<B: Serialize, T: DeserializeOwned>(
        &self,
        path: &str,
        body: &B,
        tag: Option<&str>,
    ) -> Result<T, Failure> {
        Ok(self.call(Method::PUT, path, Some(body), tag).await?.body)
    }

    /// Any call, with the version that it rests on.
    pub async fn call<B: Serialize, T: DeserializeOwned>(
        &self,
        method: Method,
        path: &str,
        body: Option<&B>,
        tag: Option<&str>,
    ) -> Result<Versioned<T>, Failure> {
        let key = Uuid::new_v4().to_string();
        let mut tried = 0;
        loop {
            tried += 1;
            match self.once(&method, path, body, tag, &key).await {
                Err(failure) if tried < TRIES && passes_by_itself(&failure) => {
                    tokio::time::sleep(Duration::from_millis(100 << tried)).await;
                }
                done => return done,
            }
        }
    }

    async fn once<B: Serialize, T: DeserializeOwned>(
        &self,
        method: &Method,
        path: &str,
        body: Option<&B>,
        tag: Option<&str>,
        key: &str,
    ) -> Result<Versioned<T>, Failure> {
        let mut request = self
            .http
            .request(method.clone(), format!("{}{path}", self.base))
            .bearer_auth(&self.token)
            .header("user-agent", "bayproof-demo");
        if *method != Method::GET {
            request = request.header("idempotency-key", key);
        }
        if let Some(tag) = tag {
            request = request.header("if-match", tag);
        }
        if let Some(body) = body {
            request = request.json(body);
        }
        let response = request.send().await?;
        let status = response.status();
        let tag = response.headers().get("etag").and_then(|tag| tag.to_str().ok());
        let tag = tag.map(str::to_owned);
        let text = response.text().await?;
        if !status.is_success() {
            return Err(refusal(path, status, &text));
        }
        let text = if text.is_empty() { "null" } else { &text };
        let body = serde_json::from_str(text).map_err(|error| Failure::Unreadable {
            path: path.to_owned(),
            status: status.as_u16(),
            fault: error.to_string(),
        })?;
        Ok(Versioned { body, tag })
    }

    /// The service's time. It may run faster than the caller's, so it is asked for, not computed.
    pub async fn now(&self) -> Result<DateTime<Utc>, Failure> {
        Ok(self.get::<Clock>("/v1/clock").await?.now)
    }

    /// Waits until the service's clock shows this moment.
    pub async fn wait_until(&self, moment: DateTime<Utc>) -> Result<(), Failure> {
        let mut pause = Duration::from_millis(20);
        let mut before = self.now().await?;
        while before < moment {
            tokio::time::sleep(pause).await;
            let now = self.now().await?;
            let shown = (now - before).max(TimeDelta::milliseconds(1));
            let left = (moment - now).max(TimeDelta::zero());
            // As long as the clock's pace says, seen over the last pause; looked at again at least every two seconds.
            let share = left.as_seconds_f64() / shown.as_seconds_f64();
            pause = pause.mul_f64(share.clamp(0.05, 100.0));
            pause = pause.clamp(Duration::from_millis(10), Duration::from_secs(2));
            before = now;
        }
        Ok(())
    }
}

fn refusal(path: &str, status: StatusCode, text: &str) -> Failure {
    match serde_json::from_str(text) {
        Ok(problem) => Failure::Refused(Box::new(problem)),
        Err(error) => Failure::Unreadable {
            path: path.to_owned(),
            status: status.as_u16(),
            fault: error.to_string(),
        },
    }
}

fn passes_by_itself(failure: &Failure) -> bool {
    match failure {
        Failure::Unreachable(error) => !error.is_builder(),
        other => {
            matches!(
                other.word(),
                Some("request-in-progress" | "too-many-requests" | "unavailable")
            )
        }
    }
}
