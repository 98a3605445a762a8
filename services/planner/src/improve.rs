//! From a model to a plan, better as long as it is given time.

use crate::anneal;
use crate::calendar::NEVER;
use crate::construct::{Draft, best_of_rules, construct};
use crate::cost::{cost, moved};
use crate::model::{JobId, Model, Placement};
use crate::outcome::{Options, Plan, Reason, Spent, Unplanned};
use crate::pins::try_anew;
use crate::repair::keep;
use crate::screen::{cascade, screen};
use crate::shop::{Shop, placement_of};

/// Plans a model: from the plan in force if it has one, else from the best of several dispatching rules.
///
/// `spent` tells the share of the budget that is used up; at 1.0 from the beginning, the answer is the first valid plan. Never fails: what can't be
/// planned comes back as unplanned, with its reason.
#[must_use]
pub fn plan(model: &Model, options: &Options, spent: Spent<'_>) -> Plan {
    let (mut shop, unplanned, first) = first(model);
    keep_near(&mut shop, &first);
    let searches = options.iterations != Some(0)
        && spent() < 1.0
        && shop.works.iter().any(|work| work.fixed.is_none() && !work.left_out);
    let best = if searches { search(&shop, first, options, spent) } else { first };
    try_anew(model, finish(&shop, &best, unplanned))
}

/// What the plan in force starts soon stays where it is, if it still is there.
fn keep_near(shop: &mut Shop<'_>, draft: &Draft) {
    let model = shop.model;
    for (job, before) in model.in_force.iter().enumerate() {
        let Some(before) = before.as_ref().filter(|before| before.start < model.keep_until) else {
            continue;
        };
        let free = shop.works[job].fixed.is_none() && draft.starts[job] < NEVER;
        if free
            && !moved(before, &placement_of(draft.starts[job], draft.ends[job], draft.spots[job]))
        {
            shop.fix(job, before, true);
        }
    }
    shop.set_tails();
}

fn search(shop: &Shop<'_>, first: Draft, options: &Options, spent: Spent<'_>) -> Draft {
    let planned = shop.model.in_force.iter().any(Option::is_some);
    let first = if planned { first } else { best_of_rules(shop, first, spent) };
    let walk = |seed: u64, given: Draft| {
        let best = anneal::search(shop, given.clone(), seed, options.iterations, spent);
        if best.cost < given.cost { best } else { given }
    };
    if options.threads < 2 {
        return walk(options.seed, first);
    }
    let drafts: Vec<Draft> = std::thread::scope(|scope| {
        let seeds = (0..options.threads as u64)
            .map(|number| options.seed.wrapping_mul(1021).wrapping_add(number));
        let walks: Vec<_> = seeds
            .map(|seed| {
                let start = first.clone();
                scope.spawn(move || walk(seed, start))
            })
            .collect();
        walks.into_iter().filter_map(|handle| handle.join().ok()).collect()
    });
    drafts.into_iter().min_by_key(|draft| draft.cost).unwrap_or(first)
}

/// The first valid plan; pinned starts that can't be kept are given up, one after another.
pub(crate) fn first(model: &Model) -> (Shop<'_>, Vec<Unplanned>, Draft) {
    let mut broken: Vec<(JobId, String)> = Vec::new();
    loop {
        let (shop, unplanned) = screen(model, &broken);
        let draft =
            if model.in_force.iter().any(Option::is_some) { keep(&shop) } else { construct(&shop) };
        match draft.broken {
            Some(job) if !broken.iter().any(|(known, _)| *known == job) && shop.works[job].wish => {
                broken.push((
                    job,
                    "pinned to a time by which what comes before it can't be done".to_owned(),
                ));
            }
            _ => return (shop, unplanned, draft),
        }
    }
}

/// The draft as a plan.
pub(crate) fn finish(shop: &Shop<'_>, draft: &Draft, mut unplanned: Vec<Unplanned>) -> Plan {
    let model = shop.model;
    let placements: Vec<Option<Placement>> = (0..model.jobs.len())
        .map(|job| match &model.jobs[job].fixed {
            Some(fixed) => Some(fixed.clone()),
            None => (draft.starts[job] < NEVER && !shop.works[job].left_out)
                .then(|| placement_of(draft.starts[job], draft.ends[job], draft.spots[job])),
        })
        .collect();
    let mut reasons: Vec<Option<Reason>> = vec![None; model.jobs.len()];
    for entry in unplanned.drain(..) {
        reasons[entry.job] = Some(entry.reason);
    }
    let lost: Vec<usize> = (0..placements.len())
        .filter(|&job| placements[job].is_none() && reasons[job].is_none())
        .collect();
    for &job in &lost {
        let waits = shop.works[job]
            .before
            .iter()
            .map(|(before, _)| *before as usize)
            .find(|&before| placements[before].is_none());
        reasons[job] = Some(waits.map_or(Reason::NoRoom, |before| {
            Reason::WaitsFor(before, model.jobs[before].name.clone())
        }));
    }
    cascade(shop, &mut reasons);
    let unplanned = reasons
        .into_iter()
        .enumerate()
        .filter_map(|(job, reason)| reason.map(|reason| Unplanned { job, reason }))
        .collect::<Vec<_>>();
    let mut placements = placements;
    for entry in &unplanned {
        if model.jobs[entry.job].fixed.is_none() {
            placements[entry.job] = None;
        }
    }
    let cost = cost(model, &placements);
    Plan { placements, unplanned, cost }
}
