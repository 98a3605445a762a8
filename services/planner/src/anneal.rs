//! The search: annealing, one tried change per step.

use crate::best::Best;
use crate::budget::{Budget, heat};
use crate::construct::{Draft, real};
use crate::critical;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::outcome::Spent;
use crate::refit::Refit;
use crate::shop::{Shop, index};
use crate::trial::{Touch, Trial};

/// Searches from a draft until the budget is spent; gives the best plan seen.
pub(crate) fn search(
    shop: &Shop<'_>,
    start: Draft,
    seed: u64,
    iterations: Option<u64>,
    spent: Spent<'_>,
) -> Draft {
    let mut dice = Dice::new(seed);
    let (hot, cold) = heat(shop);
    let part = |from: f64, to: f64, heat| Budget::part(iterations, spent, (from, to), heat);
    if shop.model.weights.makespan > 0 {
        return match critical::search(shop, &start, &mut dice, part(0.0, 1.0, (hot, cold))) {
            Some(better) => better,
            None => walk(shop, start, &mut dice, part(0.0, 1.0, (hot, cold))),
        };
    }
    let (some, all) = Refit::new(shop, start.clone()).reach();
    if !some {
        return walk(shop, start, &mut dice, part(0.0, 1.0, (hot, cold)));
    }
    // What ruin and recreate leaves alone is left to the walk.
    let end = if all { 1.0 } else { 0.6 };
    let better = refit_in_rounds(shop, &start, &mut dice, &|from, to, heat| {
        part(from * end, to * end, heat)
    });
    if all { better } else { walk(shop, better, &mut dice, part(end, 1.0, (0.2 * hot, cold))) }
}

/// Ruins and recreates as often from the start as there is time to cool down well, since once cooled down it does not leave the broad lines it found.
fn refit_in_rounds<'b>(
    shop: &Shop<'_>,
    start: &Draft,
    dice: &mut Dice,
    part: &dyn Fn(f64, f64, (f64, f64)) -> Budget<'b>,
) -> Draft {
    let (hot, cold) = heat(shop);
    let range = (8.0 * hot, cold);
    // One step goes far and bears a hot start, unless there is little left to gain.
    let costs = real(start.cost);
    let heat = (range.0.min(0.1 * costs), range.1.min(0.02 * costs));
    // Where little is left to gain, plain rounds find it sooner.
    let shifts_help = heat.0 >= range.0;
    let mut refit = Refit::new(shop, start.clone());
    let mut budget = part(0.0, PROBE, (heat.0, heat.0));
    let mut best = refit_all(&mut refit, dice, &mut budget, range);
    let steps = real(i64::try_from(budget.steps()).unwrap_or(0)) / PROBE;
    let enough = if shifts_help { STEPS_WITH_SHIFTS } else { STEPS }
        * real(Ticks::from(index(refit.vehicles.len())));
    let rounds = (steps / enough).floor().clamp(1.0, 16.0);
    let share = (1.0 - PROBE) / rounds;
    let mut from = PROBE;
    while from + 0.5 * share < 1.0 && best.cost > 0 {
        let mut heat = heat;
        if shifts_help && from > PROBE && from + 1.5 * share >= 1.0 {
            // The last round goes over the best again.
            refit = Refit::new(shop, best.clone());
            refit.shifts = true;
            heat.0 = heat.0.min(0.5 * hot);
        } else if from > PROBE {
            // Shifts in a row lead to other plans, and rather from a milder start; some shops need the one, some the other.
            let shifts = shifts_help && !refit.shifts;
            refit = Refit::new(shop, start.clone());
            refit.shifts = shifts;
            heat.0 = if shifts { heat.0.min(2.4 * hot) } else { heat.0 };
        }
        let found = refit_all(&mut refit, dice, &mut part(from, from + share, heat), range);
        if found.cost < best.cost {
            best = found;
        }
        from += share;
    }
    best
}

/// The share of the time that shows how many steps there will be.
const PROBE: f64 = 0.01;
/// More steps for each vehicle make a round little better than another round does.
const STEPS: f64 = 3_000.0;
/// The same where rounds with shifts alternate with others.
const STEPS_WITH_SHIFTS: f64 = 2_100.0;

fn refit_all(
    refit: &mut Refit<'_, '_>,
    dice: &mut Dice,
    budget: &mut Budget<'_>,
    range: (f64, f64),
) -> Draft {
    let mut best = Best::new(refit.table.plan.clone());
    best.plan.cost = refit.cost;
    while best.plan.cost > 0 && budget.goes_on() {
        let slack = budget.slack(dice);
        if !refit.attempt(dice, slack, budget.cooled(range)) {
            refit.take_back();
            continue;
        }
        refit.keep(|job| best.leave(job));
        let plan = &refit.table.plan;
        best.offer(refit.cost, |job| (plan.spots[job], plan.starts[job], plan.ends[job]));
    }
    best.plan
}

/// A walk through the plans of a shop.
pub(crate) struct Walk<'s, 'm, 'd> {
    pub(crate) shop: &'s Shop<'m>,
    pub(crate) dice: &'d mut Dice,
    /// The plan the walk stands at.
    pub(crate) trial: Trial<'s, 'm>,
    /// The change that is tried next.
    pub(crate) touched: Vec<Touch>,
    /// Jobs that may move, and orders that have some.
    pub(crate) movable: Vec<u32>,
    pub(crate) orders: Vec<u32>,
}

/// Walks from a draft; gives the best plan seen.
fn walk(shop: &Shop<'_>, start: Draft, dice: &mut Dice, mut budget: Budget<'_>) -> Draft {
    let free = |job: &u32| shop.works[*job as usize].fixed.is_none();
    let movable: Vec<u32> = shop.jobs_of.iter().flatten().copied().filter(free).collect();
    let orders = (0..shop.jobs_of.len()).filter(|&order| shop.jobs_of[order].iter().any(free));
    let mut walk = Walk {
        shop,
        dice,
        trial: Trial::new(shop, &start),
        touched: Vec::new(),
        orders: orders.map(index).collect(),
        movable,
    };
    let mut best = Best::new(walk.trial.draft());
    while best.plan.cost > 0 && budget.goes_on() {
        walk.touched.clear();
        if walk.propose().is_none() || walk.touched.is_empty() {
            continue;
        }
        let limit = walk.trial.cost + budget.slack(walk.dice);
        if !walk.trial.attempt(&walk.touched) || walk.trial.cost > limit {
            walk.trial.take_back();
            continue;
        }
        walk.trial.keep(|job| best.leave(job));
        let nodes = &walk.trial.chart.nodes;
        best.offer(walk.trial.cost, |job| (nodes[job].spot, nodes[job].start, nodes[job].end));
    }
    if best.plan.cost < start.cost { best.plan } else { start }
}

#[cfg(test)]
mod tests {
    use super::search;
    use crate::construct::construct;
    use crate::screen::screen;

    #[test]
    fn several_rounds_give_the_same_again_and_no_worse_than_the_start() {
        let model = crate::samples::busy_shop(12);
        let (shop, _) = screen(&model, &[]);
        let start = construct(&shop);
        let rounds = || search(&shop, start.clone(), 3, Some(80_000), &|| 0.0);
        let (one, other) = (rounds(), rounds());
        assert!(one.cost < start.cost);
        assert_eq!((one.cost, one.starts, one.ends), (other.cost, other.starts, other.ends));
    }
}
