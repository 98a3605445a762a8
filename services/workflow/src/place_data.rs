//! Where a photo was taken is nobody's business here: place data is taken out of pictures before they are hashed and kept.
//!
//! Of JPEG (ITU-T T.81) and PNG (ISO/IEC 15948) files the GPS directory of the Exif data goes (CIPA DC-008, tag 0x8825),
//! further metadata of other forms (XMP, IPTC) as a whole, and further pictures behind the first with their own. All else
//! of the Exif data stays: when, with what, which side is up.

use img_parts::Bytes;
use img_parts::jpeg::{Jpeg, JpegSegment, markers};
use img_parts::png::{Png, PngChunk};

const EXIF: &[u8] = b"Exif\0\0";
const XMP: &[&[u8]] = &[b"http://ns.adobe.com/xap/1.0/\0", b"http://ns.adobe.com/xmp/extension/\0"];
/// Text chunks of PNG files that hold whole blocks of metadata.
const TEXTS: [[u8; 4]; 3] = [*b"tEXt", *b"zTXt", *b"iTXt"];
/// How such a text begins.
const PROFILES: &[&[u8]] = &[b"XML:com.adobe.xmp", b"Raw profile type"];
/// Tag of the pointer to the GPS directory.
const GPS: u16 = 0x8825;

/// The picture without its place data; `None`: it has none. A picture that cannot be read may hold some and is refused.
pub(crate) fn removed(media_type: &str, bytes: &[u8]) -> Result<Option<Vec<u8>>, String> {
    match media_type {
        "image/jpeg" => jpeg(bytes),
        "image/png" => png(bytes),
        _ => Ok(None),
    }
}

fn jpeg(bytes: &[u8]) -> Result<Option<Vec<u8>>, String> {
    let mut picture =
        Jpeg::from_bytes(Bytes::copy_from_slice(bytes)).map_err(|error| unreadable(&error))?;
    let mut changed = false;
    let segments = std::mem::take(picture.segments_mut());
    for segment in segments {
        match cleaned(&segment) {
            Cleaned::Same => picture.segments_mut().push(segment),
            Cleaned::Other(contents) => {
                changed = true;
                let other = JpegSegment::new_with_contents(segment.marker(), contents.into());
                picture.segments_mut().push(other);
            }
            Cleaned::Gone => changed = true,
        }
    }
    let whole = picture.encoder().bytes();
    let first = behind_the_first(&whole);
    let kept = first.map_or(whole.as_ref(), |end| &whole[..end]);
    Ok((changed || first.is_some()).then(|| kept.to_vec()))
}

enum Cleaned {
    Same,
    Other(Vec<u8>),
    Gone,
}

fn cleaned(segment: &JpegSegment) -> Cleaned {
    let contents = segment.contents();
    match segment.marker() {
        markers::APP1 if contents.starts_with(EXIF) => match without_gps(&contents[EXIF.len()..]) {
            Gps::None => Cleaned::Same,
            Gps::Removed(tiff) => Cleaned::Other([EXIF, &tiff].concat()),
            Gps::Unreadable => Cleaned::Gone,
        },
        markers::APP1 if XMP.iter().any(|xmp| contents.starts_with(xmp)) => Cleaned::Gone,
        // IPTC in an image resource block.
        markers::APP13 => Cleaned::Gone,
        _ => Cleaned::Same,
    }
}

/// Where the first picture ends, when others with Exif data of their own stand behind it.
fn behind_the_first(bytes: &[u8]) -> Option<usize> {
    let end = end_of_picture(bytes)?;
    let more = bytes[end..].windows(EXIF.len()).any(|window| window == EXIF);
    more.then_some(end)
}

