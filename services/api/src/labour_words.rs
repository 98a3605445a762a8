//! `/v1/labour-words`.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use contract::labour_words::{LabourWordView, NewLabourWord, NewMeaning};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::list::with_next;
use crate::location;
use crate::permits::{Allowed, KeepWords, ReadWords};
use crate::problem::Rejection;

fn kept(word: &LabourWordView, created: bool) -> HttpResponse {
    let mut answer = if created { HttpResponse::Created() } else { HttpResponse::Ok() };
    answer.insert_header(("location", location::of("/v1/labour-words", &word.phrase))).json(word)
}

/// Keep a phrase or labour code of the shop.
///
/// Letter case, blanks and marks do not matter. The same word with the same meaning is there already (200); with
/// another meaning it is a 409: put it instead.
#[utoipa::path(
    tag = "labour words",
    request_body = NewLabourWord,
    responses(
        (status = CREATED, body = LabourWordView),
        (status = OK, body = LabourWordView, description = "it was kept before"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/labour-words")]
pub(crate) async fn add_word(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepWords>,
    headers: CallHeaders,
    new: Checked<NewLabourWord>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (word, created) = workflow::labour_words::add(&flow, &call, &new.body).await?;
    Ok(kept(&word, created))
}

/// Say what a phrase or labour code means, whatever it meant before. Lines that were read keep their reading.
#[utoipa::path(
    tag = "labour words",
    request_body = NewMeaning,
    responses(
        (status = CREATED, body = LabourWordView),
        (status = OK, body = LabourWordView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[put("/labour-words/{phrase}")]
pub(crate) async fn put_word(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepWords>,
    headers: CallHeaders,
    phrase: web::Path<String>,
    new: Checked<NewMeaning>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (word, created) =
        workflow::labour_words::put(&flow, &call, &phrase, &new.body.operations).await?;
    Ok(kept(&word, created))
}

/// A page of the shop's words, by phrase.
#[utoipa::path(
    tag = "labour words",
    params(PageQuery),
    responses(
        (status = OK, body = Page<LabourWordView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/labour-words")]
pub(crate) async fn list_words(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadWords>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    let page = workflow::labour_words::list(&flow, &allowed.caller, &query).await?;
    Ok(with_next(&request, &page))
}

/// One word.
#[utoipa::path(
    tag = "labour words",
    responses(
        (status = OK, body = LabourWordView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/labour-words/{phrase}")]
pub(crate) async fn get_word(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadWords>,
    phrase: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::labour_words::get(&flow, &allowed.caller, &phrase).await?))
}

/// Forget a word. Lines that were read with it keep their reading.
#[utoipa::path(
    tag = "labour words",
    responses(
        (status = NO_CONTENT, description = "it is forgotten"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[delete("/labour-words/{phrase}")]
pub(crate) async fn remove_word(
    flow: web::Data<Flow>,
    allowed: Allowed<KeepWords>,
    headers: CallHeaders,
    phrase: web::Path<String>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, fingerprint("forget", phrase.as_bytes()));
    workflow::labour_words::remove(&flow, &call, &phrase).await?;
    Ok(HttpResponse::NoContent().finish())
}
