//! The rules of the floor, written a second time and another way: from finished plans, not while building them.

use planner::model::{Model, Placement, Ticks};
use planner::outcome::Plan;
use std::collections::BTreeSet;

/// Every broken rule in words; an empty list means that the plan holds.
pub(crate) fn violations(model: &Model, plan: &Plan) -> Vec<String> {
    let mut broken = Vec::new();
    let placed: Vec<(usize, &Placement)> = plan
        .placements
        .iter()
        .enumerate()
        .filter_map(|(job, placement)| placement.as_ref().map(|placement| (job, placement)))
        .collect();
    if plan.placements.len() != model.jobs.len() {
        broken.push("the plan does not speak of every job".to_owned());
    }
    for job in 0..model.jobs.len() {
        let told = plan.unplanned.iter().filter(|entry| entry.job == job).count();
        let there = usize::from(plan.placements[job].is_some());
        if told + there != 1 && model.jobs[job].fixed.is_none() {
            broken.push(format!("{job}: planned {there} times, unplanned {told} times"));
        }
    }
    for &(job, placement) in &placed {
        alone(model, job, placement, &mut broken);
    }
    for (place, &(a, first)) in placed.iter().enumerate() {
        for &(b, second) in &placed[place + 1..] {
            if model.jobs[a].fixed.is_none() || model.jobs[b].fixed.is_none() {
                together(model, (a, first), (b, second), &mut broken);
            }
        }
    }
    order(model, plan, &mut broken);
    equipment(model, &placed, &mut broken);
    broken
}

fn alone(model: &Model, id: usize, placement: &Placement, broken: &mut Vec<String>) {
    let (job, order) = (&model.jobs[id], &model.orders[model.jobs[id].order]);
    if let Some(fixed) = &job.fixed {
        if fixed != placement {
            broken.push(format!("{id}: fixed work moved"));
        }
        return;
    }
    let (start, end) = (placement.start, placement.end);
    if start < model.now || start < order.release || start < job.earliest || end > model.horizon {
        broken.push(format!("{id}: outside its time"));
    }
    if job.pin.start.is_some_and(|pin| pin != start)
        || job.pin.bay.is_some_and(|pin| placement.bay != Some(pin))
    {
        broken.push(format!("{id}: pin not kept"));
    }
    if job.pin.technician.is_some_and(|pin| !placement.technicians.contains(&pin)) {
        broken.push(format!("{id}: pinned technician not booked"));
    }
    let zone = match (&job.bay, placement.bay) {
        (None, None) => order.zones.first().copied().unwrap_or(0),
        (Some(needs), Some(bay)) => {
            let bay = &model.bays[bay];
            if !needs.iter().all(|need| bay.capabilities.contains(need))
                || !(order.zones.is_empty() || order.zones.contains(&bay.zone))
            {
                broken.push(format!("{id}: a bay that can't do it"));
            }
            if bay.closed.iter().any(|&(from, to)| from.max(start) < to.min(end)) {
                broken.push(format!("{id}: the bay is closed"));
            }
            bay.zone
        }
        _ => return broken.push(format!("{id}: bay and road mixed up")),
    };
    if placement.technicians.len() != job.people.len()
        || placement.technicians.iter().collect::<BTreeSet<_>>().len() != job.people.len()
    {
        broken.push(format!("{id}: wrong number of people"));
    }
    let mut present = 0;
    for (&who, skills) in placement.technicians.iter().zip(&job.people) {
        let person = &model.technicians[who];
        if !skills.iter().all(|skill| person.skills.contains(skill))
            || !(person.zones.is_empty() || person.zones.contains(&zone))
        {
            broken.push(format!("{id}: {who} may not do it"));
        }
        present =
            person.shifts.iter().map(|&(from, to)| (to.min(end) - from.max(start)).max(0)).sum();
        if job.pause.is_none()
            && !person.shifts.iter().any(|&(from, to)| from <= start && end <= to)
        {
            broken.push(format!("{id}: {who} is not there"));
        }
    }
    let worked = if job.pause.is_some() && job.people.len() == 1 { present } else { end - start };
    if worked != job.duration.likely && job.lengths.is_empty() {
        broken.push(format!("{id}: worked {worked} of {}", job.duration.likely));
    }
}

