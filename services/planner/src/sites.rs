//! A chain of sites is searched site by site: what lies at the others stands fast meanwhile.

use crate::anneal::{Walk, heat};
use crate::calendar::NEVER;
use crate::construct::Draft;
use crate::outcome::Spent;
use crate::shop::{NONE, Shop, index, placement_of};

/// From how many jobs on a plan is searched site by site.
const LARGE: usize = 1_200;

/// Walks the whole shop, or a large one site by site with an equal part of the budget each.
pub(crate) fn walk_sites(
    shop: &Shop<'_>,
    start: Draft,
    seed: u64,
    iterations: Option<u64>,
    spent: Spent<'_>,
) -> Draft {
    let open = shop.works.iter().filter(|work| work.fixed.is_none() && !work.left_out).count();
    let sites = if open >= LARGE && shop.zones > 1 { sites(shop, &start) } else { None };
    let Some(site_of) = sites else {
        return Walk::new(shop, start, seed).run(iterations, heat(shop), spent);
    };
    let mut whole = start;
    let begin = spent();
    let total = f64::from(index(shop.zones));
    for site in 0..shop.zones {
        let from = begin + (1.0 - begin) * f64::from(index(site)) / total;
        let part = move || (spent() - from) * total / (1.0 - begin);
        let (only, draft) = only(shop, &whole, &site_of, index(site));
        if draft.list.is_empty() {
            continue;
        }
        let mut walk = Walk::new(&only, draft, seed.wrapping_add(site as u64));
        let before = walk.now.cost;
        let best = walk.run(iterations.map(|count| count / shop.zones as u64), heat(&only), &part);
        if best.cost < before {
            whole.cost += best.cost - before;
            for &job in &best.list {
                let job = job as usize;
                whole.spots[job] = best.spots[job];
                whole.starts[job] = best.starts[job];
                whole.ends[job] = best.ends[job];
            }
        }
    }
    whole
}

/// By vehicle: the one zone in which all its work lies, `NONE` for several; nothing at all if an immobile vehicle has several.
fn sites(shop: &Shop<'_>, draft: &Draft) -> Option<Vec<u32>> {
    let mut zones: Vec<Option<u32>> = vec![None; shop.model.vehicles.len()];
    for (job, work) in shop.works.iter().enumerate() {
        if work.left_out {
            continue;
        }
        let zone = if draft.starts[job] >= NEVER {
            NONE
        } else {
            index(shop.zone(work.order, draft.spots[job].bay))
        };
        let known = &mut zones[work.vehicle as usize];
        *known = Some(if known.is_none_or(|known| known == zone) { zone } else { NONE });
    }
    let sites: Vec<u32> = zones.into_iter().map(|zone| zone.unwrap_or(NONE)).collect();
    let immobile = &shop.model.immobile;
    immobile
        .iter()
        .all(|span| sites[shop.works[span.until].vehicle as usize] != NONE)
        .then_some(sites)
}

/// The shop with the work of one site alone; the rest stands fast in its calendars.
fn only<'m>(shop: &Shop<'m>, whole: &Draft, site_of: &[u32], site: u32) -> (Shop<'m>, Draft) {
    let mut only = shop.clone();
    let mut draft = whole.clone();
    draft.list.retain(|&job| site_of[shop.works[job as usize].vehicle as usize] == site);
    draft.list.sort_by_key(|&job| whole.starts[job as usize]);
    let mut others: Vec<usize> = (0..shop.works.len())
        .filter(|&job| site_of[shop.works[job].vehicle as usize] != site)
        .collect();
    others.sort_by_key(|&job| whole.starts[job]);
    for job in others {
        if shop.works[job].fixed.is_none() && whole.starts[job] < NEVER {
            let placement = placement_of(whole.starts[job], whole.ends[job], whole.spots[job]);
            only.fix(job, &placement, false);
        }
        only.leave_out(job);
    }
    for &job in &draft.list {
        let work = &mut only.works[job as usize];
        work.bays.retain(|&bay| bay == NONE || shop.zone_of[bay as usize] == site);
    }
    (only, draft)
}
