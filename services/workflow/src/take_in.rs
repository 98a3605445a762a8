//! Taking in a batch: each item examined for itself, the good ones stored, what they change weighed.

use std::collections::HashMap;

use contract::evidence::ItemOutcome;
use domain::role::Role;
use domain::verdict::Finding;
use evidence::intake;
use evidence::sample::{Mark as Objection, Sample};
use serde_json::{Value, json};
use store::attempts::{AttemptRow, EvidenceRow, FileRow};
use uuid::Uuid;

use crate::case::Case;
use crate::evidence::{Arrival, Posted};
use crate::examine::{examine, limits};
use crate::flow::Step;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::said::{Said, Sender, say};
use crate::standing;
use crate::verdicts;

/// What became of the items, and what they say.
#[derive(Debug)]
pub(crate) struct TakenIn {
    /// What became of each.
    pub(crate) items: Vec<ItemOutcome>,
    /// The verdicts that matter now.
    pub(crate) preconditions: Vec<Finding>,
}

impl Step {
    /// Examines and stores items; the good ones are kept whatever is wrong with the others.
    pub(crate) async fn take_in(
        &mut self,
        case: &mut Case,
        task: Uuid,
        attempt: &AttemptRow,
        arrival: &Arrival,
        items: &[Posted],
    ) -> Result<TakenIn, Refusal> {
        let row = case.task(task)?.clone();
        let shop = self.shop();
        let named = items.iter().flatten().any(|item| item.equipment().is_some());
        let units = if named { store::means::units(self.conn(), shop).await? } else { Vec::new() };
        let subject = self.caller.subject.clone();
        let person = self.caller.technician.map(|id| id.to_string());
        let sender = Sender {
            by: person.as_deref().unwrap_or(&subject),
            person: self.caller.technician.is_some() || self.caller.has(Role::Dispatcher),
            second: self.caller.technician != Some(attempt.technician),
            for_another: arrival.observed_by.is_some(),
        };
        let observed_by = arrival.observed_by.map_or_else(|| subject.clone(), |id| id.to_string());
        let limits = limits(case, &row, attempt, arrival);
        let mut outcomes = Vec::with_capacity(items.len());
        let mut rows = Vec::with_capacity(items.len());
        let mut files = Vec::new();
        let mut new: Vec<Sample> = Vec::with_capacity(items.len());
        let mut seen = HashMap::with_capacity(items.len());
        for (at, item) in items.iter().enumerate() {
            let item = match item {
                Ok(item) => item,
                Err(fault) => {
                    outcomes.push(refused(fault.clone()));
                    continue;
                }
            };
            let mut said = match say(item, &units, sender) {
                Ok(said) => said,
                Err(fault) => {
                    outcomes.push(refused(fault));
                    continue;
                }
            };
            if let Some(of) = seen.insert(said.given.to_string(), at) {
                outcomes.push(refused(intake::fault::Refusal::Duplicate { of }.to_string()));
                continue;
            }
            let id = self.new_id().await?;
            let (samples, mut marks) = match examine(&said, &limits, id, arrival.late) {
                Ok(examined) => examined,
                Err(fault) => {
                    outcomes.push(refused(fault));
                    continue;
                }
            };
            marks.extend(said.unread.is_some().then(|| UNDECODED.to_owned()));
            outcomes.push(match said.unread.take() {
                Some(fault) => ItemOutcome { id: Some(id), marks: marks.clone(), ..refused(fault) },
                None => ItemOutcome {
                    id: Some(id),
                    outcome: if marks.is_empty() { "accepted" } else { "marked" }.to_owned(),
                    detail: tell_of(&said, &samples, &marks),
                    marks: marks.clone(),
                },
            });
            rows.push(EvidenceRow {
                id,
                task,
                attempt: attempt.number,
                kind: said.word.to_owned(),
                content: content(&samples)?,
                series: standing::series(&samples),
                marks,
                taken_at: samples.first().map_or(case.now, |s| s.taken_at),
                received_at: case.now,
                observed_by: observed_by.clone(),
                entered_by: subject.clone(),
                client: self.caller.client.clone(),
                device: arrival.device.clone(),
                given: said.given,
            });
            new.extend(samples);
            files.extend(said.file.map(|file| FileRow {
                of: (task, attempt.number),
                evidence: id,
                media_type: file.media_type,
                sha256: file.sha256.to_vec(),
                bytes: file.bytes,
            }));
        }
        store::attempts::insert_evidence(self.conn(), shop, &rows).await?;
        store::attempts::insert_files(self.conn(), shop, &files).await?;
        let off = arrival.clock_off(items, case.now);
        self.tell_of_evidence(case, attempt, arrival, off, &rows).await?;
        let preconditions = self.weigh(case, &row, attempt, new).await?;
        Ok(TakenIn { items: outcomes, preconditions })
    }

