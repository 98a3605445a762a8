//! Why an order ends when it does: the chain of what it waits for.

use crate::model::{BayId, JobId, Model, OrderId, Placement, TechnicianId, Ticks};
use crate::outcome::Plan;

/// One link: a job, and what kept it from starting sooner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// The job.
    pub job: JobId,
    /// When it starts.
    pub start: Ticks,
    /// What it waited for.
    pub cause: Cause,
}

/// What keeps a job from starting sooner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// It runs, or was fixed.
    Fixed,
    /// The vehicle, its parts or the moment of planning.
    Arrival,
    /// An earlier job and its settling time.
    After(JobId),
    /// The vehicle is busy with another job, or on its way.
    Vehicle(JobId),
    /// The bay is taken.
    Bay(BayId, JobId),
    /// The bay is closed.
    Closed(BayId),
    /// The technician is at another job.
    Technician(TechnicianId, JobId),
    /// The technician is not there.
    Shift(TechnicianId),
    /// Equipment of this kind is in use.
    Equipment(String, JobId),
    /// Nothing: the plan in force or the dispatcher has it there.
    Kept,
}

impl Cause {
    /// The cause in words.
    #[must_use]
    pub fn words(&self, model: &Model) -> String {
        let job = |id: &JobId| &model.jobs[*id].name;
        match self {
            Self::Fixed => "is fixed".to_owned(),
            Self::Arrival => "could not begin sooner".to_owned(),
            Self::After(other) => format!("comes after {}", job(other)),
            Self::Vehicle(other) => format!("waits for the vehicle, which is at {}", job(other)),
            Self::Bay(bay, other) => {
                format!("waits for {}, taken by {}", model.bays[*bay].name, job(other))
            }
            Self::Closed(bay) => format!("waits for {} to open", model.bays[*bay].name),
            Self::Technician(who, other) => {
                format!("waits for {}, busy with {}", model.technicians[*who].name, job(other))
            }
            Self::Shift(who) => format!("waits for {} to come in", model.technicians[*who].name),
            Self::Equipment(kind, other) => format!("waits for {kind}, in use for {}", job(other)),
            Self::Kept => "stays where the plan had it".to_owned(),
        }
    }
}

/// The chain that ends an order, from its last job back to where it began.
#[must_use]
pub fn explain(model: &Model, plan: &Plan, order: OrderId) -> Vec<Link> {
    let placed = |id: JobId| plan.placements.get(id).and_then(Option::as_ref);
    let own = (0..model.jobs.len()).filter(|&id| model.jobs[id].order == order);
    let mut next = own
        .filter_map(|id| placed(id).map(|placement| (placement.end, id)))
        .max()
        .map(|(_, id)| id);
    let mut chain: Vec<Link> = Vec::new();
    while let Some(job) = next.filter(|&job| chain.iter().all(|link| link.job != job)) {
        let Some(placement) = placed(job) else { break };
        let (cause, before) = cause(model, plan, job, placement);
        chain.push(Link { job, start: placement.start, cause });
        next = before;
    }
    chain
}

/// What kept one job from starting sooner; none: it is not planned.
#[must_use]
pub fn why(model: &Model, plan: &Plan, job: JobId) -> Option<Cause> {
    let placement = plan.placements.get(job)?.as_ref()?;
    Some(cause(model, plan, job, placement).0)
}

/// What kept the job, and the job to look at next.
fn cause(model: &Model, plan: &Plan, id: JobId, placement: &Placement) -> (Cause, Option<JobId>) {
    let (job, start) = (&model.jobs[id], placement.start);
    if job.fixed.is_some() {
        return (Cause::Fixed, None);
    }
    let before: Vec<(JobId, &Placement)> = plan
        .placements
        .iter()
        .enumerate()
        .filter_map(|(other, there)| there.as_ref().map(|there| (other, there)))
        .filter(|&(other, there)| other != id && there.end <= start && there.start < start)
        .collect();
    for edge in model.edges.iter().filter(|edge| edge.after == id) {
        let settled =
            |there: &Placement| there.end + edge.wait.max(model.jobs[edge.before].settle.ticks);
        if plan.placements[edge.before].as_ref().is_some_and(|there| settled(there) == start) {
            return (Cause::After(edge.before), Some(edge.before));
        }
    }
    let vehicle = model.orders[job.order].vehicle;
    for &(other, there) in &before {
        if model.orders[model.jobs[other].order].vehicle == vehicle
            && leaves(model, other, there, placement.bay) == start
        {
            return (Cause::Vehicle(other), Some(other));
        }
    }
    for &(other, there) in &before {
        let settle = model.jobs[other].settle;
        let held = there.end + if settle.keeps_bay { settle.ticks } else { 0 };
        if let Some(bay) = placement.bay.filter(|_| there.bay == placement.bay && held == start) {
            return (Cause::Bay(bay, other), Some(other));
        }
    }
    for &(other, there) in before.iter().filter(|(_, there)| there.end == start) {
        if let Some(&who) = placement.technicians.iter().find(|who| there.technicians.contains(who))
        {
            return (Cause::Technician(who, other), Some(other));
        }
        let kinds = &model.jobs[other].equipment;
        if let Some((kind, _)) =
            job.equipment.iter().find(|(kind, _)| kinds.iter().any(|(used, _)| used == kind))
        {
            return (Cause::Equipment(kind.clone(), other), Some(other));
        }
    }
    if start <= model.orders[job.order].release.max(model.now).max(job.earliest) {
        return (Cause::Arrival, None);
    }
    // Something opens at that moment: go on with what kept the job from the time before.
    let last = before
        .iter()
        .filter(|&&(other, there)| {
            let people = there.technicians.iter().any(|who| placement.technicians.contains(who));
            let bay = there.bay.is_some() && there.bay == placement.bay;
            people || bay || model.orders[model.jobs[other].order].vehicle == vehicle
        })
        .max_by_key(|(_, there)| there.end)
        .map(|&(other, _)| other);
    let comes =
        |who: &&TechnicianId| model.technicians[**who].shifts.iter().any(|shift| shift.0 == start);
    if let Some(&who) = placement.technicians.iter().find(comes) {
        return (Cause::Shift(who), last);
    }
    if let Some(bay) =
        placement.bay.filter(|&bay| model.bays[bay].closed.iter().any(|closed| closed.1 == start))
    {
        return (Cause::Closed(bay), last);
    }
    (Cause::Kept, last)
}

/// When the vehicle can be in that bay after a job elsewhere.
fn leaves(model: &Model, other: JobId, there: &Placement, to: Option<BayId>) -> Ticks {
    let settle = model.jobs[other].settle;
    let (moving, same) = match (there.bay, to) {
        (Some(from), Some(to)) if from != to => {
            let near = model.bays[from].zone == model.bays[to].zone;
            (if near { model.moving.same_zone } else { model.moving.other_zone }, false)
        }
        (from, to) => (0, from == to),
    };
    let settles = settle.blocks_vehicle || (settle.keeps_bay && !same);
    there.end + moving + if settles { settle.ticks } else { 0 }
}
