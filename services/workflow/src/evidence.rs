//! Evidence: judged item by item as it arrives, stored as given beside what it says.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use contract::evidence::{EvidenceItem, ItemOutcome};
use contract::problem::ProblemKind;
use contract::tasks::{NewAttestation, VerdictsView};
use domain::precondition::Condition;
use domain::procedure::Procedure;
use domain::role::Role;
use domain::start::SECOND_PERSON;
use domain::verdict::Finding;
use evidence::intake::{self, clock_off};
use evidence::sample::{Mark as Objection, Sample};
use serde_json::{Value, json};
use store::attempts::{AttemptRow, EvidenceRow, FileRow};
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::attachment;
use crate::caller::Call;
use crate::case::Case;
use crate::examine::{examine, limits};
use crate::flow::{Flow, Step};
use crate::recent::Left;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::said::{Said, Sender, say};
use crate::skills::lacking;
use crate::standing;
use crate::verdicts;

/// A batch as it was posted: an item that breaks the contract stands there as what is wrong with it.
#[derive(Debug)]
pub struct Batch {
    /// See [`contract::evidence::NewEvidence`].
    pub fence: Option<i64>,
    /// See [`contract::evidence::NewEvidence`].
    pub sent_at: Option<DateTime<Utc>>,
    /// See [`contract::evidence::NewEvidence`].
    pub observed_by: Option<Uuid>,
    /// See [`contract::evidence::NewEvidence`].
    pub device: Option<String>,
    /// The items in their order.
    pub items: Vec<Posted>,
}

/// One posted item, or what is wrong with it.
pub type Posted = Result<EvidenceItem, String>;

/// Takes in a batch for the attempt that its fence names. What comes after the lease has ended is stored, marked `late`,
/// and proves nothing; the flag tells that.
pub async fn submit(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &Batch,
) -> Result<(VerdictsView, bool), Refusal> {
    flow.write(call, "tasks.evidence", async |step| {
        let mut case = step.lock_task(&flow.recent, task).await?;
        let (attempt, late) = step.attempt_of(&case, task, new.fence)?;
        let arrival = Arrival {
            late,
            sent_at: new.sent_at,
            observed_by: step.observer(new.observed_by).await?,
            device: new.device.clone(),
        };
        let taken = step.take_in(&mut case, task, &attempt, &arrival, &new.items).await?;
        // A file that is too large is refused like any item beside others; alone it is the whole request.
        if taken.items.iter().all(|item| item.id.is_none())
            && new.items.iter().flatten().any(is_too_large)
        {
            let detail = format!("a file has at most {} bytes", attachment::LIMIT);
            return Err(Refusal::new(ProblemKind::BodyTooLarge, detail));
        }
        let mut view = verdicts::view(&case, case.task(task)?, taken);
        view.clock_off_seconds = arrival.clock_off(&new.items, case.now);
        step.leave(case, task)?;
        Ok((view, late))
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
        step.signed_in_for(&row)?;
        if for_second_person(&row.definition, &new.statement) {
            step.able_second(&row).await?;
        }
        let item = EvidenceItem::Attestation {
            statement: new.statement.clone(),
            holds: new.holds,
            text: (!new.note.is_empty()).then(|| new.note.clone()),
            taken_at: case.now,
        };
        let taken = step.take_in(&mut case, task, &attempt, &Arrival::default(), &[Ok(item)]).await?;
        Ok(verdicts::view(&case, case.task(task)?, taken))
    })
    .await
}

/// How a batch came.
#[derive(Debug, Default)]
pub(crate) struct Arrival {
    /// The lease under which it was taken is over.
    pub(crate) late: bool,
    /// The client's clock as it was sent.
    pub(crate) sent_at: Option<DateTime<Utc>>,
    /// The technician who saw it, when whoever sends it did not.
    pub(crate) observed_by: Option<Uuid>,
    /// What it was entered on.
    pub(crate) device: Option<String>,
}

/// What became of the items, and what they say.
#[derive(Debug)]
pub(crate) struct TakenIn {
    /// What became of each.
    pub(crate) items: Vec<ItemOutcome>,
    /// The verdicts that matter now.
    pub(crate) preconditions: Vec<Finding>,
}

impl Arrival {
    /// Seconds by which the client's clock is off: as it tells itself, or as items from the future show.
    fn clock_off(&self, items: &[Posted], now: DateTime<Utc>) -> Option<i64> {
        let latest = items.iter().flatten().map(EvidenceItem::taken_at).max();
        let ahead = latest.filter(|latest| *latest > now);
        self.sent_at.or(ahead).and_then(|clock| clock_off(clock, now)).map(|off| off.num_seconds())
    }
}

impl Step {
    /// The technician who saw what another enters for them.
    async fn observer(&mut self, named: Option<Uuid>) -> Result<Option<Uuid>, Refusal> {
        let Some(other) = named.filter(|named| self.caller.technician != Some(*named)) else {
            return Ok(None);
        };
        let shop = self.shop();
        match store::means::person(self.conn(), shop, other).await? {
            Some(_) => Ok(Some(other)),
            None => Err(Refusal::field("/observed_by", "no technician of this shop")),
        }
    }

    /// The second person of a procedure for two is a technician with the skills that it needs.
    async fn able_second(&mut self, task: &TaskRow) -> Result<(), Refusal> {
        let me = self.technician()?;
        let shop = self.shop();
        let person = store::means::person(self.conn(), shop, me).await?;
        let person = person.ok_or_else(|| {
            Refusal::new(ProblemKind::NotAble, "the technician of this token does not work here")
        })?;
        let Some(lacking) = lacking(&person, &task.definition.skills) else { return Ok(()) };
        let detail = format!("the second person needs the skills {lacking}");
        Err(Refusal::new(ProblemKind::NotAble, detail))
    }

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

    /// Leaves what a task's evidence was judged by for the next batch.
    fn leave(&mut self, case: Case, task: Uuid) -> Result<(), Refusal> {
        let row = case.task(task)?;
        if let Some(next_seq) = self.next_seqs.get(&row.order_id).copied()
            && row.state.is_leased()
        {
            let since = standing::needed(row, &case.attempts, case.now).since;
            self.left = Some(Left { task, next_seq, since, case });
        }
        Ok(())
    }

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

/// Whether this is a statement that a second person makes who must be able to do the work.
fn for_second_person(procedure: &Procedure, statement: &str) -> bool {
    let mut asked = procedure.people > 1 && statement == SECOND_PERSON;
    for one in procedure.preconditions.iter().chain(&procedure.proof) {
        for condition in std::iter::once(&one.condition).chain(&one.while_running) {
            condition.each_leaf(&mut |leaf| {
                asked |= matches!(leaf, Condition::Attested { statement: of, second_person: true } if of == statement);
            });
        }
    }
    asked
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

fn is_too_large(item: &EvidenceItem) -> bool {
    matches!(item, EvidenceItem::Attachment { data, .. } if attachment::decoded(data) > attachment::LIMIT)
}

fn refused(detail: String) -> ItemOutcome {
    ItemOutcome { id: None, outcome: "refused".to_owned(), marks: Vec::new(), detail }
}

/// What an item says, what was done with its file, and that nothing asks for it.
fn tell_of(said: &Said, samples: &[Sample], marks: &[String]) -> String {
    let mut told = tell(samples);
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
