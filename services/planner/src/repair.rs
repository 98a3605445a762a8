//! After an event: the plan in force with as little changed as possible.

use crate::calendar::NEVER;
use crate::chart::{Chart, Turn};
use crate::construct::{Draft, Rule, construct, cost, dispatch, ready};
use crate::improve::{finish, first};
use crate::model::{Model, Placement};
use crate::outcome::Plan;
use crate::pins::try_anew;
use crate::shop::{NONE, Shop, index, placement_of, spot_of};

/// Repairs the plan in force ([`Model::in_force`]): every job that still can keeps bay, people and start; what can't is laid in again as early as possible, and
/// what is new comes where there is room, without pushing anybody. When nothing happened, nothing changes.
///
/// Meant to be called at once; [`crate::improve::plan`] starts from the same repaired plan and improves it at the price per change.
#[must_use]
pub fn repair(model: &Model) -> Plan {
    let (shop, unplanned, draft) = first(model);
    try_anew(model, finish(&shop, &draft, unplanned))
}

/// The plan in force as far as it can be kept; then what is new, laid into the gaps.
pub(crate) fn keep(shop: &Shop<'_>) -> Draft {
    let mut released = vec![false; shop.works.len()];
    loop {
        let (draft, cost) = kept(shop, &released);
        let missing = |job: usize| !shop.works[job].left_out && draft.ends[job] >= NEVER;
        if draft.broken.is_some() {
            return draft;
        }
        if !(0..shop.works.len()).any(missing) {
            return Draft { cost, ..draft };
        }
        if release(shop, &draft, &mut released) {
            continue;
        }
        let laid = fill(shop, &draft);
        match laid.broken {
            Some(job) if shop.works[job].fixed.is_none() => {
                let places = (vec![shop.works[job].vehicle], vec![draft.spots[job].bay]);
                if !let_go(shop, &places.0, &places.1, &mut released) {
                    return construct(shop);
                }
            }
            _ => return laid,
        }
    }
}

/// What is kept stands fast; the rest is dispatched into the gaps.
fn fill(shop: &Shop<'_>, draft: &Draft) -> Draft {
    let mut held = shop.clone();
    for job in 0..shop.works.len() {
        if shop.works[job].fixed.is_none() && draft.ends[job] < NEVER {
            let placement = placement_of(draft.starts[job], draft.ends[job], draft.spots[job]);
            held.fix(job, &placement, true);
        }
    }
    dispatch(&held, Rule::TardinessCost(2.0))
}

/// A bracket or an immobile span of which a part must be laid in anew is laid in anew whole, with all that its vehicle and
/// its bay hold; false if there is none.
fn release(shop: &Shop<'_>, draft: &Draft, released: &mut [bool]) -> bool {
    let model = shop.model;
    let lost = |job: usize| {
        let planned = model.in_force.get(job).is_some_and(Option::is_some);
        planned && draft.ends[job] >= NEVER && !shop.works[job].left_out
    };
    let mut vehicles = Vec::new();
    let mut bays = Vec::new();
    for bracket in &model.brackets {
        if lost(bracket.outside) || bracket.inside.iter().any(|&job| lost(job)) {
            vehicles.push(shop.works[bracket.outside].vehicle);
        }
    }
    for span in &model.immobile {
        if lost(span.until) || span.from.is_some_and(lost) {
            let vehicle = shop.works[span.until].vehicle;
            vehicles.push(vehicle);
            let fixed = span.from.and_then(|from| shop.works[from].fixed).map(|fixed| fixed.2.bay);
            bays.extend(fixed.or(model.vehicles[vehicle as usize].stands_in.map(index)));
        }
    }
    let_go(shop, &vehicles, &bays, released)
}

/// Releases all work of these vehicles and in these bays; false if all of it already was.
fn let_go(shop: &Shop<'_>, vehicles: &[u32], bays: &[u32], released: &mut [bool]) -> bool {
    let mut more = false;
    for (job, flag) in released.iter_mut().enumerate() {
        let work = &shop.works[job];
        let bay =
            shop.model.in_force.get(job).and_then(Option::as_ref).and_then(|before| before.bay);
        let falls =
            vehicles.contains(&work.vehicle) || bay.is_some_and(|bay| bays.contains(&index(bay)));
        if falls && work.fixed.is_none() && !*flag {
            *flag = true;
            more = true;
        }
    }
    more
}

/// Every job of the plan in force that is not released, at its old place or a little later.
fn kept(shop: &Shop<'_>, released: &[bool]) -> (Draft, i64) {
    let model = shop.model;
    let mut known = vec![false; shop.works.len()];
    for &job in &shop.sorted() {
        let id = job as usize;
        let work = &shop.works[id];
        let before = work.before.iter().all(|(before, _)| known[*before as usize]);
        let planned = model.in_force.get(id).is_some_and(Option::is_some) && !released[id];
        known[id] = work.fixed.is_some() || (planned && before && !work.left_out);
    }
    let mut list: Vec<(Turn, usize)> = Vec::with_capacity(shop.works.len());
    for (job, work) in shop.works.iter().enumerate() {
        match (work.fixed, model.in_force.get(job)) {
            (Some((start, end, _)), _) => list.push((Turn::of(start, end, work.rank), job)),
            (None, Some(Some(old))) if known[job] => {
                list.push((Turn::of(old.start, old.end, work.rank), job));
            }
            _ => {}
        }
    }
    list.sort_unstable();
    let mut draft = Draft::empty(shop.works.len());
    let mut chart = Chart::new(shop);
    for (turn, job) in list {
        chart.nodes[job].turn = turn;
        lay(shop, &mut chart, &mut draft, job);
        if draft.broken.is_some() {
            break;
        }
    }
    let cost = cost(shop, &chart);
    (draft, cost)
}

fn lay(shop: &Shop<'_>, chart: &mut Chart, draft: &mut Draft, job: usize) {
    let work = &shop.works[job];
    let at = ready(shop, &draft.ends, job);
    if let Some((start, end, spot)) = work.fixed {
        if chart.book_fixed(shop, job, at) {
            draft.set(job, spot, start, end);
        } else {
            draft.broken = Some(job);
        }
        return;
    }
    let Some(at) = at.filter(|_| chart.admits(shop, job)) else {
        return;
    };
    if let Some(Some(before)) = shop.model.in_force.get(job) {
        let spot = spot_of(before);
        let from = at.max(before.start);
        if usable(shop, job, before)
            && let Some(fit) = chart.earliest(shop, job, spot, from)
            // A short delay is passed on; what would start much later is laid into a gap, so that others keep their place.
            && fit.start <= before.start + work.length / 3
        {
            chart.book(shop, job, spot, fit);
            draft.set(job, spot, fit.start, fit.end);
        }
    }
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
