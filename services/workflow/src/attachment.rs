//! Files: of the media types that a report can show, told by their content.

use evidence::identity;
use img_parts::Bytes;
use img_parts::jpeg::Jpeg;
use img_parts::png::Png;

/// Largest file, in bytes.
pub(crate) const LIMIT: usize = 20 * 1024 * 1024;

/// How far from its end a PDF file must say that it ends (common practice of readers, no source).
const PDF_END: usize = 1024;

/// Whether a file is of the media type that was named, and of one that is taken.
pub(crate) fn check(media_type: &str, bytes: &[u8]) -> Result<(), String> {
    if bytes.is_empty() || bytes.len() > LIMIT {
        return Err(format!("a file has 1 to {LIMIT} bytes"));
    }
    let fits = match media_type {
        "image/jpeg" => bytes.starts_with(&[0xFF, 0xD8, 0xFF]),
        "image/png" => bytes.starts_with(b"\x89PNG\r\n\x1a\n"),
        "application/pdf" => is_pdf(bytes),
        "text/csv" | "text/plain" => {
            std::str::from_utf8(bytes).is_ok_and(|text| !text.contains('\0'))
        }
        other => {
            return Err(format!(
                "files of type `{other}` are not taken: JPEG, PNG, PDF, CSV or plain text"
            ));
        }
    };
    if !fits {
        return Err(format!("the file's content is not of type `{media_type}`"));
    }
    let size = match media_type {
        "image/jpeg" => jpeg_size(bytes),
        "image/png" => png_size(bytes),
        _ => return Ok(()),
    };
    match size {
        Some((width, height)) if width > 0 && height > 0 => Ok(()),
        Some(_) => Err("the picture has no width or no height".to_owned()),
        None => {
            Err("the picture cannot be read: nothing in it tells its width and height".to_owned())
        }
    }
}

/// Whether a file shows what it must as a picture: what is photographed is no text.
pub(crate) fn check_shows(shows: &str, media_type: &str) -> Result<(), String> {
    let photo = shows.ends_with("_photo") || identity::PHOTOS.contains(&shows);
    if photo && !media_type.starts_with("image/") {
        return Err(format!("`{shows}` is a photo: a JPEG or PNG file, not `{media_type}`"));
    }
    Ok(())
}

/// A version behind the mark at its begin (ISO 32000-1, 7.5.2), and the mark of its end.
fn is_pdf(bytes: &[u8]) -> bool {
    let version = match bytes.strip_prefix(b"%PDF-") {
        Some([major, b'.', minor, ..]) => major.is_ascii_digit() && minor.is_ascii_digit(),
        _ => false,
    };
    let end = &bytes[bytes.len().saturating_sub(PDF_END)..];
    version && end.windows(5).any(|five| five == b"%%EOF")
}

/// Width and height of the frame header (ITU-T T.81, B.2.2: precision, lines, samples per line).
fn jpeg_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let picture = Jpeg::from_bytes(Bytes::copy_from_slice(bytes)).ok()?;
    // Of the sixteen markers three stand for something else: Huffman tables, a reserved one, arithmetic coding.
    let frame =
        |marker: u8| (0xC0..=0xCF).contains(&marker) && !matches!(marker, 0xC4 | 0xC8 | 0xCC);
    let header = picture.segments().iter().find(|segment| frame(segment.marker()))?;
    let [_, h1, h0, w1, w0] = header.contents().first_chunk()?;
    Some((u16::from_be_bytes([*w1, *w0]).into(), u16::from_be_bytes([*h1, *h0]).into()))
}

/// Width and height of the first chunk (ISO/IEC 15948, 11.2.2).
fn png_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let picture = Png::from_bytes(Bytes::copy_from_slice(bytes)).ok()?;
    let header = picture.chunks().first().filter(|chunk| chunk.kind() == *b"IHDR")?;
    let size = header.contents().first_chunk::<8>()?;
    let number = |at: usize| size[at..].first_chunk().map(|four| u32::from_be_bytes(*four));
    Some((number(0)?, number(4)?))
}

