//! An item of evidence: what it says, with what it was taken, and what speaks against it.

use chrono::{DateTime, Utc};
use evidence::intake::CLOCK_TOLERANCE;
use evidence::sample::Sample;
use paper::report::Value;
use paper::report::task::Evidence;
use store::attempts::EvidenceRow;
use uuid::Uuid;

use super::Sources;
use crate::verdicts;

/// An instrument with its calibration.
pub(super) fn instrument(id: Uuid, at: DateTime<Utc>, sources: &Sources) -> String {
    let name = sources.names.get(&id).cloned().unwrap_or_else(|| id.to_string());
    match sources.calibrated.get(&id) {
        Some(until) if *until < at => {
            format!("{name} (calibration had run out on {})", until.format("%F"))
        }
        Some(until) => format!("{name} (calibrated until {})", until.format("%F")),
        None => name,
    }
}

/// What a stored item says.
pub(super) fn samples(row: &EvidenceRow) -> Vec<Sample> {
    serde_json::from_value(row.content.clone()).unwrap_or_default()
}

/// An item of evidence as the report tells it.
pub(super) fn evidence(row: &EvidenceRow, sources: &Sources) -> Evidence {
    let said: Vec<String> = samples(row).iter().map(|s| verdicts::words(&s.kind)).collect();
    let given = &row.given;
    let text = |member: &str| given[member].as_str().map(str::to_owned);
    let value = match row.kind.as_str() {
        "reading" => Value {
            value: given["value"]
                .as_f64()
                .map(|v| v.to_string())
                .or(text("is"))
                .unwrap_or_default(),
            unit: text("unit"),
        },
        "attestation" => Value {
            value: if given["holds"].as_bool() == Some(true) { "yes" } else { "no" }.to_owned(),
            unit: None,
        },
        "attachment" => Value {
            value: format!(
                "{}, {} bytes{}, /v1/attachments/{}{}",
                text("media_type").unwrap_or_default(),
                given["bytes"],
                if given["place_data"] == "removed" { ", place data removed" } else { "" },
                row.id,
                sources.redacted.get(&row.id).map_or(String::new(), |sha256| format!(
                    "; replaced by a redacted file with the SHA-256 {}",
                    crate::record::hex(sha256)
                )),
            ),
            unit: None,
        },
        _ => Value { value: said.join("; "), unit: None },
    };
    let mut marks = row.marks.clone();
    marks.extend(sources.redacted.contains_key(&row.id).then(|| "redacted".to_owned()));
    let named = |who: &str| {
        let id = who.parse().ok();
        id.and_then(|id: Uuid| sources.names.get(&id).cloned()).unwrap_or_else(|| who.to_owned())
    };
    if row.entered_by != row.observed_by {
        marks.push(format!("entered by {}", named(&row.entered_by)));
    }
    let later = row.received_at - row.taken_at;
    if later > CLOCK_TOLERANCE {
        marks.push(format!("received {} s later", later.num_seconds()));
    }
    marks.extend(row.device.as_ref().map(|device| format!("entered on {device}")));
    let instrument = given["equipment"].as_str().and_then(|id| id.parse().ok()).map(|id: Uuid| {
        sources.names.get(&id).cloned().unwrap_or_else(|| format!("unregistered instrument {id}"))
    });
    Evidence {
        what: match row.kind.as_str() {
            "reading" => text("signal"),
            "attestation" => text("statement"),
            "attachment" => text("shows"),
            _ => Some("diagnostic answer".to_owned()),
        }
        .unwrap_or_default(),
        given: value,
        raw: text("bytes").or(text("sha256")),
        taken_at: row.taken_at,
        source: instrument.unwrap_or_else(|| named(&row.observed_by)),
        marks,
    }
}
