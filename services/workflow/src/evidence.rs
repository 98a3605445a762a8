//! Evidence: judged item by item as it arrives, stored as given beside what it says.

use base64::Engine as _;
use chrono::{DateTime, Utc};
use contract::evidence::{EvidenceItem, ItemOutcome, NewEvidence, Protocol};
use contract::problem::ProblemKind;
use contract::tasks::{NewAttestation, VerdictsView};
use domain::exact::Exact;
use domain::role::Role;
use evidence::frame;
use evidence::intake::{self, Given, Instrument, Limits};
use evidence::judge;
use evidence::sample::{Kind, Sample};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use store::attempts::{AttemptRow, EvidenceRow};
use store::means::Unit;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::attachment;
use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::verdicts;

/// Takes in a batch for the attempt that its fence names. What comes after the lease has ended is stored, marked `late`,
/// and proves nothing; the flag tells that.
pub async fn submit(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewEvidence,
) -> Result<(VerdictsView, bool), Refusal> {
    flow.write(call, "tasks.evidence", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let (attempt, late) = step.attempt_of(&case, task, new.fence)?;
        let items = step.take_in(&mut case, task, &attempt, late, &new.items).await?;
        Ok((verdicts::view(&case, case.task(task)?, items)?, late))
    })
    .await
}

/// A second person's word, with their own token.
pub async fn attest(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewAttestation,
) -> Result<VerdictsView, Refusal> {
    flow.write(call, "tasks.attest", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?.clone();
        let attempt = case.attempt(&row).filter(|_| row.state.is_leased()).cloned().ok_or_else(|| {
            Refusal::new(ProblemKind::WrongState, "nobody works on this task now").with("state", row.state.word())
        })?;
        if step.caller.technician == Some(attempt.technician) {
            return Err(Refusal::new(
                ProblemKind::SecondPersonRequired,
                "the person who holds the task sends their own word as evidence; this is for another person",
            ));
        }
        let item = EvidenceItem::Attestation {
            statement: new.statement.clone(),
            holds: new.holds,
            text: (!new.note.is_empty()).then(|| new.note.clone()),
            taken_at: case.now,
        };
        let items = step.take_in(&mut case, task, &attempt, false, &[item]).await?;
        verdicts::view(&case, case.task(task)?, items)
    })
    .await
}

/// What a posted item says, before it is held against the limits.
struct Said {
    kinds: Vec<Kind>,
    taken_at: DateTime<Utc>,
    instrument: Instrument,
    word: &'static str,
    given: Value,
    file: Option<File>,
}

struct File {
    media_type: String,
    sha256: [u8; 32],
    bytes: Vec<u8>,
}

impl Step {
    /// The attempt that a fence belongs to, and whether its lease is over.
    fn attempt_of(
        &self,
        case: &Case,
        task: Uuid,
        fence: Option<i64>,
    ) -> Result<(AttemptRow, bool), Refusal> {
        let task = case.task(task)?;
        let integration = self.caller.technician.is_none() && self.caller.has(Role::Integration);
        if fence.is_none() && !integration {
            return Err(Refusal::new(
                ProblemKind::LeaseLost,
                "name the fence of the lease under which it was taken",
            ));
        }
        let mine = |a: &&AttemptRow| {
            a.task == task.id
                && fence.is_none_or(|fence| a.fence <= fence)
                && fence <= Some(task.fence)
        };
        let attempt =
            case.attempts.iter().filter(mine).max_by_key(|a| a.number).ok_or_else(|| {
                Refusal::new(ProblemKind::LeaseLost, "no attempt at this task had this fence")
            })?;
        let technician = self.caller.technician;
        if !integration && technician != Some(attempt.technician) && technician != task.technician {
            return Err(Refusal::new(
                ProblemKind::LeaseLost,
                "this attempt is another technician's",
            ));
        }
        let present = task.state.is_leased() && fence.is_none_or(|fence| fence == task.fence);
        let held = present && task.lease_until.is_some_and(|until| until > case.now);
        Ok((attempt.clone(), !held))
    }

