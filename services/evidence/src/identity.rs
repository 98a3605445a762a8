//! Whether the vehicle before the technician is the order's vehicle.

use chrono::{DateTime, Utc};
use domain::start::Identity;
use uuid::Uuid;

use crate::sample::{Kind, Mark, Sample};

/// What files must show beside typed characters: the number or the plate itself.
pub const PHOTOS: &[&str] = &[STATEMENT, "vin_photo", "plate_photo"];

/// The statement whose text is the last six characters.
pub const STATEMENT: &str = "vehicle_identity";

/// The order's vehicle.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Expected {
    /// Its VIN, if it is known.
    pub vin: Option<String>,
    /// Its plate, if it is known.
    pub plate: Option<String>,
}

/// What the evidence of this attempt says of the vehicle's identity.
///
/// A VIN read or scanned from the vehicle decides, the last one if there are several; typed characters count
/// beside a photo, against the VIN's or the plate's last six. A vehicle of which the order knows neither is taken
/// for what the VIN, or the photo and the typed characters, show.
pub fn judge(
    expected: &Expected,
    samples: &[Sample],
    attempt_from: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Identity {
    let counts = |sample: &&Sample| {
        is_sound(sample) && sample.taken_at >= attempt_from && sample.taken_at <= now
    };
    let mut sorted: Vec<&Sample> = samples.iter().filter(counts).collect();
    sorted.sort_by_key(|sample| (sample.taken_at, sample.received_at, sample.id));
    let read = sorted.iter().rev().find_map(|sample| match &sample.kind {
        Kind::Vin { vin } => Some(vin),
        _ => None,
    });
    match (&expected.vin, read) {
        (Some(vin), Some(read)) if same(vin, read) => return Identity::Matches,
        (Some(vin), Some(read)) => return Identity::Mismatch(vin.clone(), read.clone()),
        (None, Some(_)) if expected.plate.is_none() => return Identity::Matches,
        _ => {}
    }
    let photo = sorted.iter().any(|sample| {
        matches!(&sample.kind, Kind::Attachment { shows, .. } if PHOTOS.contains(&shows.as_str()))
    });
    let typed = sorted.iter().rev().find_map(|sample| match &sample.kind {
        Kind::TypedIdentity { last_six } => Some(last_six),
        _ => None,
    });
    let Some(typed) = typed.filter(|_| photo) else {
        return Identity::Missing;
    };
    let known: Vec<String> =
        [&expected.vin, &expected.plate].into_iter().flatten().map(|text| last_six(text)).collect();
    if known.is_empty() || known.iter().any(|known| same(known, typed)) {
        Identity::Matches
    } else {
        Identity::Mismatch(known.join(" or "), typed.clone())
    }
}

/// Samples that another vehicle gave: all that was taken while the VIN read last, or read first of all, was not the
/// expected one.
pub fn foreign(expected: &Expected, samples: &[Sample]) -> Vec<Uuid> {
    let Some(vin) = &expected.vin else {
        return Vec::new();
    };
    let is_other = |sample: &Sample| match &sample.kind {
        Kind::Vin { vin: read } if is_sound(sample) => Some(!same(vin, read)),
        _ => None,
    };
    if !samples.iter().any(|sample| is_other(sample) == Some(true)) {
        return Vec::new(); // as nearly always
    }
    let mut sorted: Vec<&Sample> = samples.iter().collect();
    let is_read = |sample: &Sample| matches!(sample.kind, Kind::Vin { .. });
    sorted.sort_by_key(|one| (one.taken_at, !is_read(one), one.received_at, one.id));
    let mut elsewhere = sorted.iter().find_map(|sample| is_other(sample)).unwrap_or_default();
    let from_elsewhere = |sample: &&Sample| {
        elsewhere = is_other(sample).unwrap_or(elsewhere);
        elsewhere
    };
    sorted.into_iter().filter(from_elsewhere).map(|sample| sample.id).collect()
}

/// Whether nothing speaks against a sample but the vehicle that it tells.
fn is_sound(sample: &Sample) -> bool {
    !sample.marks.iter().any(|mark| *mark != Mark::WrongVehicle && mark.objection().is_some())
}

fn same(one: &str, other: &str) -> bool {
    one.trim().eq_ignore_ascii_case(other.trim())
}

fn last_six(text: &str) -> String {
    let all: Vec<char> = text.chars().filter(char::is_ascii_alphanumeric).collect();
    all[all.len().saturating_sub(6)..].iter().collect::<String>().to_ascii_uppercase()
}
