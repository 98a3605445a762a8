//! What was asked for and refused, as the journal keeps it.

use paper::report::Refusal;
use serde_json::Value;
use store::journal::EntryRow;

use super::Sources;
use crate::case::Case;
use crate::refused::REFUSED;

/// Every refusal among the order's entries.
pub(super) fn refusals(case: &Case, sources: &Sources) -> Vec<Refusal> {
    let refused = sources.entries.iter().filter(|entry| entry.kind == REFUSED);
    refused.map(|entry| refusal(case, entry)).collect()
}

fn refusal(case: &Case, entry: &EntryRow) -> Refusal {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let task = case.tasks.iter().find(|task| task.id.to_string() == entry.subject);
    let title = task.map_or(text(&entry.data["procedure"]), |task| task.definition.title.clone());
    let reasons = entry.data["reasons"].as_array().into_iter().flatten();
    Refusal {
        at: entry.at,
        by: entry.by.clone(),
        asked: format!("{} `{title}`", text(&entry.data["asked"])),
        reasons: reasons.map(|reason| text(&reason["detail"])).collect(),
    }
}
