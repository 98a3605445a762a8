//! Entity tags: the version of a thing, strong (RFC 9110 8.8.3).

use actix_web::http::header::{self, HeaderValue};

/// The `ETag` header of a version.
pub(crate) fn of(version: i64) -> (header::HeaderName, HeaderValue) {
    let value = HeaderValue::from_str(&format!("\"v{version}\""))
        .unwrap_or(HeaderValue::from_static("\"v0\""));
    (header::ETAG, value)
}

/// The version that an `If-Match` names. A weak tag never matches.
pub(crate) fn version(tag: &str) -> Option<i64> {
    tag.trim().strip_prefix("\"v")?.strip_suffix('"')?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_reads_back_and_a_weak_one_never_matches() {
        assert_eq!(version(of(42).1.to_str().expect("text")), Some(42));
        assert_eq!(version("W/\"v42\""), None);
        assert_eq!(version("\"42\""), None);
        assert_eq!(version("*"), None);
    }
}
