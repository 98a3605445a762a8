//! Evidence: who may bring it for which attempt, and what its sender is told.

use chrono::{DateTime, Utc};
use contract::evidence::EvidenceItem;
use contract::problem::ProblemKind;
use contract::tasks::{NewAttestation, VerdictsView};
use domain::precondition::Condition;
use domain::procedure::Procedure;
use domain::role::Role;
use domain::start::SECOND_PERSON;
use evidence::intake::clock_off;
use store::attempts::AttemptRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::attachment;
use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::recent::Left;
use crate::refusal::Refusal;
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

impl Arrival {
    /// Seconds by which the client's clock is off: as it tells itself, or as items from the future show.
    pub(crate) fn clock_off(&self, items: &[Posted], now: DateTime<Utc>) -> Option<i64> {
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

fn is_too_large(item: &EvidenceItem) -> bool {
    matches!(item, EvidenceItem::Attachment { data, .. } if attachment::decoded(data) > attachment::LIMIT)
}
