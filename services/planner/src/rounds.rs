//! Ruins and recreates as often from the start as there is time to cool down well, since once cooled down a search does not leave the broad lines it found.

use crate::best::Best;
use crate::budget::{Budget, heat};
use crate::construct::{Draft, real};
use crate::dice::Dice;
use crate::model::Ticks;
use crate::refit::Refit;
use crate::shop::{Shop, index};

/// The share of the time that shows how many steps there will be.
const PROBE: f64 = 0.01;
/// More steps for each vehicle make a round little better than another round does.
const STEPS: f64 = 3_000.0;
/// The same where rounds with shifts alternate with others.
const STEPS_WITH_SHIFTS: f64 = 2_100.0;
/// At most this share of the time shows whether few orders stay late, if then there are so many steps for each vehicle.
const SKETCH: f64 = 0.25;
const STEPS_OF_SKETCH: f64 = 100.0;
/// A plan that costs as much as so many mean jobs that are late by their own length is worth a sketch; in one that costs as few as that, few orders are late.
const SKETCHED: f64 = 30.0;
const FEW: f64 = 6.0;
/// At least so many rounds follow where few orders are late.
const ROUNDS_FOR_FEW: f64 = 3.0;
/// So much more an order weighs each time that it stayed late, and so much at most.
const TIMES: i64 = 3;
const MOST: i64 = 81;

/// Searches from a draft; `part` gives the budget between two shares of the time, to cool down between two temperatures.
pub(crate) fn refit_in_rounds<'b>(
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
    let vehicles = real(Ticks::from(index(refit.vehicles.len())));
    let enough = vehicles * if shifts_help { STEPS_WITH_SHIFTS } else { STEPS };
    let mut rounds = (steps / enough).floor().clamp(1.0, 16.0);
    let mut from = PROBE;
    let mut insisting = None;
    let mut found = best.clone();
    if SKETCH * steps >= STEPS_OF_SKETCH * vehicles && real(best.cost) < SKETCHED * hot {
        refit = Refit::new(shop, start.clone());
        let until = from + SKETCH.min((1.0 - from) / rounds);
        found = refit_all(&mut refit, dice, &mut part(from, until, heat), range);
        if real(found.cost) < FEW * hot {
            insisting = Some(shop.clone());
            rounds = rounds.max(ROUNDS_FOR_FEW);
        }
        keep_better(&mut best, &found);
        from = until;
    }
    let share = (1.0 - from) / rounds;
    let mut first = true;
    while from + 0.5 * share < 1.0 && best.cost > 0 {
        let budget = |heat| part(from, from + share, heat);
        let last = !first && from + 1.5 * share >= 1.0;
        if last && (shifts_help || insisting.is_some()) {
            // The last round goes over the best again.
            refit = Refit::new(shop, best.clone());
            refit.shifts = true;
            let mild = (heat.0.min(0.5 * hot), heat.1);
            found = refit_all(&mut refit, dice, &mut budget(mild), range);
        } else if let Some(other) = &mut insisting {
            insist(other, &found);
            let mut refit = Refit::new(other, start.clone());
            found = refit_all(&mut refit, dice, &mut budget(heat), range);
            found.cost = Refit::new(shop, found.clone()).cost;
        } else {
            // Shifts in a row lead to other plans, and rather from a milder start; some shops need the one, some the other.
            let shifts = shifts_help && !first && !refit.shifts;
            if !first {
                refit = Refit::new(shop, start.clone());
            }
            refit.shifts = shifts;
            let hottest = if shifts { heat.0.min(2.4 * hot) } else { heat.0 };
            found = refit_all(&mut refit, dice, &mut budget((hottest, heat.1)), range);
        }
        keep_better(&mut best, &found);
        from += share;
        first = false;
    }
    best
}

fn keep_better(best: &mut Draft, found: &Draft) {
    if found.cost < best.cost {
        best.clone_from(found);
    }
}

/// Where few orders are late, what counts is which: those that stayed late weigh more in the next round, so that it makes room for them first, and the
/// others again less (Joslin and Clements 1999, "Squeaky wheel optimization").
fn insist(shop: &mut Shop<'_>, plan: &Draft) {
    let orders = shop.model.orders.iter().zip(&shop.jobs_of);
    for (weight, (order, jobs)) in shop.weights.iter_mut().zip(orders) {
        let end = jobs.iter().map(|&job| plan.ends[job as usize]).max();
        let late = order.promised.zip(end).is_some_and(|(promised, end)| end > promised);
        let (least, most) = (order.weight, order.weight.saturating_mul(MOST));
        *weight = if late { *weight * TIMES } else { *weight / TIMES }.min(most).max(least);
    }
}

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

#[cfg(test)]
mod tests {
    use super::{MOST, insist};
    use crate::construct::construct;
    use crate::screen::screen;

    #[test]
    fn what_stays_late_weighs_more_each_time_up_to_a_limit_and_less_again_once_it_is_in_time() {
        let mut model = crate::samples::busy_shop(4);
        for (number, order) in model.orders.iter_mut().enumerate() {
            order.promised = Some(if number == 1 { -1 } else { 1 << 40 });
        }
        let (shop, _) = screen(&model, &[]);
        let plan = construct(&shop);
        let mut other = shop.clone();
        insist(&mut other, &plan);
        let own = &shop.weights;
        assert_eq!(other.weights, [own[0], 3 * own[1], own[2], own[3]]);
        (0..9).for_each(|_| insist(&mut other, &plan));
        assert_eq!(other.weights[1], MOST * own[1]);
        other.weights[0] = 9 * own[0];
        insist(&mut other, &plan);
        assert_eq!(other.weights[0], 3 * own[0]);
    }
}
