//! Take: a technician gets the next right task as a lease; renew it, give it back.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use contract::leases::{LeaseView, LeasesView, NewLease, RenewLease, ReturnLease};
use contract::problem::ProblemKind;
use contract::tasks::TaskView;
use domain::lifecycle::{TaskEvent, TaskState};
use domain::procedure::PlaceOfWork;
use domain::start::Obstacle;
use serde_json::json;
use store::attempts::AttemptRow;
use store::leases::{Takeable, Wish};
use store::means::Person;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::skills::lacking;
use crate::view;

/// Minutes that a lease lasts when nobody says otherwise.
const MINUTES: u32 = 60;
/// Minutes beyond the procedure's most that a running lease lasts at least.
pub(crate) const GRACE: i64 = 15;
/// How many takeable tasks are looked at for one lease.
const LOOK_AT: i64 = 200;

/// Gives the next right task, or up to `max` of them. An empty list: there is nothing to do for this technician.
/// Waits for work up to the seconds asked for.
pub async fn take(flow: &Flow, call: &Call, new: &NewLease) -> Result<LeasesView, Refusal> {
    let patience = Duration::from_secs(u64::from(new.wait.unwrap_or(0)));
    let deadline = tokio::time::Instant::now() + patience;
    loop {
        let rung = flow.bell.notified();
        let given = flow.write(call, "leases.take", async |step| step.take(new).await).await?;
        if !given.leases.is_empty() || new.task.is_some() || tokio::time::Instant::now() >= deadline
        {
            return Ok(given);
        }
        // The bell rings for this process alone; others are seen by looking again.
        let look_again = deadline.min(tokio::time::Instant::now() + Duration::from_millis(500));
        tokio::select! {
            () = rung => {}
            () = tokio::time::sleep_until(look_again) => {}
        }
    }
}

/// Prolongs a lease.
pub async fn renew(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &RenewLease,
) -> Result<TaskView, Refusal> {
    flow.write(call, "leases.renew", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.held_lease(&case, task, new.fence)?;
        let until = case.now + TimeDelta::minutes(i64::from(new.minutes.unwrap_or(MINUTES)));
        step.change_task(&mut case, task, TaskEvent::Renew, |t| {
            t.lease_until = t.lease_until.max(Some(until));
        })
        .await?;
        step.record(Happening {
            kind: "lease.renewed",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "fence": new.fence, "until": until }),
        })
        .await?;
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

/// Gives a task back that was not started.
pub async fn give_back(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &ReturnLease,
) -> Result<TaskView, Refusal> {
    flow.write(call, "leases.return", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.held_lease(&case, task, new.fence)?;
        let before = step
            .change_task(&mut case, task, TaskEvent::Return, |t| {
                t.technician = None;
                t.bay = None;
                t.fence += 1;
            })
            .await?;
        step.end_attempt(&mut case, &before, "returned", json!({ "note": new.note })).await?;
        step.record(Happening {
            kind: "lease.returned",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "fence": new.fence, "note": new.note }),
        })
        .await?;
        step.settle(&mut case).await?;
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

impl Step {
    /// The technician of this token.
    pub(crate) fn technician(&self) -> Result<Uuid, Refusal> {
        self.caller.technician.ok_or_else(|| {
            Refusal::new(ProblemKind::PersonRequired, "this is done with a technician's token")
        })
    }

    /// The caller holds the lease with this fence, and it has not ended.
    pub(crate) fn held_lease(&self, case: &Case, task: Uuid, fence: i64) -> Result<(), Refusal> {
        let task = case.task(task)?;
        let technician = self.technician()?;
        let holds = task.state.is_leased()
            && task.fence == fence
            && task.technician == Some(technician)
            && task.lease_until.is_some_and(|until| until > case.now);
        if holds {
            return Ok(());
        }
        Err(Refusal::new(
            ProblemKind::LeaseLost,
            format!(
                "you do not hold `{}` with the fence {fence}; it is {}",
                task.definition.title,
                task.state.word()
            ),
        )
        .with("state", task.state.word()))
    }

