//! Handover: one technician offers a task, another accepts; both stand in the record.

use chrono::TimeDelta;
use contract::problem::ProblemKind;
use contract::tasks::{NewHandover, TaskView};
use domain::lifecycle::{TaskEvent, TaskState};
use domain::procedure::Procedure;
use domain::start::Obstacle;
use serde_json::json;
use store::waivers::{self, HandoverRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::reported::Done;
use crate::skills::lacking;
use crate::start::others;
use crate::take::GRACE;
use crate::view;

/// Offers a task to another technician, or accepts what was offered.
pub async fn hand_over(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewHandover,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.handover", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        match (new.to, new.fence, new.accept) {
            (Some(to), Some(fence), false) => step.offer(&case, task, to, fence, &new.note).await?,
            (None, None, true) => step.accept(&mut case, task, &new.cautions).await?,
            _ => {
                return Err(Refusal::field("", "offer with `to` and `fence`, or `accept`"));
            }
        }
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

impl Step {
    async fn offer(
        &mut self,
        case: &Case,
        task: Uuid,
        to: Uuid,
        fence: i64,
        note: &str,
    ) -> Result<(), Refusal> {
        self.held_lease(case, task, fence)?;
        let me = self.technician()?;
        let row = case.task(task)?;
        can_be_handed_over(case, task)?;
        let shop = self.shop();
        let person = store::means::person(self.conn(), shop, to).await?;
        let other = person
            .filter(|p| p.id != me)
            .ok_or_else(|| Refusal::field("/to", "no other technician of this shop"))?;
        if let Some(lacking) = lacking(&other, &row.definition.skills) {
            let detail = format!("the other lacks the skills {lacking}");
            return Err(Refusal::new(ProblemKind::NotAble, detail));
        }
        let offer = HandoverRow {
            id: self.new_id().await?,
            task,
            fence,
            from_technician: me,
            to_technician: to,
            note: note.to_owned(),
        };
        waivers::offer(self.conn(), shop, &offer, case.now).await?;
        self.record(Happening {
            kind: "handover.offered",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "from": me, "to": to, "fence": fence, "note": note }),
        })
        .await
    }

    async fn accept(
        &mut self,
        case: &mut Case,
        task: Uuid,
        cautions: &[String],
    ) -> Result<(), Refusal> {
        let me = self.technician()?;
        let shop = self.shop();
        let offer = waivers::offered(self.conn(), shop, task).await?;
        let nothing =
            || Refusal::new(ProblemKind::WrongState, "no handover of this task is offered to you");
        let offer = offer.filter(|o| o.to_technician == me).ok_or_else(nothing)?;
        can_be_handed_over(case, task)?;
        let row = case.task(task)?.clone();
        if row.fence != offer.fence
            || row.technician != Some(offer.from_technician)
            || !row.state.is_leased()
        {
            return Err(nothing());
        }
        if row.state == TaskState::Running && others(case, &row).contains(&me) {
            return Err(Refusal::new(
                ProblemKind::SecondPersonRequired,
                "you are the second person of this work; another takes it over, or one joins first",
            ));
        }
        if row.state == TaskState::Running {
            all_are_read(&row.definition, cautions)?;
        }
        let least = if row.state == TaskState::Running {
            i64::from(row.definition.minutes.most) + GRACE
        } else {
            60
        };
        let until = case.now + TimeDelta::minutes(least);
        let changed = self
            .change_task(case, task, TaskEvent::HandOver, |t| {
                t.fence += 1;
                t.technician = Some(me);
                t.lease_until = t.lease_until.max(Some(until));
            })
            .await?;
        let certified = self.certified(case, &changed).await?;
        if let Some(mut attempt) = case.attempt(&changed).cloned() {
            attempt.technician = me;
            if row.state == TaskState::Running {
                // What counted for whoever began it stays told.
                let before = attempt.detail["certified"].as_array().cloned().unwrap_or_default();
                let new =
                    certified.iter().map(|one| json!(one)).filter(|one| !before.contains(one));
                attempt.detail["certified"] = before.iter().cloned().chain(new).collect();
            }
            store::attempts::update(self.conn(), shop, &attempt).await?;
            if let Some(place) =
                case.attempts.iter_mut().find(|a| a.task == task && a.number == attempt.number)
            {
                *place = attempt;
            }
        }
        if row.state == TaskState::Running {
            let before = Some(offer.from_technician);
            store::vehicles::free_people(self.conn(), shop, task, before, case.now).await?;
            self.put_in_use(&store::vehicles::OccupancyRow {
                kind: "technician".to_owned(),
                thing: me,
                order_id: case.order.id,
                task: Some(task),
                line: None,
                from_at: case.now,
            })
            .await?;
        }
        if !cautions.is_empty() {
            let read = Done { at: case.now, late: false };
            self.read_cautions(case, task, cautions, read).await?;
        }
        waivers::accept(self.conn(), shop, offer.id, case.now).await?;
        self.record(Happening {
            kind: "handover.accepted",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "from": offer.from_technician, "to": me, "fence": changed.fence, "note": offer.note }),
        })
        .await
    }
}

/// Whoever steps into work that runs has read its cautions before.
fn all_are_read(procedure: &Procedure, read: &[String]) -> Result<(), Refusal> {
    let unread = procedure.cautions.iter().filter(|caution| !read.contains(&caution.id));
    let open: Vec<Obstacle> = unread
        .map(|caution| Obstacle {
            id: Some(caution.id.clone()),
            hazards: vec![caution.text.clone()],
            ..Obstacle::new(
                "caution_not_acknowledged",
                format!("the caution `{}` is to be read before the work is taken over", caution.id),
                "name it in `cautions` when you accept",
            )
        })
        .collect();
    if open.is_empty() { Ok(()) } else { Err(Refusal::obstacles(open)) }
}

/// A running step of a service mode that must not be interrupted stays with its person.
fn can_be_handed_over(case: &Case, task: Uuid) -> Result<(), Refusal> {
    let row = case.task(task)?;
    let bound = case.brackets.iter().any(|b| b.no_handover) && case.is_bound_by_bracket(row);
    if row.state == TaskState::Running && bound {
        return Err(Refusal::new(
            ProblemKind::BracketOpen,
            "a running step of this service mode is not handed over; finish it or report it interrupted",
        ));
    }
    Ok(())
}
