//! The search: annealing, one tried change per step.

use crate::best::Best;
use crate::budget::{Budget, heat};
use crate::construct::Draft;
use crate::critical;
use crate::dice::Dice;
use crate::outcome::Spent;
use crate::refit::Refit;
use crate::rounds::refit_in_rounds;
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
