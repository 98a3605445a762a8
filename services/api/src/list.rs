//! Pages: the next one in `Link` (RFC 8288).

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use contract::list::Page;
use serde::Serialize;

/// The page, with a link to the next one.
pub(crate) fn with_next<T: Serialize>(request: &HttpRequest, page: &Page<T>) -> HttpResponse {
    let mut answer = HttpResponse::Ok();
    if let Some(next) = &page.next {
        let kept: Vec<&str> = request
            .query_string()
            .split('&')
            .filter(|part| !part.is_empty() && !part.starts_with("cursor="))
            .collect();
        let mut query = kept.join("&");
        if !query.is_empty() {
            query.push('&');
        }
        answer.insert_header((
            header::LINK,
            format!("<{}?{query}cursor={next}>; rel=\"next\"", request.path()),
        ));
    }
    answer.json(page)
}
