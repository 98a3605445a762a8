//! Ruin and recreate: a late order and those in its way are taken out of the timetable and laid in again in another sequence.

use crate::construct::Draft;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::shop::{Shop, Spot, index};
use crate::table::Table;

/// A timetable that changes by ruin and recreate.
pub(crate) struct Refit<'s, 'm> {
    pub(crate) shop: &'s Shop<'m>,
    pub(crate) table: Table<'s, 'm>,
    pub(crate) cost: i64,
    /// By vehicle, what it costs, and what it costs at least.
    pub(crate) prices: Vec<i64>,
    pub(crate) least: Vec<i64>,
    /// Vehicles with work that may be taken out.
    pub(crate) vehicles: Vec<u32>,
    /// Vehicles that are out, each with what it cost.
    pub(crate) out: Vec<(u32, i64)>,
    pub(crate) lifted: Vec<(u32, Spot, Ticks, Ticks)>,
    /// By job that is out, about when it began.
    pub(crate) began: Vec<Ticks>,
    /// Whether jobs are shifted in their rows too.
    pub(crate) shifts: bool,
}

impl<'s, 'm> Refit<'s, 'm> {
    pub(crate) fn new(shop: &'s Shop<'m>, plan: Draft) -> Self {
        let table = Table::new(shop, plan);
        let prices: Vec<i64> = (0..table.loose.len()).map(|vehicle| table.price(vehicle)).collect();
        let movable = |vehicle: &usize| {
            let jobs = &table.jobs_of[*vehicle];
            table.loose[*vehicle]
                && jobs.iter().any(|&job| shop.works[job as usize].fixed.is_none())
        };
        Self {
            shop,
            cost: prices.iter().sum(),
            least: (0..prices.len()).map(|vehicle| table.least_price(vehicle)).collect(),
            vehicles: (0..prices.len()).filter(movable).map(index).collect(),
            prices,
            table,
            out: Vec::new(),
            lifted: Vec::new(),
            began: vec![0; shop.works.len()],
            shifts: false,
        }
    }

    /// Whether any work may be taken out, and whether all may that moves at all.
    pub(crate) fn reach(&self) -> (bool, bool) {
        let loose = |job: usize| self.table.loose[self.shop.works[job].vehicle as usize];
        let mut jobs = self.shop.jobs_of.iter().flatten().map(|&job| job as usize);
        let all = jobs.all(|job| loose(job) || self.shop.works[job].fixed.is_some());
        (!self.vehicles.is_empty(), all)
    }

    /// Takes some vehicles' work out and lays it in again; false if that costs more than the limit. Must be kept or taken back.
    ///
    /// As the search cools down, from 0 to 1, claims and shifts in a row become more frequent: the broad lines are found sooner by plain ruin, what is left
    /// over is not.
    pub(crate) fn attempt(&mut self, dice: &mut Dice, slack: i64, cooled: f64) -> bool {
        let in_row = self.shifts && dice.unit() < 0.3 + 0.3 * cooled;
        if in_row {
            if self.pull_ahead(dice).is_none() {
                return false;
            }
        } else if dice.unit() < 0.8 * cooled {
            self.claim(dice);
        } else {
            self.ruin(dice);
        }
        let before: i64 = self.out.iter().map(|(_, price)| price).sum();
        let after = if in_row {
            self.lay_in_line(dice, before + slack)
        } else {
            self.recreate(dice, before + slack, cooled)
        };
        after.is_some_and(|after| {
            self.cost += after - before;
            true
        })
    }

    /// The change stays.
    pub(crate) fn keep(&mut self, mut told: impl FnMut(u32)) {
        for (vehicle, _) in self.out.drain(..) {
            self.prices[vehicle as usize] = self.table.price(vehicle as usize);
        }
        self.lifted.drain(..).for_each(|(job, ..)| told(job));
        self.table.keep();
    }

    /// The change is undone.
    pub(crate) fn take_back(&mut self) {
        self.table.take_back(self.lifted.drain(..));
        self.out.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::Refit;
    use crate::construct::construct;
    use crate::dice::Dice;
    use crate::improve::finish;
    use crate::screen::screen;

    #[test]
    fn what_is_laid_in_costs_what_the_finished_plan_costs_and_what_is_taken_back_leaves_no_trace() {
        let model = crate::samples::busy_shop(12);
        let (shop, _) = screen(&model, &[]);
        let mut refit = Refit::new(&shop, construct(&shop));
        let first = refit.cost;
        let mut dice = Dice::new(5);
        for step in 0..1_000 {
            refit.shifts = step % 2 == 0;
            let before = refit.table.plan.clone();
            if refit.attempt(&mut dice, 20, f64::from(step) / 1_000.0) {
                refit.keep(|_| {});
                let plan = finish(&shop, &refit.table.plan, Vec::new());
                assert_eq!(plan.cost.total(), refit.cost);
            } else {
                refit.take_back();
                let after = &refit.table.plan;
                assert_eq!((&before.starts, &before.spots), (&after.starts, &after.spots));
            }
        }
        assert!(refit.cost < first, "{} is no better than {first}", refit.cost);
    }
}
