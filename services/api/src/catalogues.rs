//! `/v1/catalogues`, `/v1/catalogue-checks`.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use contract::catalogue::{CatalogueView, CheckView, ImpactView, UploadView};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use domain::catalogue::Catalogue;
use workflow::flow::Flow;

use crate::accept::{Offer, choose};
use crate::body::fingerprint;
use crate::call::CallHeaders;
use crate::document::Document;
use crate::list::with_next;
use crate::permits::{Allowed, KeepCatalogues, ReadCatalogues};
use crate::problem::Rejection;
use crate::{etag, location};

const JSON: Offer = Offer("application/json");
const YAML: Offer = Offer("application/yaml");

/// Take a document onto the shelf as a draft.
///
/// YAML or JSON, up to 64 MB; `openapi/catalogue.schema.json` says its shape. A document with faults is refused with
/// all of them at once, each with line, column and the name of the fault (`faults`). The same document again gives the
/// catalogue that is there (200).
#[utoipa::path(
    tag = "catalogues",
    request_body(content(
        (Catalogue = "application/json"),
        (Catalogue = "application/yaml")
    )),
    params(("Idempotency-Key" = Option<String>, Header, description = "the same key and body give the same answer")),
    responses(
        (status = CREATED, body = UploadView),
        (status = OK, body = UploadView, description = "it was uploaded before"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/catalogues")]
pub(crate) async fn upload_catalogue(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepCatalogues>,
    headers: CallHeaders,
    document: Document,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, document.fingerprint);
    let (uploaded, created) = workflow::catalogues::upload(&flow, &call, document.text).await?;
    let mut answer = if created { HttpResponse::Created() } else { HttpResponse::Ok() };
    let path = location::of("/v1/catalogues", &uploaded.catalogue.version);
    Ok(answer
        .insert_header(etag::of(uploaded.catalogue.revision))
        .insert_header((header::LOCATION, path))
        .json(uploaded))
}

/// Put another document in a draft's place.
#[utoipa::path(
    tag = "catalogues",
    request_body(content(
        (Catalogue = "application/json"),
        (Catalogue = "application/yaml")
    )),
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses(
        (status = OK, body = UploadView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[put("/catalogues/{version}")]
pub(crate) async fn redraft_catalogue(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepCatalogues>,
    headers: CallHeaders,
    version: web::Path<String>,
    document: Document,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, document.fingerprint)?;
    let changed = workflow::catalogues::redraft(&flow, &call, &version, document.text).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(changed.catalogue.revision)).json(changed))
}

/// Every catalogue, newest first.
#[utoipa::path(
    tag = "catalogues",
    params(PageQuery),
    responses(
        (status = OK, body = Page<CatalogueView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/catalogues")]
pub(crate) async fn list_catalogues(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadCatalogues>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::catalogues::list(&flow, &allowed.caller, &query).await?))
}

/// One catalogue. What it says is at its `document`.
#[utoipa::path(
    tag = "catalogues",
    responses(
        (status = OK, body = CatalogueView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/catalogues/{version}")]
pub(crate) async fn get_catalogue(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadCatalogues>,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    Ok(shown(&workflow::catalogues::get(&flow, &allowed.caller, &version).await?))
}

/// The document itself.
///
/// As JSON in its canonical form: its SHA-256 is the catalogue's `digest` and stands in `Repr-Digest` (RFC 9530). As
/// YAML (`Accept: application/yaml`) the text as it was uploaded, where that was YAML; otherwise the same JSON, which
/// is YAML too.
#[utoipa::path(
    tag = "catalogues",
    responses(
        (status = OK, content((Catalogue = "application/json"), (Catalogue = "application/yaml"))),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/catalogues/{version}/document")]
pub(crate) async fn get_document(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadCatalogues>,
    request: HttpRequest,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    let offer = choose(&request, &[JSON, YAML])?;
    let (row, digest) = workflow::catalogues::document(&flow, &allowed.caller, &version).await?;
    let mut answer = HttpResponse::Ok();
    answer.content_type(offer.0).insert_header((header::VARY, "accept"));
    if let Some(yaml) = row.yaml.filter(|_| offer == YAML) {
        return Ok(answer.body(yaml));
    }
    let digest = format!("sha-256=:{}:", BASE64_STANDARD.encode(digest));
    Ok(answer.insert_header(("repr-digest", digest)).body(row.document))
}

/// Check a document without keeping it: its faults, and what a keeper should look at.
#[utoipa::path(
    tag = "catalogues",
    request_body(content(
        (Catalogue = "application/json"),
        (Catalogue = "application/yaml")
    )),
    responses(
        (status = OK, body = CheckView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/catalogue-checks")]
pub(crate) async fn check_document(
    flow: web::Data<Flow>,
    _: Allowed<ReadCatalogues>,
    document: Document,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::catalogues::check(&flow, document.text).await?))
}

/// The check of a catalogue on the shelf, with the places of the text as it was uploaded.
#[utoipa::path(
    tag = "catalogues",
    responses(
        (status = OK, body = CheckView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/catalogues/{version}/check")]
pub(crate) async fn check_catalogue(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadCatalogues>,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::catalogues::check_kept(&flow, &allowed.caller, &version).await?;
    Ok(HttpResponse::Ok().json(found))
}

/// What deriving every open order anew with this catalogue would change, before it is put in force.
#[utoipa::path(
    tag = "catalogues",
    responses(
        (status = OK, body = ImpactView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/catalogues/{version}/impact")]
pub(crate) async fn get_impact(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepCatalogues>,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::impact::impact(&flow, &allowed.caller, &version).await?))
}

/// Put a draft in force.
///
/// New orders are derived with it; the one that was in force is retired. Orders that are there stay on their version
/// until somebody derives them anew (`POST /v1/orders/{id}/derivations`).
#[utoipa::path(
    tag = "catalogues",
    params(("If-Match" = Option<String>, Header, description = "the ETag of the draft that is meant")),
    responses(
        (status = OK, body = CatalogueView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/catalogues/{version}/publish")]
pub(crate) async fn publish_catalogue(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepCatalogues>,
    headers: CallHeaders,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, fingerprint("publish", version.as_bytes()));
    Ok(shown(&workflow::catalogues::publish(&flow, &call, &version).await?))
}

/// Lay a draft aside for good.
#[utoipa::path(
    tag = "catalogues",
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses(
        (status = OK, body = CatalogueView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[delete("/catalogues/{version}")]
pub(crate) async fn lay_catalogue_aside(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepCatalogues>,
    headers: CallHeaders,
    version: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, fingerprint("aside", version.as_bytes()))?;
    Ok(shown(&workflow::catalogues::lay_aside(&flow, &call, &version).await?))
}

fn shown(catalogue: &CatalogueView) -> HttpResponse {
    HttpResponse::Ok().insert_header(etag::of(catalogue.revision)).json(catalogue)
}
