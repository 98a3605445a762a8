//! Two plans side by side.

use crate::cost::{cost, moved};
use crate::model::{JobId, Model, OrderId, Ticks};
use crate::outcome::{Cost, Plan};

/// What differs from one plan to another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// The plan before.
    pub before: Figures,
    /// The plan after.
    pub after: Figures,
    /// Jobs in both plans that lie elsewhere: another start, bay or other people.
    pub moved: Vec<JobId>,
    /// Jobs that only the later plan holds.
    pub added: Vec<JobId>,
    /// Jobs that only the earlier plan holds.
    pub lost: Vec<JobId>,
}

/// What a plan comes to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Figures {
    /// What each part of the objective costs, by the weights of the model that it is held against.
    pub cost: Cost,
    /// Orders that end after they were promised.
    pub late: Vec<OrderId>,
    /// By how much, all together, without weights.
    pub late_by: Ticks,
    /// Orders of which something has no place in the plan: nobody can say when they end.
    pub unfinished: Vec<OrderId>,
    /// Changes of bay.
    pub moves: usize,
}

/// Compares two plans of one model (the later one may be of a changed model with the same jobs).
#[must_use]
pub fn compare(model: &Model, before: &Plan, after: &Plan) -> Comparison {
    let mut comparison = Comparison {
        before: figures(model, before),
        after: figures(model, after),
        moved: Vec::new(),
        added: Vec::new(),
        lost: Vec::new(),
    };
    for job in 0..model.jobs.len() {
        let place = |plan: &Plan| plan.placements.get(job).cloned().flatten();
        match (place(before), place(after)) {
            (Some(old), Some(new)) if moved(&old, &new) => comparison.moved.push(job),
            (None, Some(_)) => comparison.added.push(job),
            (Some(_), None) => comparison.lost.push(job),
            _ => {}
        }
    }
    comparison
}

/// What one plan comes to.
#[must_use]
pub fn figures(model: &Model, plan: &Plan) -> Figures {
    let mut figures = Figures { cost: cost(model, &plan.placements), ..Figures::default() };
    let mut whole = vec![true; model.orders.len()];
    let mut ends: Vec<Option<Ticks>> = vec![None; model.orders.len()];
    let mut stays: Vec<Vec<(Ticks, usize)>> = vec![Vec::new(); model.vehicles.len()];
    for (job, placement) in model.jobs.iter().zip(&plan.placements) {
        whole[job.order] &= placement.is_some();
        if let Some(placement) = placement {
            ends[job.order] = ends[job.order].max(Some(placement.end));
            stays[model.orders[job.order].vehicle]
                .extend(placement.bay.map(|bay| (placement.start, bay)));
        }
    }
    for (number, (order, end)) in model.orders.iter().zip(ends).enumerate() {
        if !whole[number] {
            figures.unfinished.push(number);
        } else if let (Some(promised), Some(end)) = (order.promised, end)
            && end > promised
        {
            figures.late.push(number);
            figures.late_by += end - promised;
        }
    }
    for (vehicle, mut stays) in model.vehicles.iter().zip(stays) {
        stays.sort_unstable();
        let bays: Vec<usize> =
            vehicle.stands_in.into_iter().chain(stays.into_iter().map(|(_, bay)| bay)).collect();
        figures.moves += bays.windows(2).filter(|pair| pair[0] != pair[1]).count();
    }
    figures
}
