//! Locks that are a person's: passed on by both people's tokens, and opened by nobody else.

use contract::problem::ProblemKind;
use contract::vehicles::{LockView, NewLockTransfer};
use serde_json::json;
use store::tasks::TaskRow;
use store::vehicles::BracketRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::skills::lacking;

/// Offers the lock of an open service mode to another technician, or accepts what was offered.
pub async fn transfer(
    flow: &Flow,
    call: &Call,
    vehicle: Uuid,
    new: &NewLockTransfer,
) -> Result<LockView, Refusal> {
    flow.write(call, "vehicles.lock", async |step| {
        let me = step.technician()?;
        let shop = step.shop();
        store::vehicles::lock(step.conn(), shop, vehicle).await?;
        let open = store::vehicles::open_brackets(step.conn(), shop, vehicle).await?;
        let locked = open.into_iter().find(|b| b.mode == new.mode && b.holder.is_some());
        let bracket = locked.ok_or_else(|| Refusal::not_found("lock on this vehicle"))?;
        let holder = bracket.holder.unwrap_or_default();
        match (new.to, new.accept) {
            (Some(to), false) => step.offer_lock(&bracket, me, holder, to).await,
            (None, true) => step.accept_lock(&bracket, me, holder).await,
            _ => Err(Refusal::field("", "offer it with `to`, or `accept`")),
        }
    })
    .await
}

impl Step {
    async fn offer_lock(
        &mut self,
        bracket: &BracketRow,
        me: Uuid,
        holder: Uuid,
        to: Uuid,
    ) -> Result<LockView, Refusal> {
        if me != holder {
            return Err(Refusal::new(ProblemKind::NotAble, "only its holder passes a lock on"));
        }
        let entering = self.see_case_of_task(bracket.entered_by).await?;
        let skills = &entering.task(bracket.entered_by)?.definition.skills;
        let shop = self.shop();
        let person = store::means::person(self.conn(), shop, to).await?;
        let other = person
            .filter(|p| p.id != me)
            .ok_or_else(|| Refusal::field("/to", "no other technician of this shop"))?;
        if let Some(lacking) = lacking(&other, skills) {
            let detail = format!("the other lacks the skills {lacking}");
            return Err(Refusal::new(ProblemKind::NotAble, detail));
        }
        self.keep_lock(bracket, holder, Some(to), "lock.offered").await
    }

    async fn accept_lock(
        &mut self,
        bracket: &BracketRow,
        me: Uuid,
        holder: Uuid,
    ) -> Result<LockView, Refusal> {
        if bracket.offered_to != Some(me) {
            let detail = "this lock is not offered to you";
            return Err(
                Refusal::new(ProblemKind::WrongState, detail).with("holder", holder.to_string())
            );
        }
        self.keep_lock(bracket, me, None, "lock.accepted").await
    }

    async fn keep_lock(
        &mut self,
        bracket: &BracketRow,
        holder: Uuid,
        offered_to: Option<Uuid>,
        kind: &'static str,
    ) -> Result<LockView, Refusal> {
        let shop = self.shop();
        let old = (bracket.holder.unwrap_or_default(), bracket.offered_to);
        if !store::vehicles::pass_lock(
            self.conn(),
            shop,
            bracket.entered_by,
            holder,
            offered_to,
            old,
        )
        .await?
        {
            return Err(Refusal::new(ProblemKind::WrongState, "the lock changed meanwhile"));
        }
        self.record(Happening {
            kind,
            order: Some(bracket.order_id),
            subject: ("task", bracket.entered_by.to_string()),
            data: json!({ "mode": bracket.mode, "from": old.0, "holder": holder, "offered_to": offered_to }),
        })
        .await?;
        Ok(LockView { mode: bracket.mode.clone(), holder, offered_to })
    }

    /// The name of whoever holds the lock that this task opens, when it is not the caller.
    pub(crate) async fn lock_held_by(
        &mut self,
        case: &Case,
        task: &TaskRow,
    ) -> Result<Option<String>, Refusal> {
        let Some(mode) = &task.definition.closes else { return Ok(None) };
        let open = case.brackets.iter().find(|b| b.mode == *mode);
        let Some(holder) = open.and_then(|b| b.holder) else { return Ok(None) };
        if self.caller.technician == Some(holder) {
            return Ok(None);
        }
        let shop = self.shop();
        let name = store::means::person(self.conn(), shop, holder).await?.map(|p| p.name);
        Ok(Some(name.unwrap_or_else(|| "somebody who no longer works here".to_owned())))
    }
}