    async fn take(&mut self, new: &NewLease) -> Result<LeasesView, Refusal> {
        let me = self.technician()?;
        let shop = self.shop();
        let person = store::means::person(self.conn(), shop, me).await?.ok_or_else(|| {
            Refusal::new(ProblemKind::NotAble, "the technician of this token does not work here")
        })?;
        let wish = Wish { task: new.task, order: new.order };
        let found = store::leases::takeable(self.conn(), shop, me, &wish, LOOK_AT).await?;
        if let Some(task) = new.task
            && found.is_empty()
        {
            return Err(self.why_not_takeable(task).await?);
        }
        let mut leases = Vec::new();
        for candidate in found {
            if leases.len() >= new.max.unwrap_or(1) as usize {
                break;
            }
            match self.take_one(&person, &candidate, new).await? {
                Ok(lease) => leases.push(lease),
                Err(refusal) if new.task.is_some() => return Err(refusal),
                Err(_) => {}
            }
        }
        Ok(LeasesView { leases })
    }

    /// Takes one task, or says why not.
    async fn take_one(
        &mut self,
        person: &Person,
        wanted: &Takeable,
        new: &NewLease,
    ) -> Result<Result<LeaseView, Refusal>, Refusal> {
        let mut case = self.lock_case(wanted.order_id).await?;
        let task = case.task(wanted.task)?.clone();
        if task.state != TaskState::Ready {
            return Ok(Err(waiting(&case, &task)));
        }
        if !case.goes_on(&task) {
            return Ok(Err(has_left(&case)));
        }
        if let Err(refusal) = able(person, &task) {
            return Ok(Err(refusal));
        }
        let busy = case.occupancy.iter().any(|o| o.kind == "vehicle");
        if new.task.is_none() && busy {
            let detail = "something runs on this vehicle now; ask for the task by its id to prepare it meanwhile";
            return Ok(Err(Refusal::new(ProblemKind::VehicleBusy, detail)));
        }
        let waits = case.waits(Node::Task(task.id));
        if !waits.is_empty() {
            return Ok(Err(settling(&waits)));
        }
        let place = match self.place(&case, &task, wanted, new).await? {
            Ok(place) => place,
            Err(refusal) => return Ok(Err(refusal)),
        };
        let minutes = i64::from(new.minutes.unwrap_or(MINUTES));
        let until = case.now + TimeDelta::minutes(minutes);
        let task = self
            .change_task(&mut case, task.id, TaskEvent::Take, |t| {
                t.fence += 1;
                t.attempt += 1;
                t.technician = Some(person.id);
                t.bay = place.bay;
                t.lease_until = Some(until);
                t.started_at = None;
                t.ended_at = None;
            })
            .await?;
        let attempt = AttemptRow {
            task: task.id,
            number: task.attempt,
            fence: task.fence,
            technician: person.id,
            bay: place.bay,
            equipment: json!(place.equipment),
            taken_at: case.now,
            started_at: None,
            ended_at: None,
            outcome: None,
            detail: json!({}),
        };
        let shop = self.shop();
        store::attempts::insert(self.conn(), shop, &attempt).await?;
        case.attempts.push(attempt);
        self.record(Happening {
            kind: "task.taken",
            order: Some(case.order.id),
            subject: ("task", task.id.to_string()),
            data: json!({ "procedure": task.definition.id, "attempt": task.attempt, "fence": task.fence,
                "technician": person.id, "bay": place.bay, "equipment": place.equipment, "until": until }),
        })
        .await?;
        Ok(Ok(LeaseView {
            fence: task.fence,
            until,
            bay: place.bay,
            equipment: place.equipment,
            task: view::task(&case, &task),
        }))
    }

