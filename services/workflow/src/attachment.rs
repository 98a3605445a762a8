//! Files: of the media types that a report can show, told by their content.

/// Largest file, in bytes.
pub(crate) const LIMIT: usize = 20 * 1024 * 1024;

/// Whether a file is of the media type that was named, and of one that is taken.
pub(crate) fn check(media_type: &str, bytes: &[u8]) -> Result<(), String> {
    if bytes.is_empty() || bytes.len() > LIMIT {
        return Err(format!("a file has 1 to {LIMIT} bytes"));
    }
    let fits = match media_type {
        "image/jpeg" => bytes.starts_with(&[0xFF, 0xD8, 0xFF]),
        "image/png" => bytes.starts_with(b"\x89PNG\r\n\x1a\n"),
        "application/pdf" => bytes.starts_with(b"%PDF-"),
        "text/csv" | "text/plain" => {
            std::str::from_utf8(bytes).is_ok_and(|text| !text.contains('\0'))
        }
        other => {
            return Err(format!(
                "files of type `{other}` are not taken: JPEG, PNG, PDF, CSV or plain text"
            ));
        }
    };
    if fits { Ok(()) } else { Err(format!("the file's content is not of type `{media_type}`")) }
}

/// How many bytes base64 stands for.
pub(crate) fn decoded(data: &str) -> usize {
    let padding = data.bytes().rev().take(2).filter(|byte| *byte == b'=').count();
    (data.len() / 4 * 3).saturating_sub(padding)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_what_its_content_says() {
        assert!(check("image/png", b"\x89PNG\r\n\x1a\n....").is_ok());
        assert!(check("image/jpeg", b"\x89PNG\r\n\x1a\n....").is_err());
        assert!(check("text/csv", b"a,b\n1,2\n").is_ok());
        assert!(check("text/csv", b"a\0b").is_err());
        assert!(check("image/svg+xml", b"<svg/>").is_err());
        assert!(check("image/png", b"").is_err());
    }
}
