//! Where a thing is that people name: its name as one segment of a path (RFC 3986 2.1, 3.3).

use std::fmt::Write as _;

/// The path of a thing below a collection.
pub(crate) fn of(collection: &str, name: &str) -> String {
    let mut path = format!("{collection}/");
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            path.push(char::from(byte));
        } else {
            let _ = write!(path, "%{byte:02X}");
        }
    }
    path
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_name_stays_one_segment() {
        assert_eq!(super::of("/v1/x", "tb / süß"), "/v1/x/tb%20%2F%20s%C3%BC%C3%9F");
    }
}