    /// Where and with what: the bay named, else the planned one, else any that is able and free.
    async fn place(
        &mut self,
        case: &Case,
        task: &TaskRow,
        wanted: &Takeable,
        new: &NewLease,
    ) -> Result<Result<Place, Refusal>, Refusal> {
        let shop = self.shop();
        let bound = store::means::bound(self.conn(), shop).await?;
        let elsewhere: BTreeSet<Uuid> = bound
            .into_iter()
            .filter(|(_, vehicle)| *vehicle != case.vehicle.id)
            .map(|(thing, _)| thing)
            .collect();
        let away = store::means::away(self.conn(), shop, case.now).await?;
        let out: BTreeSet<Uuid> = away
            .iter()
            .filter(|a| a.from_at <= case.now)
            .filter_map(|a| a.bay.or(a.equipment))
            .collect();
        let free = |thing: &Uuid| !elsewhere.contains(thing) && !out.contains(thing);
        let bay = match &task.definition.place_of_work {
            PlaceOfWork::Road => None,
            PlaceOfWork::Bay(needed) => {
                let bays = store::bays::list(self.conn(), shop).await?;
                let fits = |b: &&store::bays::BayRow| {
                    !b.retired && needed.iter().all(|need| b.capabilities.contains(need))
                };
                let kept = case.brackets.iter().find(|b| b.must_not_move).and_then(|b| {
                    case.attempts.iter().filter(|a| a.task == b.entered_by).find_map(|a| a.bay)
                });
                let chosen = match new.bay {
                    Some(named) => bays.iter().filter(fits).find(|b| b.id == named && free(&b.id)),
                    None => [kept, wanted.bay]
                        .into_iter()
                        .flatten()
                        .find_map(|id| bays.iter().filter(fits).find(|b| b.id == id && free(&b.id)))
                        .or_else(|| bays.iter().filter(fits).find(|b| free(&b.id))),
                };
                let Some(bay) = chosen else {
                    let which = if new.bay.is_some() { "the bay named" } else { "no bay" };
                    let able = match needed.join(", ") {
                        none if none.is_empty() => none,
                        needed => format!("able ({needed}) and "),
                    };
                    let detail = format!("{which} is {able}free");
                    return Ok(Err(Refusal::new(ProblemKind::NotAble, detail)));
                };
                Some(bay.id)
            }
        };
        let units = store::means::units(self.conn(), shop).await?;
        let mut equipment = Vec::new();
        for (kind, count) in &task.definition.equipment {
            let mut able: Vec<_> =
                units.iter().filter(|u| u.kind == *kind && free(&u.id)).collect();
            // Units named come first, then those whose calibration holds.
            able.sort_by_key(|u| {
                let valid = u.calibrated_until.is_none_or(|until| until > case.now);
                (!new.equipment.contains(&u.id), !valid)
            });
            let chosen: Vec<Uuid> = able.iter().take(*count as usize).map(|u| u.id).collect();
            if chosen.len() < *count as usize {
                let owned = units.iter().filter(|u| u.kind == *kind).count();
                let detail = format!(
                    "{count} of `{kind}` needed; the shop has {owned}, of which {} free",
                    chosen.len()
                );
                return Ok(Err(Refusal::new(ProblemKind::NotAble, detail)));
            }
            equipment.extend(chosen);
        }
        Ok(Ok(Place { bay, equipment }))
    }

    /// Why a task that was asked for cannot be taken.
    async fn why_not_takeable(&mut self, task: Uuid) -> Result<Refusal, Refusal> {
        let case = self.lock_case_of_task(task).await?;
        Ok(waiting(&case, case.task(task)?))
    }
}

struct Place {
    bay: Option<Uuid>,
    equipment: Vec<Uuid>,
}

fn able(person: &Person, task: &TaskRow) -> Result<(), Refusal> {
    let Some(lacking) = lacking(person, &task.definition.skills) else { return Ok(()) };
    let detail = format!("`{}` needs the skills {lacking}", task.definition.title);
    Err(Refusal::new(ProblemKind::NotAble, detail))
}

fn settling(waits: &[(&TaskRow, DateTime<Utc>)]) -> Refusal {
    Refusal::obstacles(
        waits
            .iter()
            .map(|(task, until)| Obstacle {
                earliest_at: Some(*until),
                task: Some(task.id),
                ..Obstacle::new(
                    "settling",
                    format!("`{}` is settling", task.definition.title),
                    "wait",
                )
            })
            .collect(),
    )
}

/// The vehicle left; only what ends after hand-over goes on.
pub(crate) fn has_left(case: &Case) -> Refusal {
    let detail = format!(
        "the order is {}: only what ends after hand-over goes on; a new order follows this one",
        case.order.state.word()
    );
    Refusal::new(ProblemKind::WrongState, detail).with("state", case.order.state.word())
}

fn waiting(case: &Case, task: &TaskRow) -> Refusal {
    let kind = match task.state {
        TaskState::Waiting => ProblemKind::TaskWaiting,
        TaskState::Taken | TaskState::Running => ProblemKind::Taken,
        _ => ProblemKind::WrongState,
    };
    let mut refusal =
        Refusal::new(kind, format!("`{}` is {}", task.definition.title, task.state.word()))
            .with("state", task.state.word());
    refusal.0.reasons = view::obstacles_before(case, Node::Task(task.id));
    refusal
}