fn together(
    model: &Model,
    a: (usize, &Placement),
    b: (usize, &Placement),
    broken: &mut Vec<String>,
) {
    let ((a, first), (b, second)) =
        if (a.1.start, a.1.end) <= (b.1.start, b.1.end) { (a, b) } else { (b, a) };
    let settle = model.jobs[a].settle;
    let vehicle = |job: usize| model.orders[model.jobs[job].order].vehicle;
    if first.technicians.iter().any(|who| second.technicians.contains(who))
        && second.start < first.end
    {
        broken.push(format!("{a} and {b}: one technician twice"));
    }
    let held = first.end + if settle.keeps_bay { settle.ticks } else { 0 };
    if first.bay.is_some()
        && first.bay == second.bay
        && second.start < if vehicle(a) == vehicle(b) { first.end } else { held }
    {
        broken.push(format!("{a} and {b}: one bay twice"));
    }
    if vehicle(a) == vehicle(b) {
        let way = match (first.bay, second.bay) {
            (Some(from), Some(to))
                if from != to && model.bays[from].zone == model.bays[to].zone =>
            {
                model.moving.same_zone
            }
            (Some(from), Some(to)) if from != to => model.moving.other_zone,
            _ => 0,
        };
        let waits = settle.blocks_vehicle || (settle.keeps_bay && first.bay != second.bay);
        if second.start < first.end + way + if waits { settle.ticks } else { 0 } {
            broken.push(format!("{a} and {b}: one vehicle twice"));
        }
    }
}

fn order(model: &Model, plan: &Plan, broken: &mut Vec<String>) {
    let place = |job: usize| plan.placements[job].as_ref();
    for edge in &model.edges {
        let Some(after) = place(edge.after).filter(|_| model.jobs[edge.after].fixed.is_none())
        else {
            continue;
        };
        let wait: Ticks = edge.wait.max(model.jobs[edge.before].settle.ticks);
        if place(edge.before).is_none_or(|before| after.start < before.end + wait) {
            broken.push(format!("{} does not wait for {}", edge.after, edge.before));
        }
    }
    for bracket in &model.brackets {
        let Some(outside) = place(bracket.outside) else { continue };
        let before = bracket
            .inside
            .iter()
            .all(|&job| place(job).is_some_and(|inside| inside.end <= outside.start));
        let after = !bracket.entered
            && bracket
                .inside
                .iter()
                .all(|&job| place(job).is_none_or(|inside| outside.end <= inside.start));
        if !before && !after {
            broken.push(format!("{} falls into a bracket", bracket.outside));
        }
    }
    for span in &model.immobile {
        let vehicle = model.orders[model.jobs[span.until].order].vehicle;
        let begin = match span.from {
            Some(from) => place(from).map(|from| (from.start, from.bay)),
            None => model.vehicles[vehicle].stands_in.map(|bay| (model.now, Some(bay))),
        };
        let Some((from, Some(bay))) = begin else { continue };
        let to = place(span.until).map_or(model.horizon, |until| until.end);
        for (job, placement) in plan.placements.iter().enumerate() {
            let Some(placement) =
                placement.as_ref().filter(|placement| placement.start < to && from < placement.end)
            else {
                continue;
            };
            let own = model.orders[model.jobs[job].order].vehicle == vehicle;
            if own != (placement.bay == Some(bay)) && (own || placement.bay == Some(bay)) {
                broken.push(format!("{job}: against an immobile vehicle in {bay}"));
            }
        }
    }
}

fn equipment(model: &Model, placed: &[(usize, &Placement)], broken: &mut Vec<String>) {
    for pool in &model.pools {
        let own_zones: Vec<usize> = model
            .pools
            .iter()
            .filter(|other| other.kind == pool.kind)
            .filter_map(|other| other.zone)
            .collect();
        let uses: Vec<(Ticks, Ticks, u32, bool)> = placed
            .iter()
            .filter(|(id, placement)| {
                let home = model.orders[model.jobs[*id].order].zones.first().copied().unwrap_or(0);
                let zone = placement.bay.map_or(home, |bay| model.bays[bay].zone);
                pool.zone.map_or(!own_zones.contains(&zone), |own| own == zone)
            })
            .flat_map(|(id, placement)| {
                let units = model.jobs[*id].equipment.iter().filter(|(kind, _)| *kind == pool.kind);
                units.map(|(_, units)| {
                    (placement.start, placement.end, *units, model.jobs[*id].fixed.is_some())
                })
            })
            .collect();
        for &(moment, ..) in &uses {
            let there: Vec<_> =
                uses.iter().filter(|(from, to, ..)| *from <= moment && moment < *to).collect();
            let level: u32 = there.iter().map(|(_, _, units, _)| units).sum();
            if level > pool.capacity && there.iter().any(|(.., fixed)| !fixed) {
                broken.push(format!("{level} of {} in use at {moment}", pool.kind));
                break;
            }
        }
    }
}