    /// Examines and stores items; the good ones are kept whatever is wrong with the others.
    pub(crate) async fn take_in(
        &mut self,
        case: &mut Case,
        task: Uuid,
        attempt: &AttemptRow,
        late: bool,
        items: &[EvidenceItem],
    ) -> Result<Vec<ItemOutcome>, Refusal> {
        let row = case.task(task)?.clone();
        let shop = self.shop();
        let units = store::means::units(self.conn(), shop).await?;
        let second = self.caller.technician != Some(attempt.technician);
        let limits = limits(case, &row, attempt, late);
        let mut outcomes = Vec::with_capacity(items.len());
        let mut rows = Vec::new();
        let mut files = Vec::new();
        for item in items {
            let refused = |detail: String| ItemOutcome {
                id: None,
                outcome: "refused".to_owned(),
                marks: Vec::new(),
                detail,
            };
            if self.caller.technician.is_none()
                && !self.caller.has(Role::Dispatcher)
                && matches!(item, EvidenceItem::Attestation { .. })
            {
                outcomes.push(refused("only a person attests, not a program".to_owned()));
                continue;
            }
            let said = match say(item, &units, &self.caller.subject, second) {
                Ok(said) => said,
                Err(detail) => {
                    outcomes.push(refused(detail));
                    continue;
                }
            };
            let id = self.new_id().await?;
            match examine(&said, &limits, id, late) {
                Err(detail) => outcomes.push(refused(detail)),
                Ok((samples, marks)) => {
                    outcomes.push(ItemOutcome {
                        id: Some(id),
                        outcome: if marks.is_empty() { "accepted" } else { "marked" }.to_owned(),
                        detail: tell(&samples),
                        marks: marks.clone(),
                    });
                    rows.push(EvidenceRow {
                        id,
                        task,
                        attempt: attempt.number,
                        kind: said.word.to_owned(),
                        content: serde_json::to_value(&samples).map_err(store::StoreError::from)?,
                        marks,
                        taken_at: samples.first().map_or(case.now, |s| s.taken_at),
                        received_at: case.now,
                        observed_by: self.caller.subject.clone(),
                        entered_by: self.caller.subject.clone(),
                        client: self.caller.client.clone(),
                        given: said.given,
                    });
                    files.extend(said.file.map(|file| (id, file)));
                }
            }
        }
        store::attempts::insert_evidence(self.conn(), shop, &rows).await?;
        for (id, file) in &files {
            store::attempts::insert_attachment(
                self.conn(),
                shop,
                *id,
                &file.media_type,
                &file.sha256,
                &file.bytes,
            )
            .await?;
        }
        if !rows.is_empty() {
            let told: Vec<Value> = rows
                .iter()
                .map(|r| json!({ "id": r.id, "kind": r.kind, "given": r.given, "marks": r.marks, "taken_at": r.taken_at }))
                .collect();
            self.record(Happening {
                kind: if late { "evidence.late" } else { "evidence.received" },
                order: Some(case.order.id),
                subject: ("task", task.to_string()),
                data: json!({ "attempt": attempt.number, "items": told }),
            })
            .await?;
        }
        if row.attempt == attempt.number {
            case.evidence.extend(rows);
        }
        Ok(outcomes)
    }
}

fn limits(case: &Case, task: &TaskRow, attempt: &AttemptRow, late: bool) -> Limits {
    let mut all = task.definition.preconditions.clone();
    all.extend(task.definition.proof.iter().cloned());
    all.extend(task.definition.quick_check.iter().flat_map(|check| check.proof.iter().cloned()));
    Limits {
        now: case.now,
        client_clock: None,
        attempt_from: attempt.taken_at,
        lease_until: if late {
            attempt.ended_at.unwrap_or(attempt.taken_at)
        } else {
            task.lease_until.unwrap_or(case.now)
        },
        asked: judge::asked(&all),
        vin: case.vehicle.vin.clone(),
    }
}

