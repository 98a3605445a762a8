//! What can't be planned at all, and why, before anything is planned.

use crate::calendar::NEVER;
use crate::model::{JobId, Model, Placement, Ticks};
use crate::outcome::{Reason, Unplanned};
use crate::shop::{NONE, Shop, Spot, index, placement_of};

/// Reads the model, fixes what is fixed and leaves out what can't be planned. `broken` are pinned starts that turned out
/// impossible in an earlier round.
pub(crate) fn screen<'m>(
    model: &'m Model,
    broken: &[(JobId, String)],
) -> (Shop<'m>, Vec<Unplanned>) {
    let mut shop = Shop::new(model);
    let mut reasons: Vec<Option<Reason>> = vec![None; model.jobs.len()];
    let facts = model.jobs.iter().enumerate();
    let mut facts: Vec<(JobId, &Placement)> =
        facts.filter_map(|(id, job)| job.fixed.as_ref().map(|placement| (id, placement))).collect();
    facts.sort_by_key(|(_, placement)| placement.start);
    for (id, placement) in facts {
        shop.fix(id, placement, false);
    }
    for (id, reason) in reasons.iter_mut().enumerate() {
        if model.jobs[id].fixed.is_none() {
            *reason = pin_spot(&mut shop, id);
        }
    }
    for id in 0..model.jobs.len() {
        narrow(&mut shop, id);
    }
    keep_in_bay(&mut shop, &mut reasons);
    let mut circular = vec![true; model.jobs.len()];
    for job in shop.sorted() {
        circular[job as usize] = false;
    }
    for (id, reason) in reasons.iter_mut().enumerate() {
        if model.jobs[id].fixed.is_none() && reason.is_none() {
            *reason = if circular[id] { Some(Reason::Circular) } else { lacks(&shop, id) };
        }
    }
    for (id, why) in broken {
        reasons[*id] = Some(Reason::Pin(why.clone()));
    }
    cascade(&shop, &mut reasons);
    fix_pinned(&mut shop, &mut reasons);
    let mut unplanned = Vec::new();
    for (job, reason) in reasons.into_iter().enumerate() {
        if let Some(reason) = reason {
            shop.leave_out(job);
            unplanned.push(Unplanned { job, reason });
        }
    }
    shop.set_tails();
    (shop, unplanned)
}

/// Fixes what is pinned to a start, but for what then waits for something that is not planned.
fn fix_pinned(shop: &mut Shop<'_>, reasons: &mut [Option<Reason>]) {
    let starts = shop.model.jobs.iter().map(|job| job.pin.start).enumerate();
    let mut pinned: Vec<(Ticks, JobId)> =
        starts.filter_map(|(id, start)| start.map(|start| (start, id))).collect();
    if pinned.is_empty() {
        return;
    }
    pinned.sort_unstable();
    let without = shop.clone();
    loop {
        let mut fixed = Vec::with_capacity(pinned.len());
        for &(start, id) in &pinned {
            if shop.model.jobs[id].fixed.is_none() && reasons[id].is_none() {
                match spot_at(shop, id, start) {
                    Ok(placement) => {
                        shop.fix(id, &placement, true);
                        fixed.push(id);
                    }
                    Err(why) => reasons[id] = Some(Reason::Pin(why)),
                }
            }
        }
        cascade(shop, reasons);
        if fixed.iter().all(|&id| reasons[id].is_none()) {
            return;
        }
        shop.clone_from(&without);
    }
}

/// What waits for something that is not planned is not planned either; nor is a vehicle taken apart that can't be put together.
pub(crate) fn cascade(shop: &Shop<'_>, reasons: &mut [Option<Reason>]) {
    let model = shop.model;
    let mut open: Vec<u32> =
        (0..reasons.len()).filter(|&job| reasons[job].is_some()).map(index).collect();
    while let Some(job) = open.pop() {
        let job = job as usize;
        let taken_apart = model
            .immobile
            .iter()
            .filter(|span| span.until == job)
            .filter_map(|span| span.from)
            .map(index);
        let waiting: Vec<u32> = shop.works[job].after.iter().copied().chain(taken_apart).collect();
        for next in waiting {
            let id = next as usize;
            if reasons[id].is_none() && model.jobs[id].fixed.is_none() {
                reasons[id] = Some(Reason::WaitsFor(job, model.jobs[job].name.clone()));
                open.push(next);
            }
        }
    }
}

