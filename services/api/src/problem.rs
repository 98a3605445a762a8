//! Refusals as `application/problem+json` (RFC 9457), whoever raised them.

use std::fmt;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{StatusCode, header};
use actix_web::middleware::Next;
use actix_web::{HttpMessage as _, HttpResponse, ResponseError, get, web};
use contract::problem::{FieldFault, Problem, ProblemKind};
use domain::start::Obstacle;
use domain::verdict::Verdict;
use serde::Serialize;
use tracing_actix_web::RequestId;
use utoipa::ToSchema;
use uuid::Uuid;
use workflow::refusal::Refusal;

use crate::status;

tokio::task_local! {
    /// The id under which the log knows the request that is answered.
    static REQUEST: Uuid;
}

/// A refusal on its way out.
pub(crate) struct Rejection(pub(crate) Refusal);

impl Rejection {
    /// A refusal that the HTTP layer itself raises.
    pub(crate) fn new(kind: ProblemKind, detail: impl Into<String>) -> Self {
        Self(Refusal::new(kind, detail))
    }

    /// The request breaks the contract in these places.
    pub(crate) fn invalid(mut errors: Vec<FieldFault>) -> Self {
        errors.sort();
        let mut refusal = Refusal::new(
            ProblemKind::InvalidRequest,
            match errors.as_slice() {
                [one] => one.to_string(),
                many => format!("{} fields break the contract", many.len()),
            },
        );
        refusal.0.errors = errors;
        Self(refusal)
    }

    fn problem(&self) -> Problem {
        let reason = &self.0.0;
        let (word, title) = reason.kind.words();
        let of = |verdict: Verdict| -> Vec<Obstacle> {
            reason.reasons.iter().filter(|r| r.verdict == Some(verdict)).cloned().collect()
        };
        Problem {
            kind: format!("/problems/{word}"),
            title: title.to_owned(),
            status: status::of(reason.kind).as_u16(),
            detail: reason.detail.clone(),
            instance: REQUEST.try_with(|id| format!("urn:uuid:{id}")).ok(),
            errors: reason.errors.clone(),
            missing: of(Verdict::Missing),
            violated: of(Verdict::Violated),
            stale: of(Verdict::Stale),
            earliest_at: reason.earliest_at(),
            reasons: reason.reasons.clone(),
            members: reason.members.clone(),
        }
    }
}

impl From<Refusal> for Rejection {
    fn from(refusal: Refusal) -> Self {
        Self(refusal)
    }
}

impl fmt::Debug for Rejection {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.0, out)
    }
}

impl fmt::Display for Rejection {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, out)
    }
}

impl ResponseError for Rejection {
    fn status_code(&self) -> StatusCode {
        status::of(self.0.kind())
    }

    fn error_response(&self) -> HttpResponse {
        if let Some(cause) = &self.0.0.cause
            && self.status_code().is_server_error()
        {
            tracing::error!(error = ?cause, "a step failed");
        }
        let mut answer = HttpResponse::build(self.status_code());
        match self.0.kind() {
            ProblemKind::TokenMissingOrInvalid => {
                answer.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
            }
            ProblemKind::Unavailable | ProblemKind::RequestInProgress => {
                answer.insert_header((header::RETRY_AFTER, "1"));
            }
            ProblemKind::MethodNotAllowed => {
                if let Some(allow) = self.0.0.members.get("allow").and_then(|v| v.as_str()) {
                    answer.insert_header((header::ALLOW, allow));
                }
            }
            _ => {}
        }
        answer.content_type("application/problem+json").json(self.problem())
    }
}

/// Tells every answer the id under which the log knows the request.
pub(crate) async fn dress(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let id = request.extensions().get::<RequestId>().copied().map(Uuid::from).unwrap_or_default();
    let mut response = REQUEST.scope(id, next.call(request)).await?;
    if let Ok(value) = header::HeaderValue::from_str(&id.to_string()) {
        response.headers_mut().insert(header::HeaderName::from_static("x-request-id"), value);
    }
    Ok(response)
}

/// Path parameters that do not read are no such thing.
pub(crate) fn path_config() -> web::PathConfig {
    web::PathConfig::default().error_handler(|error, _| {
        Rejection::new(ProblemKind::NotFound, format!("there is no such thing: {error}")).into()
    })
}

/// One type of problem.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ProblemType {
    /// The `type` that documents carry.
    #[serde(rename = "type")]
    kind: String,
    /// Its title.
    title: String,
    /// Its status.
    status: u16,
}

/// Every type of problem there is.
#[utoipa::path(tag = "service", security(()), responses((status = OK, body = Vec<ProblemType>)))]
#[get("/problems")]
pub(crate) async fn list_problems() -> HttpResponse {
    let types: Vec<ProblemType> = ProblemKind::ALL
        .iter()
        .map(|kind| ProblemType {
            kind: format!("/problems/{}", kind.words().0),
            title: kind.words().1.to_owned(),
            status: status::of(*kind).as_u16(),
        })
        .collect();
    HttpResponse::Ok().json(types)
}