/// Holds what an item says against the limits: samples and marks, or why it is refused.
fn examine(
    said: &Said,
    limits: &Limits,
    id: Uuid,
    late: bool,
) -> Result<(Vec<Sample>, Vec<String>), String> {
    let mut samples = Vec::new();
    for kind in &said.kinds {
        let given = Given {
            taken_at: Some(said.taken_at),
            kind: kind.clone(),
            instrument: said.instrument,
        };
        let examined = intake::examine(&given, limits).map_err(|refusal| refusal.to_string())?;
        let mut sample = examined.sample(id, limits.now);
        if late {
            sample.marks.insert(evidence::sample::Mark::Late);
        }
        samples.push(sample);
    }
    let mut marks: Vec<String> =
        samples.iter().flat_map(|s| s.marks.iter().map(|m| m.word().to_owned())).collect();
    marks.sort();
    marks.dedup();
    Ok((samples, marks))
}

/// What samples say, in a few words.
fn tell(samples: &[Sample]) -> String {
    samples.iter().map(|sample| verdicts::words(&sample.kind)).collect::<Vec<_>>().join("; ")
}

/// What an item says, or why nothing can be made of it.
fn say(item: &EvidenceItem, units: &[Unit], subject: &str, second: bool) -> Result<Said, String> {
    let given = serde_json::to_value(item).map_err(|error| error.to_string())?;
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
            Ok(Said {
                kinds: vec![kind],
                taken_at: *taken_at,
                instrument: instrument(*equipment, units),
                word: "reading",
                given,
                file: None,
            })
        }
        EvidenceItem::Frame { protocol, bytes, taken_at, equipment } => {
            let protocol = match protocol {
                Protocol::Obd => frame::Protocol::Obd,
                Protocol::Uds => frame::Protocol::Uds,
            };
            let bytes = from_hex(bytes).ok_or("the frame's bytes are not hex digits")?;
            let kinds = frame::decode(protocol, &bytes).map_err(|fault| fault.to_string())?;
            Ok(Said {
                kinds,
                taken_at: *taken_at,
                instrument: instrument(*equipment, units),
                word: "frame",
                given,
                file: None,
            })
        }
        EvidenceItem::Attestation { statement, holds, text, taken_at } => {
            let words = text.clone().unwrap_or_default();
            let kind = match statement.as_str() {
                "vehicle_identity" if *holds => Kind::TypedIdentity { last_six: words },
                "codes_not_readable" if *holds => Kind::CodesNotReadable { reason: words },
                _ => Kind::Attested {
                    statement: statement.clone(),
                    holds: *holds,
                    by: subject.to_owned(),
                    second_person: second,
                },
            };
            Ok(Said {
                kinds: vec![kind],
                taken_at: *taken_at,
                instrument: Instrument::None,
                word: "attestation",
                given,
                file: None,
            })
        }
        EvidenceItem::Attachment { shows, media_type, sha256, data, taken_at } => {
            let bytes = base64::engine::general_purpose::STANDARD
                .decode(data)
                .map_err(|error| format!("the file is not base64: {error}"))?;
            attachment::check(media_type, &bytes)?;
            let digest: [u8; 32] = Sha256::digest(&bytes).into();
            if from_hex(sha256).as_deref() != Some(digest.as_slice()) {
                return Err("the file's SHA-256 is another than the one sent with it".to_owned());
            }
            let given = json!({ "kind": "attachment", "shows": shows, "media_type": media_type,
                "sha256": sha256.to_lowercase(), "bytes": bytes.len(), "taken_at": taken_at });
            Ok(Said {
                kinds: vec![Kind::Attachment {
                    shows: shows.clone(),
                    sha256: sha256.to_lowercase(),
                }],
                taken_at: *taken_at,
                instrument: Instrument::None,
                word: "attachment",
                given,
                file: Some(File { media_type: media_type.clone(), sha256: digest, bytes }),
            })
        }
    }
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
