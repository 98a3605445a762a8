//! Which vehicles' work is taken out of the timetable: some that cost something, and what is in their way.

use crate::calendar::NEVER;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::refit::Refit;
use crate::shop::NONE;
use crate::table::Stay;

/// Among so many a costly vehicle is chosen: in a shop's day nearly all.
const DRAWS: usize = 64;
/// At most so many side by side are taken out together.
const NEIGHBOURS: usize = 8;

impl Refit<'_, '_> {
    /// Takes out a vehicle that costs something and some of those in its way.
    pub(crate) fn ruin(&mut self, dice: &mut Dice) {
        let seed = self.costly(dice);
        self.take_out(seed, NEVER / -2);
        if dice.below(10) < 3 {
            self.take_out_neighbours(dice);
            return;
        }
        // Few are laid in again sooner and more often to good purpose; many are needed now and then.
        let more = dice.below(7);
        let wanted = 2 + dice.below(1 + more);
        for _ in 0..3 * wanted {
            if self.out.len() >= wanted {
                break;
            }
            if let Some((vehicle, from)) = self.in_the_way(dice) {
                self.take_out(vehicle, from);
            }
        }
    }

    /// Takes out those before and behind a job that is out in the row of its bay or of one of its people, so that the row can be packed anew.
    fn take_out_neighbours(&mut self, dice: &mut Dice) {
        let (_, spot, start, _) = self.lifted[dice.below(self.lifted.len())];
        let people = spot.people.into_iter().filter(|&person| person != NONE);
        let rows = people.map(|person| self.shop.person_row(person));
        let mut rows = rows.chain((spot.bay != NONE).then_some(spot.bay));
        let count = rows.clone().count();
        let Some(row) = rows.nth(dice.below(count)) else { return };
        let whole = dice.below(2) == 0;
        let wanted = 1 + dice.below(NEIGHBOURS);
        let behind = dice.below(1 + wanted);
        let row = &self.table.rows[row as usize];
        let (earlier, later) = row.split_at(row.partition_point(|stay| stay.from < start));
        let loose = |stay: &&Stay| {
            stay.job != NONE
                && self.table.loose[self.shop.works[stay.job as usize].vehicle as usize]
        };
        let later = later.iter().filter(loose).take(behind);
        let earlier = earlier.iter().rev().filter(loose).take(wanted - behind);
        // By time: each vehicle is taken out from its earliest job there on.
        let mut stays: Vec<Stay> = earlier.chain(later).copied().collect();
        stays.sort_unstable_by_key(|stay| stay.from);
        for stay in stays {
            let vehicle = self.shop.works[stay.job as usize].vehicle;
            if self.out.iter().all(|(known, _)| *known != vehicle) {
                self.take_out(vehicle, if whole { NEVER / -2 } else { stay.from });
            }
        }
    }

    /// A vehicle whose work costs something: among some by chance, each in proportion to what it costs.
    pub(crate) fn costly(&self, dice: &mut Dice) -> u32 {
        let mut chosen = self.vehicles[dice.below(self.vehicles.len())];
        if dice.below(4) == 0 {
            return chosen;
        }
        let mut total = 0;
        for _ in 0..DRAWS {
            let other = self.vehicles[dice.below(self.vehicles.len())];
            let price = usize::try_from(self.prices[other as usize]).unwrap_or(0);
            total += price;
            if price > 0 && dice.below(total) < price {
                chosen = other;
            }
        }
        chosen
    }

    /// A vehicle whose work holds a bay or a person that a vehicle that is out could use, and from when on to take it out.
    fn in_the_way(&self, dice: &mut Dice) -> Option<(u32, Ticks)> {
        let (job, _, start, _) = self.lifted[dice.below(self.lifted.len())];
        let work = &self.shop.works[job as usize];
        let people = work.people.len();
        let bays = work.bays.as_slice();
        let row = if people > 0 && (bays == [NONE] || dice.below(2) == 0) {
            let able = &work.people[dice.below(people)];
            self.shop.person_row(able[dice.below(able.len())])
        } else {
            bays[dice.below(bays.len())]
        };
        if row == NONE {
            return None;
        }
        let end = start.saturating_add(work.length);
        let stays = self.table.row_before(row, end);
        let steps = dice.below(4) + 1;
        let stay = stays.iter().rev().nth(dice.below(steps))?;
        if stay.job == NONE {
            return None;
        }
        let vehicle = self.shop.works[stay.job as usize].vehicle;
        let whole = dice.below(2) == 0;
        let from = if whole { NEVER / -2 } else { self.table.plan.starts[stay.job as usize] };
        let known = self.out.iter().any(|(known, _)| *known == vehicle);
        (self.table.loose[vehicle as usize] && !known).then_some((vehicle, from))
    }

    /// Takes out a vehicle's work from a moment on, or more of it.
    pub(crate) fn take_out(&mut self, vehicle: u32, from: Ticks) {
        let again = self.out.iter().any(|(known, _)| *known == vehicle);
        if !again {
            self.out.push((vehicle, self.prices[vehicle as usize]));
        }
        let shop = self.shop;
        for number in 0..self.table.jobs_of[vehicle as usize].len() {
            let job = self.table.jobs_of[vehicle as usize][number];
            let plan = &self.table.plan;
            let start = plan.starts[job as usize];
            let is_out = again && start >= NEVER;
            if shop.works[job as usize].fixed.is_some() || start < from || is_out {
                continue;
            }
            self.lifted.push((job, plan.spots[job as usize], start, plan.ends[job as usize]));
            if start < NEVER {
                self.table.lift(job as usize);
            }
        }
    }
}