/// How many bytes base64 stands for.
pub(crate) fn decoded(data: &str) -> usize {
    let padding = data.bytes().rev().take(2).filter(|byte| *byte == b'=').count();
    (data.len() / 4 * 3).saturating_sub(padding)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The mark and one chunk, which must be the header (ISO/IEC 15948, 5.2 and 5.3).
    fn png(width: u32, height: u32) -> Vec<u8> {
        let size = [width.to_be_bytes(), height.to_be_bytes()].concat();
        let header = [&size[..], &[8, 0, 0, 0, 0]].concat();
        let chunk = img_parts::png::PngChunk::new(*b"IHDR", header.into());
        [&b"\x89PNG\r\n\x1a\n"[..], &chunk.encoder().bytes()].concat()
    }

    /// Begin, frame header of one component, end (ITU-T T.81, B.2).
    fn jpeg(width: u16, height: u16) -> Vec<u8> {
        let ([h1, h0], [w1, w0]) = (height.to_be_bytes(), width.to_be_bytes());
        let frame = [0xFF, 0xC0, 0, 11, 8, h1, h0, w1, w0, 1, 1, 0x11, 0];
        [&[0xFF, 0xD8][..], &frame, &[0xFF, 0xD9]].concat()
    }

    #[test]
    fn a_picture_has_a_header_with_a_width_and_a_height() {
        assert_eq!(check("image/png", &png(640, 480)), Ok(()));
        assert_eq!(check("image/jpeg", &jpeg(640, 480)), Ok(()));
        for (width, height) in [(0, 480), (640, 0)] {
            assert!(check("image/png", &png(width.into(), height.into())).is_err());
            assert!(check("image/jpeg", &jpeg(width, height)).is_err());
        }
        for cut in 0..png(640, 480).len() - 4 {
            assert!(check("image/png", &png(640, 480)[..cut]).is_err(), "{cut}");
        }
        for cut in 0..9 {
            assert!(check("image/jpeg", &jpeg(640, 480)[..cut]).is_err(), "{cut}");
        }
        assert!(check("image/jpeg", &[0xFF, 0xD8, 0xFF, 0xD9]).is_err(), "no frame");
    }

    #[test]
    fn a_pdf_has_a_version_and_an_end() {
        assert_eq!(check("application/pdf", b"%PDF-1.7\n1 0 obj\n%%EOF\n"), Ok(()));
        for torn in [&b"%PDF-"[..], b"%PDF-1.7\n", b"%PDF-x.y\n%%EOF", b"%%EOF"] {
            assert!(check("application/pdf", torn).is_err());
        }
        let buried = [&b"%PDF-1.7\n%%EOF"[..], &[b' '; PDF_END]].concat();
        assert!(check("application/pdf", &buried).is_err());
    }

    #[test]
    fn what_is_photographed_is_a_picture() {
        for shows in ["vin_photo", "plate_photo", "vehicle_identity", "target_photo"] {
            assert!(check_shows(shows, "text/plain").is_err(), "{shows}");
            assert!(check_shows(shows, "application/pdf").is_err(), "{shows}");
            assert_eq!(check_shows(shows, "image/png"), Ok(()));
        }
        assert_eq!(check_shows("alignment_printout", "application/pdf"), Ok(()));
    }

    #[test]
    fn a_file_is_what_its_content_says() {
        assert!(check("image/png", &png(1, 1)).is_ok());
        assert!(check("image/jpeg", b"\x89PNG\r\n\x1a\n....").is_err());
        assert!(check("text/csv", b"a,b\n1,2\n").is_ok());
        assert!(check("text/csv", b"a\0b").is_err());
        assert!(check("image/svg+xml", b"<svg/>").is_err());
        assert!(check("image/png", b"").is_err());
    }
}