/// Narrows the options to the pinned bay and technician.
fn pin_spot(shop: &mut Shop<'_>, id: JobId) -> Option<Reason> {
    let pin = shop.model.jobs[id].pin;
    if let Some(bay) = pin.bay {
        if !shop.works[id].bays.contains(&index(bay)) {
            let name = shop.model.bays.get(bay).map_or("that bay", |bay| bay.name.as_str());
            return Some(Reason::Pin(format!("pinned to {name}, which can't be used for it")));
        }
        shop.works[id].bays = vec![index(bay)];
    }
    if let Some(who) = pin.technician {
        let able = &mut shop.works[id].people;
        let Some(slot) = able.iter().position(|able| able.contains(&index(who))) else {
            let name = shop.model.technicians.get(who);
            let name = name.map_or("that technician", |technician| technician.name.as_str());
            return Some(Reason::Pin(format!("pinned to {name}, who can't do it")));
        };
        able[slot] = vec![index(who)];
    }
    None
}

/// Bays where people or equipment for the job are missing drop out, unless none is left.
fn narrow(shop: &mut Shop<'_>, id: JobId) {
    let work = &shop.works[id];
    let serves = |&bay: &u32| {
        let zone = shop.zone(work.order, bay);
        let there = |&who: &u32| shop.works_in[who as usize * shop.zones + zone];
        work.people.iter().all(|able| able.iter().any(there))
            && work.equipment.iter().all(|&(kind, units)| {
                shop.pool(kind, zone).is_some_and(|pool| shop.pools[pool].capacity() >= units)
            })
    };
    let bays: Vec<u32> = work.bays.iter().copied().filter(serves).collect();
    if !bays.is_empty() {
        shop.works[id].bays = bays;
    }
}

/// What by its order falls into an immobile span needs the bay of the span.
fn keep_in_bay(shop: &mut Shop<'_>, reasons: &mut [Option<Reason>]) {
    let model = shop.model;
    for span in &model.immobile {
        let until = index(span.until);
        let vehicle = shop.works[span.until].vehicle;
        let inside: Vec<usize> = (0..model.jobs.len())
            .filter(|&job| {
                let number = index(job);
                let early = job == span.until || shop.reaches(number, until);
                let late =
                    span.from.is_none_or(|from| job == from || shop.reaches(index(from), number));
                shop.works[job].vehicle == vehicle && early && late
            })
            .collect();
        let given = match span.from {
            Some(from) => shop.works[from].fixed.map(|(_, _, spot)| spot.bay),
            None => model.vehicles[vehicle as usize].stands_in.map(index),
        };
        let mut common: Vec<u32> = match given {
            Some(bay) => vec![bay],
            None => shop.works[span.until].bays.clone(),
        };
        for &job in &inside {
            if shop.works[job].fixed.is_none() {
                common.retain(|bay| shop.works[job].bays.contains(bay));
            }
        }
        for &job in &inside {
            if shop.works[job].fixed.is_some() {
                continue;
            }
            if common.is_empty() || common.contains(&NONE) {
                reasons[job].get_or_insert(Reason::Immobile);
            }
            shop.works[job].bays.retain(|bay| common.contains(bay));
        }
    }
}

/// What the shop lacks for a job.
fn lacks(shop: &Shop<'_>, id: JobId) -> Option<Reason> {
    let (work, job) = (&shop.works[id], &shop.model.jobs[id]);
    if work.bays.is_empty() {
        return Some(Reason::NoBay(job.bay.clone().unwrap_or_default()));
    }
    let from = work.release.max(shop.model.now);
    let open = |number: usize| shop.calendars[number].fit(from, work.length) < NEVER;
    if work.bays != [NONE] && !work.bays.iter().any(|&bay| open(bay as usize)) {
        return Some(Reason::BayClosed);
    }
    let zones: Vec<usize> = work.bays.iter().map(|&bay| shop.zone(work.order, bay)).collect();
    for (able, skills) in work.people.iter().zip(&job.people) {
        let mut there = able
            .iter()
            .filter(|&&who| {
                zones.iter().any(|zone| shop.works_in[who as usize * shop.zones + zone])
            })
            .peekable();
        if there.peek().is_none() {
            return Some(Reason::NoTechnician(skills.clone()));
        }
        let fits = |who: u32| {
            let number = shop.bays + who as usize;
            let parts = || shop.calendars[number].fit_paused(from, work.length, work.pause);
            open(number) || work.pause >= 0 && parts().0 < NEVER
        };
        if !there.any(|&who| fits(who)) {
            return Some(Reason::NoShift(skills.clone()));
        }
    }
    if let [one, two] = work.people.as_slice()
        && one.len() == 1
        && one == two
    {
        return Some(Reason::NoTechnician(job.people[1].clone()));
    }
    let mut names: Vec<&String> = Vec::new();
    for (name, _) in job.equipment.iter().filter(|(_, units)| *units > 0) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    for (&(kind, units), name) in work.equipment.iter().zip(names) {
        let enough = |&zone: &usize| {
            shop.pool(kind, zone).is_some_and(|pool| shop.pools[pool].capacity() >= units)
        };
        if !zones.iter().any(enough) {
            let needed = u32::try_from(units).unwrap_or(u32::MAX);
            return Some(Reason::NoEquipment { kind: name.clone(), needed });
        }
    }
    None
}

