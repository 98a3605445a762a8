//! What a posted item says, before it is held against the limits.

use base64::Engine as _;
use chrono::{DateTime, Utc};
use contract::evidence::{EvidenceItem, Protocol};
use domain::exact::Exact;
use evidence::frame;
use evidence::intake::{self, Instrument};
use evidence::sample::{Code, CodeList, Kind};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use store::means::Unit;
use uuid::Uuid;

use crate::{attachment, place_data};

/// What a posted item says.
pub(crate) struct Said {
    pub(crate) kinds: Vec<Kind>,
    pub(crate) taken_at: DateTime<Utc>,
    pub(crate) instrument: Instrument,
    /// The kind of the item, as it is stored.
    pub(crate) word: &'static str,
    /// The item as it was posted, without a file's bytes.
    pub(crate) given: Value,
    pub(crate) file: Option<File>,
    /// Why its bytes can't be read: it is kept as it came, for somebody who can, and is no evidence.
    pub(crate) unread: Option<String>,
    /// What its bytes are where nothing of them is used.
    pub(crate) unused: Option<String>,
}

/// A file that was posted.
pub(crate) struct File {
    pub(crate) media_type: String,
    pub(crate) sha256: [u8; 32],
    pub(crate) bytes: Vec<u8>,
    /// Place data was taken out of it before it was hashed.
    pub(crate) place_data_removed: bool,
}

/// Who sends an item.
#[derive(Clone, Copy)]
pub(crate) struct Sender<'a> {
    /// The technician's id, or the subject of the token of whoever is none.
    pub(crate) by: &'a str,
    /// A person's token, not a program's.
    pub(crate) person: bool,
    /// Somebody else than the one who holds the task.
    pub(crate) second: bool,
    /// For somebody else, who saw it.
    pub(crate) for_another: bool,
}

/// What an item says.
pub(crate) fn say(item: &EvidenceItem, units: &[Unit], sender: Sender) -> Result<Said, String> {
    let given = as_posted(item)?;
    if given.to_string().contains("\\u0000") {
        return Err("a text has the character NUL".to_owned());
    }
    let said = |word: &'static str, kind: Kind, taken_at: DateTime<Utc>, by: Option<Uuid>| Said {
        kinds: vec![kind],
        taken_at,
        instrument: instrument(by, units),
        word,
        given: given.clone(),
        file: None,
        unread: None,
        unused: None,
    };
    match item {
        EvidenceItem::Reading { signal, value, unit, is, place, taken_at, equipment } => {
            let kind = match (value, unit, is) {
                (Some(value), Some(unit), None) => Kind::Number {
                    signal: signal.clone(),
                    place: place.clone(),
                    value: Exact::from(*value),
                    unit: unit.clone(),
                },
                (None, None, Some(is)) => Kind::State { signal: signal.clone(), is: is.clone() },
                _ => return Err("a reading has a value with its unit, or a state".to_owned()),
            };
            Ok(said("reading", kind, *taken_at, *equipment))
        }
        EvidenceItem::Frame { protocol, bytes, taken_at, equipment } => {
            let protocol = match protocol {
                Protocol::Obd => frame::Protocol::Obd,
                Protocol::Uds => frame::Protocol::Uds,
                Protocol::IsoTpCan => frame::Protocol::IsoTpCan,
            };
            let raw = from_hex(bytes).ok_or("the frame's bytes are not pairs of hex digits")?;
            let mut frame = said("frame", Kind::CodesCleared, *taken_at, *equipment);
            (frame.kinds, frame.unread) = match frame::decode(protocol, &raw) {
                Ok(kinds) => (kinds, None),
                Err(fault) => (Vec::new(), Some(fault.to_string())),
            };
            frame.unused = (frame.kinds.is_empty() && frame.unread.is_none())
                .then(|| frame::unused(protocol, &raw));
            Ok(frame)
        }
        EvidenceItem::TroubleCodes { codes, taken_at, equipment } => {
            if !sender.person {
                return Err("only a person types what they read; send the frame instead".to_owned());
            }
            let code = |code: &String| Code { code: code.trim().to_owned(), status: None };
            let codes = codes.iter().map(code).collect();
            let kind = Kind::Codes { list: CodeList::Stored, codes };
            Ok(said("trouble_codes", kind, *taken_at, *equipment))
        }
        EvidenceItem::Attestation { statement, holds, text, taken_at } => {
            if !sender.person {
                return Err("only a person attests, not a program".to_owned());
            }
            if sender.for_another {
                return Err("a person's word comes with their own token".to_owned());
            }
            let text = text.as_deref().unwrap_or_default();
            let kind = intake::word(statement, *holds, text, sender.by, sender.second);
            Ok(said("attestation", kind, *taken_at, None))
        }
        EvidenceItem::Attachment { shows, media_type, sha256, data, taken_at } => {
            attachment::check_shows(shows, media_type)?;
            let file = file(media_type, sha256, data)?;
            let digest = crate::record::hex(&file.sha256);
            let kind = Kind::Attachment { shows: shows.clone(), sha256: digest.clone() };
            let mut attachment = said("attachment", kind, *taken_at, None);
            attachment.given["bytes"] = file.bytes.len().into();
            // The record holds the digest of what is kept. That of what was sent would tell nobody anything.
            attachment.given["sha256"] = digest.into();
            if file.place_data_removed {
                attachment.given["place_data"] = "removed".into();
            }
            Ok(Said { file: Some(file), ..attachment })
        }
    }
}

/// The item as it was posted, without a file's bytes.
fn as_posted(item: &EvidenceItem) -> Result<Value, String> {
    match item {
        EvidenceItem::Attachment { shows, media_type, sha256, taken_at, .. } => {
            Ok(json!({ "kind": "attachment", "shows": shows, "media_type": media_type,
                "sha256": sha256.to_lowercase(), "taken_at": taken_at }))
        }
        other => serde_json::to_value(other).map_err(|error| error.to_string()),
    }
}

/// A file as it was posted, checked against its digest and media type.
pub(crate) fn file(media_type: &str, sha256: &str, data: &str) -> Result<File, String> {
    let bytes = base64::engine::general_purpose::STANDARD
        .decode(data)
        .map_err(|error| format!("the file is not base64: {error}"))?;
    attachment::check(media_type, &bytes)?;
    let digest: [u8; 32] = Sha256::digest(&bytes).into();
    if from_hex(sha256).as_deref() != Some(digest.as_slice()) {
        return Err("the file's SHA-256 is another than the one sent with it".to_owned());
    }
    let without_place = place_data::removed(media_type, &bytes)?;
    let place_data_removed = without_place.is_some();
    let bytes = without_place.unwrap_or(bytes);
    let sha256 = Sha256::digest(&bytes).into();
    Ok(File { media_type: media_type.to_owned(), sha256, bytes, place_data_removed })
}

fn instrument(id: Option<Uuid>, units: &[Unit]) -> Instrument {
    match id {
        None => Instrument::None,
        Some(id) => units.iter().find(|u| u.id == id).map_or(Instrument::Unregistered, |unit| {
            Instrument::Registered { calibrated_until: unit.calibrated_until }
        }),
    }
}

/// Bytes of hex digits; blanks between them are passed over.
pub(crate) fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u8> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16).and_then(|d| u8::try_from(d).ok()))
        .collect::<Option<_>>()?;
    digits
        .len()
        .is_multiple_of(2)
        .then(|| digits.chunks(2).map(|pair| pair[0] << 4 | pair[1]).collect())
}