/// Where the picture that begins here ends, marker by marker: a preview inside its Exif data has an end of its own.
fn end_of_picture(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    loop {
        let marker = *bytes.get(at + 1).filter(|_| bytes[at] == markers::P)?;
        match marker {
            markers::EOI => return Some(at + 2),
            markers::P => at += 1, // fill
            markers::SOI | markers::RST0..=markers::RST7 => at += 2,
            _ => {
                let length: [u8; 2] = bytes.get(at + 2..at + 4)?.try_into().ok()?;
                at += 2 + usize::from(u16::from_be_bytes(length));
            }
        }
        if marker == markers::SOS {
            // Coded data: its bytes are no markers, but for restarts.
            let coded = |two: &[u8]| {
                two[0] != markers::P || matches!(two[1], markers::Z | markers::RST0..=markers::RST7)
            };
            at += bytes.get(at..)?.windows(2).position(|two| !coded(two))?;
        }
    }
}

fn png(bytes: &[u8]) -> Result<Option<Vec<u8>>, String> {
    let mut picture =
        Png::from_bytes(Bytes::copy_from_slice(bytes)).map_err(|error| unreadable(&error))?;
    let mut changed = false;
    let chunks = std::mem::take(picture.chunks_mut());
    for chunk in chunks {
        if chunk.kind() == *b"eXIf" {
            match without_gps(chunk.contents()) {
                Gps::None => picture.chunks_mut().push(chunk),
                Gps::Removed(tiff) => {
                    changed = true;
                    picture.chunks_mut().push(PngChunk::new(*b"eXIf", tiff.into()));
                }
                Gps::Unreadable => changed = true,
            }
        } else if TEXTS.contains(&chunk.kind())
            && PROFILES.iter().any(|profile| chunk.contents().starts_with(profile))
        {
            changed = true;
        } else {
            picture.chunks_mut().push(chunk);
        }
    }
    Ok(changed.then(|| picture.encoder().bytes().to_vec()))
}

enum Gps {
    None,
    Removed(Vec<u8>),
    Unreadable,
}

/// Exif data (a TIFF structure) without its GPS directory: its entries and their values are blanked, and the pointer to
/// them is taken out of the first directory.
fn without_gps(tiff: &[u8]) -> Gps {
    let mut tiff = Tiff { bytes: tiff.to_vec(), little: tiff.starts_with(b"II") };
    let known = tiff.bytes.starts_with(b"II*\0") || tiff.bytes.starts_with(b"MM\0*");
    match known.then(|| tiff.remove_gps()).flatten() {
        Some(true) => Gps::Removed(tiff.bytes),
        Some(false) => Gps::None,
        None => Gps::Unreadable,
    }
}

struct Tiff {
    bytes: Vec<u8>,
    little: bool,
}

impl Tiff {
    /// Whether there was one; `None`: it cannot be read.
    fn remove_gps(&mut self) -> Option<bool> {
        let first = self.long(4)?;
        let count = usize::from(self.short(first)?);
        let entry = |index: usize| first + 2 + 12 * index;
        let mut at = None;
        for index in 0..count {
            if self.short(entry(index))? == GPS {
                at = Some(index);
            }
        }
        let Some(at) = at else { return Some(false) };
        let directory = self.long(entry(at) + 8)?;
        self.blank_directory(directory)?;
        // The entries behind it move up, and with them the pointer to the next directory.
        let end = entry(count) + 4;
        self.bytes.get(..end)?;
        self.bytes.copy_within(entry(at + 1)..end, entry(at));
        self.bytes[end - 12..end].fill(0);
        let left = u16::try_from(count - 1).ok()?;
        let left = if self.little { left.to_le_bytes() } else { left.to_be_bytes() };
        self.bytes[first..first + 2].copy_from_slice(&left);
        Some(true)
    }

    fn blank_directory(&mut self, at: usize) -> Option<()> {
        let count = usize::from(self.short(at)?);
        for index in 0..count {
            let entry = at + 2 + 12 * index;
            // Bytes per value of each type of TIFF 6.0, section 2.
            let size = match self.short(entry + 2)? {
                3 | 8 => 2,
                4 | 9 | 11 => 4,
                5 | 10 | 12 => 8,
                _ => 1,
            };
            let length = self.long(entry + 4)?.checked_mul(size)?;
            if length > 4 {
                let value = self.long(entry + 8)?;
                self.bytes.get_mut(value..value.checked_add(length)?)?.fill(0);
            }
        }
        self.bytes.get_mut(at..at + 2 + 12 * count)?.fill(0);
        Some(())
    }

