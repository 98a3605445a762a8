//! After an event: the plan in force with as little changed as possible.

use crate::build::State;
use crate::calendar::NEVER;
use crate::construct::{Draft, Rule, dispatch, ready};
use crate::improve::{finish, first};
use crate::model::{Model, Placement};
use crate::outcome::Plan;
use crate::shop::{NONE, Shop, index, placement_of, spot_of};

/// Repairs the plan in force ([`Model::in_force`]): every job that still can keeps bay, people and start; what can't is laid in again as early as possible, and
/// what is new comes where there is room, without pushing anybody. When nothing happened, nothing changes.
///
/// Meant to be called at once; [`crate::improve::plan`] starts from the same repaired plan and improves it at the price per change.
#[must_use]
pub fn repair(model: &Model) -> Plan {
    let (shop, unplanned, draft) = first(model);
    finish(&shop, &draft, unplanned)
}

/// The plan in force as far as it can be kept; then what is new, laid into the gaps.
pub(crate) fn keep(shop: &Shop<'_>) -> Draft {
    let model = shop.model;
    let sorted = shop.sorted();
    let mut rank = vec![index(shop.works.len()); shop.works.len()];
    let mut known = vec![false; shop.works.len()];
    for (number, &job) in sorted.iter().enumerate() {
        let id = job as usize;
        let work = &shop.works[id];
        rank[id] = index(number);
        let before = work.before.iter().all(|(before, _)| known[*before as usize]);
        let planned = model.in_force.get(id).is_some_and(Option::is_some);
        known[id] = work.fixed.is_some() || (planned && before && !work.left_out);
    }
    let key = |job: usize| match (shop.works[job].fixed, model.in_force.get(job)) {
        (Some((start, ..)), _) => start,
        (None, Some(Some(before))) => before.start,
        _ => NEVER,
    };
    let mut list: Vec<u32> = (0..shop.works.len())
        .filter(|&job| known[job] || shop.works[job].fixed.is_some())
        .map(index)
        .collect();
    list.sort_by_key(|&job| (key(job as usize), rank[job as usize]));
    let mut draft = Draft::empty(shop.works.len());
    let mut state = State::new(shop);
    let mut late = Vec::new();
    for &job in &list {
        lay(shop, &mut state, &mut draft, job as usize, &mut late);
        if draft.broken.is_some() {
            return draft;
        }
    }
    let complete =
        (0..shop.works.len()).all(|job| shop.works[job].left_out || draft.ends[job] < NEVER);
    if complete {
        draft.cost = state.cost;
        return draft;
    }
    let mut held = shop.clone();
    for job in 0..shop.works.len() {
        if shop.works[job].fixed.is_none() && draft.ends[job] < NEVER {
            held.fix(
                job,
                &placement_of(draft.starts[job], draft.ends[job], draft.spots[job]),
                false,
            );
        }
    }
    dispatch(&held, Rule::TardinessCost(2.0))
}

fn lay(shop: &Shop<'_>, state: &mut State, draft: &mut Draft, job: usize, late: &mut Vec<usize>) {
    let work = &shop.works[job];
    let at = ready(shop, &draft.ends, job);
    if let Some((start, end, spot)) = work.fixed {
        let known = !work.wish || at.is_some();
        if known && state.book_fixed(shop, job, start, end, spot, at.unwrap_or(NEVER / -2)) {
            draft.set(job, spot, start, end);
        } else {
            draft.broken = Some(job);
        }
        return;
    }
    let Some(at) = at.filter(|_| state.admits(shop, job)) else {
        late.push(job);
        return;
    };
    if let Some(Some(before)) = shop.model.in_force.get(job) {
        let spot = spot_of(before);
        let from = at.max(before.start);
        if usable(shop, job, before) {
            let (start, end) = state.earliest(shop, job, spot, from);
            let other = if start == before.start { None } else { state.choose(shop, job, from) };
            // Another bay or technician only if that saves more than half the work's length.
            if start < NEVER && other.is_none_or(|(_, _, sooner)| end <= sooner + work.length / 2) {
                state.book(shop, job, spot, start, end);
                draft.set(job, spot, start, end);
                return;
            }
        }
        if let Some((spot, start, end)) = state.choose(shop, job, from) {
            state.book(shop, job, spot, start, end);
            draft.set(job, spot, start, end);
            return;
        }
    }
    late.push(job);
}

/// Whether bay and people of the plan in force may still do the job.
fn usable(shop: &Shop<'_>, job: usize, before: &Placement) -> bool {
    let work = &shop.works[job];
    let bay = before.bay.map_or(NONE, index);
    let able = before.technicians.len() == work.people.len()
        && before
            .technicians
            .iter()
            .zip(&work.people)
            .all(|(&who, able)| able.contains(&index(who)));
    work.bays.contains(&bay) && able && {
        let zone = shop.zone(work.order, bay);
        before.technicians.iter().all(|&who| shop.works_in[who * shop.zones + zone])
    }
}
