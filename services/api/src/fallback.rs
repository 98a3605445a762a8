//! What an unmatched request gets: 405 where the path is known, else 404.
//!
//! Attribute routes are one resource per method, so the framework by itself says 404 to both.

use actix_web::dev::ResourceDef;
use actix_web::{HttpRequest, HttpResponse, web};
use contract::problem::ProblemKind;
use utoipa::openapi::{OpenApi, PathItem};
use workflow::refusal::Refusal;

use crate::problem::Rejection;

/// Every documented path with its methods.
pub(crate) struct KnownPaths(Vec<(ResourceDef, String)>);

impl KnownPaths {
    /// The paths of the document.
    pub(crate) fn of(document: &OpenApi) -> Self {
        let known = document.paths.paths.iter();
        Self(known.map(|(path, item)| (ResourceDef::new(path.as_str()), methods(item))).collect())
    }
}

/// Answers what no route took.
pub(crate) async fn answer(
    request: HttpRequest,
    known: web::Data<KnownPaths>,
) -> Result<HttpResponse, Rejection> {
    let found = known.0.iter().find(|(path, _)| path.is_match(request.path()));
    Err(match found {
        Some((_, allow)) => Rejection(
            Refusal::new(ProblemKind::MethodNotAllowed, format!("this path takes {allow}"))
                .with("allow", allow.as_str()),
        ),
        None => Rejection::new(ProblemKind::NotFound, "there is no such path; see /openapi.json"),
    })
}

fn methods(item: &PathItem) -> String {
    let named = [
        ("GET", item.get.is_some()),
        ("POST", item.post.is_some()),
        ("PUT", item.put.is_some()),
        ("PATCH", item.patch.is_some()),
        ("DELETE", item.delete.is_some()),
    ];
    let present: Vec<&str> =
        named.into_iter().filter_map(|(name, there)| there.then_some(name)).collect();
    present.join(", ")
}
