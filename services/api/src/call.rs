//! The headers of a request that changes something.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest};
use contract::problem::{FieldFault, ProblemKind};
use workflow::caller::{Call, Caller, Once};

use crate::etag;
use crate::problem::Rejection;

/// `Idempotency-Key` and `If-Match`.
pub(crate) struct CallHeaders {
    key: Option<String>,
    expects: Option<Expected>,
}

/// What `If-Match` asks for.
enum Expected {
    /// Whatever is there: `*`.
    Any,
    /// This version.
    Version(i64),
}

impl CallHeaders {
    /// The call of this caller with a body of this fingerprint.
    pub(crate) fn call(self, caller: Caller, fingerprint: [u8; 32]) -> Call {
        let expects = match self.expects {
            Some(Expected::Version(version)) => Some(version),
            Some(Expected::Any) | None => None,
        };
        Call { caller, once: self.key.map(|key| Once { key, fingerprint }), expects }
    }

    /// The same where `If-Match` is required (RFC 6585: 428 without it).
    pub(crate) fn versioned_call(
        self,
        caller: Caller,
        fingerprint: [u8; 32],
    ) -> Result<Call, Rejection> {
        if self.expects.is_none() {
            return Err(Rejection::new(
                ProblemKind::VersionRequired,
                "send `If-Match` with the ETag of what you read",
            ));
        }
        Ok(self.call(caller, fingerprint))
    }
}

impl FromRequest for CallHeaders {
    type Error = Rejection;
    type Future = Ready<Result<Self, Rejection>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read(request))
    }
}

fn read(request: &HttpRequest) -> Result<CallHeaders, Rejection> {
    let text =
        |name: &str| request.headers().get(name).map(|value| value.to_str().unwrap_or_default());
    let fault = |pointer: &str, detail: &str| {
        Rejection::invalid(vec![FieldFault {
            pointer: pointer.to_owned(),
            detail: detail.to_owned(),
        }])
    };
    // The draft has a quoted string; clients send bare ones, and both are taken.
    let key = match text("idempotency-key").map(|key| key.trim().trim_matches('"')) {
        Some(key) if key.is_empty() || key.len() > 255 => {
            return Err(fault("Idempotency-Key", "a key has 1 to 255 characters"));
        }
        key => key.map(str::to_owned),
    };
    let expects = match text(header::IF_MATCH.as_str()) {
        None => None,
        Some("*") => Some(Expected::Any),
        Some(tag) => Some(etag::version(tag).map(Expected::Version).ok_or_else(|| {
            Rejection::new(ProblemKind::VersionStale, "`If-Match` names no version of this thing")
        })?),
    };
    Ok(CallHeaders { key, expects })
}
