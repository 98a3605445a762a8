//! What a plan costs.

use crate::model::{Model, Placement};
use crate::outcome::Cost;

/// The cost of placements (by job) in a model. Jobs that are not placed count nothing.
#[must_use]
pub fn cost(model: &Model, placements: &[Option<Placement>]) -> Cost {
    let weights = &model.weights;
    let mut ends = vec![None; model.orders.len()];
    let mut stays: Vec<Vec<(i64, i64, usize)>> = vec![Vec::new(); model.vehicles.len()];
    let mut cost = Cost::default();
    let mut last = None;
    for (id, job) in model.jobs.iter().enumerate() {
        let Some(placement) = placements.get(id).and_then(Option::as_ref) else { continue };
        ends[job.order] = ends[job.order].max(Some(placement.end));
        last = last.max(Some(placement.end));
        if let Some(bay) = placement.bay {
            stays[model.orders[job.order].vehicle].push((placement.start, placement.end, bay));
        }
        let before = model.in_force.get(id).and_then(Option::as_ref);
        if job.fixed.is_none() && before.is_some_and(|before| moved(before, placement)) {
            cost.changes += weights.change;
        }
    }
    for (order, end) in model.orders.iter().zip(&ends) {
        let Some(end) = *end else { continue };
        let late = order.promised.map_or(0, |promised| (end - promised).max(0));
        cost.tardiness += weights.tardiness * order.weight * late;
        cost.flow += weights.flow * order.weight * (end - order.release).max(0);
    }
    for (vehicle, stays) in model.vehicles.iter().zip(&mut stays) {
        stays.sort_unstable();
        let mut place = vehicle.stands_in;
        for &(_, _, bay) in stays.iter() {
            if place.is_some_and(|place| place != bay) {
                cost.moving += weights.moving;
            }
            place = Some(bay);
        }
    }
    cost.makespan = weights.makespan * last.unwrap_or(0);
    cost
}

/// Whether a job lies elsewhere than before: another start, bay or other people.
#[must_use]
pub fn moved(before: &Placement, after: &Placement) -> bool {
    before.start != after.start
        || before.bay != after.bay
        || before.technicians != after.technicians
}
