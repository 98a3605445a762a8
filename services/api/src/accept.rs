//! Which of the media types on offer a client wants (RFC 9110 12.5.1).

use actix_web::HttpRequest;
use actix_web::http::header;
use contract::problem::ProblemKind;

use crate::problem::Rejection;

/// A media type that can be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Offer(pub(crate) &'static str);

/// The offer that the client prefers; the first one when it does not say.
pub(crate) fn choose(request: &HttpRequest, offers: &[Offer]) -> Result<Offer, Rejection> {
    let wanted: Vec<&str> =
        request.headers().get_all(header::ACCEPT).filter_map(|value| value.to_str().ok()).collect();
    pick(&wanted.join(","), offers).ok_or_else(|| {
        let given: Vec<&str> = offers.iter().map(|offer| offer.0).collect();
        Rejection::new(ProblemKind::NotAcceptable, format!("this is given as {}", given.join(", ")))
    })
}

fn pick(accept: &str, offers: &[Offer]) -> Option<Offer> {
    if accept.trim().is_empty() {
        return offers.first().copied();
    }
    let mut best: Option<(Offer, f32, u8)> = None;
    for part in accept.split(',') {
        let mut pieces = part.split(';').map(str::trim);
        let range = pieces.next().unwrap_or_default().to_ascii_lowercase();
        let quality = pieces
            .find_map(|p| p.strip_prefix("q="))
            .map_or(1.0, |q| q.parse::<f32>().unwrap_or(0.0));
        for offer in offers {
            let family = offer.0.split('/').next().unwrap_or_default();
            let closeness = if range == offer.0 {
                2
            } else if range == format!("{family}/*") {
                1
            } else if range == "*/*" {
                0
            } else {
                continue;
            };
            let better = best.is_none_or(|(_, q, c)| {
                quality > q || ((quality - q).abs() < f32::EPSILON && closeness > c)
            });
            if quality > 0.0 && better {
                best = Some((*offer, quality, closeness));
            }
        }
    }
    best.map(|(offer, ..)| offer)
}

#[cfg(test)]
mod tests {
    use super::*;

    const OFFERS: &[Offer] =
        &[Offer("application/json"), Offer("text/html"), Offer("image/svg+xml")];

    /// RFC 9110 12.5.1: the closest range counts, then its weight.
    #[test]
    fn the_best_offer_is_given() {
        for (accept, given) in [
            ("", Some("application/json")),
            ("*/*", Some("application/json")),
            ("text/html", Some("text/html")),
            ("text/*;q=0.9, application/json;q=0.5", Some("text/html")),
            ("image/svg+xml;q=0.8, text/html;q=0.2", Some("image/svg+xml")),
            ("application/pdf", None),
            ("text/html;q=0", None),
        ] {
            assert_eq!(pick(accept, OFFERS).map(|offer| offer.0), given, "{accept}");
        }
    }
}