    fn short(&self, at: usize) -> Option<u16> {
        let two: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.little { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
    }

    fn long(&self, at: usize) -> Option<usize> {
        let four: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        let value = if self.little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) };
        usize::try_from(value).ok()
    }
}

fn unreadable(error: &img_parts::Error) -> String {
    format!("the picture cannot be read, so place data cannot be taken out of it: {error}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exif data with an orientation, and a GPS directory with a latitude of 52 degrees as a rational.
    fn exif(little: bool) -> Vec<u8> {
        let short = |n: u16| if little { n.to_le_bytes() } else { n.to_be_bytes() };
        let long = |n: u32| if little { n.to_le_bytes() } else { n.to_be_bytes() };
        let mut all = if little { b"II*\0".to_vec() } else { b"MM\0*".to_vec() };
        all.extend(long(8));
        all.extend(short(2));
        all.extend([short(0x0112), short(3)].concat());
        all.extend(long(1));
        all.extend([short(6), short(0)].concat());
        all.extend([short(GPS), short(4)].concat());
        all.extend(long(1));
        all.extend(long(38));
        all.extend(long(0));
        all.extend(short(1));
        all.extend([short(2), short(5)].concat());
        all.extend(long(1));
        all.extend(long(56));
        all.extend(long(0));
        all.extend(long(52));
        all.extend(long(1));
        all
    }

    #[test]
    fn the_gps_directory_goes_and_the_rest_of_the_exif_data_stays() {
        for little in [true, false] {
            let before = exif(little);
            let Gps::Removed(after) = without_gps(&before) else { panic!("it has one") };
            assert_eq!(after.len(), before.len());
            let tiff = Tiff { bytes: after.clone(), little };
            assert_eq!(
                (tiff.short(8), tiff.short(10), tiff.short(18)),
                (Some(1), Some(0x0112), Some(6))
            );
            assert_eq!(tiff.long(22), Some(0), "no directory follows");
            assert!(after[34..].iter().all(|byte| *byte == 0), "nothing of the place is left");
            assert!(matches!(without_gps(&after), Gps::None));
        }
    }

    #[test]
    fn exif_data_that_cannot_be_read_goes_whole_and_never_panics() {
        let whole = exif(true);
        for end in 0..whole.len() {
            assert!(!matches!(without_gps(&whole[..end]), Gps::None) || end < 8);
        }
        for at in 0..whole.len() {
            for value in [0, 1, 0x7F, 0xFF] {
                let mut broken = whole.clone();
                broken[at] = value;
                let _ = without_gps(&broken);
            }
        }
    }

    /// A picture as cameras write it: a preview with an end of its own inside the Exif data, a scan with a restart.
    fn photo() -> Vec<u8> {
        let preview = [0xFF, 0xD8, 0xFF, 0xDA, 0, 2, 1, 0xFF, 0xD9];
        let app1 = [EXIF, b"II*\0\x08\0\0\0\0\0\0\0\0\0", &preview].concat();
        let length = u8::try_from(app1.len() + 2).expect("short");
        let scan = [0xFF, 0xDA, 0, 2, 1, 0xFF, 0, 2, 0xFF, 0xD3, 3, 0xFF, 0xD9];
        [&[0xFF, 0xD8, 0xFF, 0xE1, 0, length], &app1[..], &scan].concat()
    }

    #[test]
    fn a_picture_behind_the_first_goes_and_the_first_stays_whole() {
        let photo = photo();
        assert_eq!(removed("image/jpeg", &photo), Ok(None));
        let two = [&photo[..], &photo].concat();
        assert_eq!(removed("image/jpeg", &two), Ok(Some(photo)));
    }

    #[test]
    fn a_picture_keeps_what_is_no_place_data_to_the_byte() {
        let plain = [&[0xFF, 0xD8, 0xFF, 0xFE, 0, 6][..], b"note", &[0xFF, 0xD9]].concat();
        assert_eq!(removed("image/jpeg", &plain), Ok(None));
        assert_eq!(removed("text/plain", b"GPS"), Ok(None));
        assert!(removed("image/jpeg", &[0xFF, 0xD8, 0xFF]).is_err());
    }
}