    /// Records what was stored.
    async fn tell_of_evidence(
        &mut self,
        case: &Case,
        attempt: &AttemptRow,
        arrival: &Arrival,
        clock_off: Option<i64>,
        rows: &[EvidenceRow],
    ) -> Result<(), Refusal> {
        if rows.is_empty() {
            return Ok(());
        }
        let told: Vec<Value> = rows
            .iter()
            .map(|r| json!({ "id": r.id, "kind": r.kind, "given": r.given, "marks": r.marks, "taken_at": r.taken_at }))
            .collect();
        let mut data = json!({ "attempt": attempt.number, "items": told });
        if let Some(observer) = arrival.observed_by {
            data["observed_by"] = observer.to_string().into();
        }
        if let Some(device) = &arrival.device {
            data["device"] = device.as_str().into();
        }
        if let Some(off) = clock_off {
            data["clock_off_seconds"] = off.into();
        }
        self.record(Happening {
            kind: if arrival.late { "evidence.late" } else { "evidence.received" },
            order: Some(case.order.id),
            subject: ("task", attempt.task.to_string()),
            data,
        })
        .await
    }
}

/// What samples say, as it is stored: a measured value as it was given, and in the base unit where that is another.
fn content(samples: &[Sample]) -> Result<Value, Refusal> {
    let mut content = serde_json::to_value(samples).map_err(store::StoreError::from)?;
    for (stored, sample) in content.as_array_mut().into_iter().flatten().zip(samples) {
        if let Some((value, unit)) = sample.kind.in_base_unit() {
            stored["in_base_unit"] = json!({ "value": value, "unit": unit });
        }
    }
    Ok(content)
}

/// What is said of a picture that told where it was taken.
const PLACE_DATA: &str = "place data was taken out of it before it was hashed and kept";

/// What is said of what has a name that nothing asks for, or a misspelt one.
const NOT_ASKED: &str = "nothing of this task asks for that";

/// The mark of a frame that can't be read.
const UNDECODED: &str = "undecoded";

fn refused(detail: String) -> ItemOutcome {
    ItemOutcome { id: None, outcome: "refused".to_owned(), marks: Vec::new(), detail }
}

/// What an item says, what was done with its file, and that nothing asks for it.
fn tell_of(said: &Said, samples: &[Sample], marks: &[String]) -> String {
    let mut told = said.unused.clone().unwrap_or_else(|| tell(samples));
    if said.file.as_ref().is_some_and(|file| file.place_data_removed) {
        told = format!("{told}; {PLACE_DATA}");
    }
    if marks.iter().any(|mark| mark == Objection::NotAsked.word()) {
        told = format!("{told}; {NOT_ASKED}");
    }
    told
}

/// What samples say, in a few words.
fn tell(samples: &[Sample]) -> String {
    samples.iter().map(|sample| verdicts::words(&sample.kind)).collect::<Vec<_>>().join("; ")
}