/// A bay and people that are free for the job at exactly that time, as far as calendars and other fixed work tell.
fn spot_at(shop: &Shop<'_>, id: JobId, start: Ticks) -> Result<Placement, String> {
    let work = &shop.works[id];
    if start < work.release {
        return Err("pinned to a time before it can begin".to_owned());
    }
    let end = start + work.length;
    if end > shop.model.horizon {
        return Err("pinned to a time after the end of the planned time".to_owned());
    }
    let open = |number: usize, length: Ticks| shop.calendars[number].fit(start, length) == start;
    let mut why = "pinned to a time at which no bay for it is free".to_owned();
    for &bay in &work.bays {
        let hold = if work.settle_bay { work.settle } else { 0 };
        if bay != NONE && !open(bay as usize, work.length + hold) {
            if let [only] = work.bays[..] {
                why = bay_taken(shop, only, (start, end + hold));
            }
            continue;
        }
        let zone = shop.zone(work.order, bay);
        let there = |who: u32| {
            shop.works_in[who as usize * shop.zones + zone]
                && open(shop.bays + who as usize, work.length)
        };
        let people = match work.people.as_slice() {
            [] => Some([NONE; 2]),
            [able] => able.iter().find(|&&one| there(one)).map(|&one| [one, NONE]),
            [first, second, ..] => first.iter().filter(|&&one| there(one)).find_map(|&one| {
                second.iter().find(|&&two| two != one && there(two)).map(|&two| [one, two])
            }),
        };
        let Some(people) = people else {
            let only = work.people.iter().find(|able| able.len() == 1 && !there(able[0]));
            why = match only {
                Some(able) => person_taken(shop, able[0], (start, end)),
                None => "pinned to a time at which nobody who can do it is free".to_owned(),
            };
            continue;
        };
        let equipped = shop.equipped(&shop.pools, work, bay, start, work.length) == start;
        if equipped {
            return Ok(placement_of(start, end, Spot { bay, people }));
        }
        "pinned to a time at which its equipment is in use".clone_into(&mut why);
    }
    Err(why)
}

/// Fixed work in that time, by name.
fn fixed_in<'m>(
    shop: &Shop<'m>,
    (from, to): (Ticks, Ticks),
    there: impl Fn(Spot) -> bool,
) -> Option<&'m str> {
    let meets = |fixed: &(Ticks, Ticks, Spot)| fixed.0 < to && from < fixed.1 && there(fixed.2);
    let job = shop.works.iter().position(|work| work.fixed.as_ref().is_some_and(meets))?;
    Some(&shop.model.jobs[job].name)
}

fn bay_taken(shop: &Shop<'_>, bay: u32, time: (Ticks, Ticks)) -> String {
    let entry = &shop.model.bays[bay as usize];
    let name = &entry.name;
    if entry.closed.iter().any(|closed| closed.0 < time.1 && time.0 < closed.1) {
        return format!("pinned to a time at which {name} is out of service");
    }
    match fixed_in(shop, time, |spot| spot.bay == bay) {
        Some(other) => format!("pinned to a time at which {name} is taken by {other}"),
        None => format!("pinned to a time at which {name} is not free"),
    }
}

fn person_taken(shop: &Shop<'_>, who: u32, time: (Ticks, Ticks)) -> String {
    let entry = &shop.model.technicians[who as usize];
    let name = &entry.name;
    if !entry.shifts.iter().any(|shift| shift.0 <= time.0 && time.0 < shift.1) {
        return format!("pinned to a time at which {name} is not there");
    }
    match fixed_in(shop, time, |spot| spot.people.contains(&who)) {
        Some(other) => format!("pinned to a time at which {name} is busy with {other}"),
        None => format!("pinned to a time at which {name} is not there long enough"),
    }
}
