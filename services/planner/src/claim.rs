//! A vehicle that costs something takes its place first: whatever lies there gives way, to be laid in again elsewhere.
//!
//! So several that stand in the way at once are displaced together, which no vehicle taken out by itself would show to be worth it.

use crate::calendar::NEVER;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::place::Others;
use crate::refit::Refit;
use crate::shop::{NONE, Spot, index};
use crate::table::Stay;

/// Where and when a job could go.
#[derive(Clone, Copy)]
struct Place {
    spot: Spot,
    start: Ticks,
    end: Ticks,
}

impl Refit<'_, '_> {
    /// Takes out a vehicle that costs something, lays some of its work in as if others gave way, and takes out those who have to.
    pub(crate) fn claim(&mut self, dice: &mut Dice) {
        let claimant = self.costly(dice);
        self.take_out(claimant, NEVER / -2);
        let count = dice.below(self.lifted.len()) + 1;
        // They were taken out in an order of the edges.
        let jobs: Vec<u32> = self.lifted[..count].iter().map(|(job, ..)| *job).collect();
        let mut bay = NONE;
        for job in jobs {
            let job = job as usize;
            let tries = 1 + dice.below(4);
            let places = (0..tries).filter_map(|_| self.wish(job, bay, dice));
            let Some((price, place)) = places
                .map(|place| (self.claim_price(job, bay, place), place))
                .min_by_key(|(price, _)| *price)
            else {
                return;
            };
            let Place { spot, start, end } = place;
            let worse = price.0 > self.out[0].1 || !self.before_wishes(job, end);
            if worse || !self.clear(job, place, dice) {
                return;
            }
            self.table.put(job, spot, start, end);
            if spot.bay != NONE {
                bay = spot.bay;
            }
        }
    }

    /// What the order costs then, how much lies there, when it is done.
    fn claim_price(&self, job: usize, bay: u32, place: Place) -> (i64, usize, Ticks) {
        let shop = self.shop;
        let work = &shop.works[job];
        let moves = bay != NONE && place.spot.bay != NONE && bay != place.spot.bay;
        let moving = if moves { shop.model.weights.moving } else { 0 };
        (
            shop.order_cost(work.order as usize, place.end + work.tail) + moving,
            self.lying(job, place).count(),
            place.end,
        )
    }

    /// Some spot, as early as can be or, if there is time, beside something that lies there; often in the bay where the vehicle is.
    fn wish(&self, job: usize, bay: u32, dice: &mut Dice) -> Option<Place> {
        let shop = self.shop;
        let work = &shop.works[job];
        let ready = self.table.ready(job)?;
        let stays = work.bays.contains(&bay) && dice.below(3) > 0;
        let bay = if stays { bay } else { *work.bays.get(dice.below(work.bays.len()))? };
        let zone = shop.zone(work.order, bay);
        let mut people = [NONE; 2];
        for (slot, able) in people.iter_mut().zip(&work.people) {
            *slot = *able.get(dice.below(able.len()))?;
            if !shop.works_in[*slot as usize * shop.zones + zone] {
                return None;
            }
        }
        if people[0] != NONE && people[0] == people[1] {
            return None;
        }
        let spot = Spot { bay, people };
        let order = &shop.model.orders[work.order as usize];
        let latest = order.promised.map_or(ready, |at| at - work.tail - work.length_in(bay));
        let mut from = ready;
        if latest > ready && dice.below(2) == 0 {
            let by_person = people[0] != NONE && (bay == NONE || dice.below(2) == 0);
            let row = if by_person { shop.person_row(people[0]) } else { bay };
            if row == NONE {
                return None;
            }
            let others = self.table.row_between(row, ready, latest);
            if let Some(other) = others.get(dice.below(others.len())) {
                let beside = if dice.below(2) == 0 { other.from } else { other.until };
                if beside <= latest {
                    from = from.max(beside);
                }
            }
        }
        let (start, end) = self.table.fit(job, spot, from, Others::GiveWay)?;
        Some(Place { spot, start, end })
    }

    /// What lies on the bay and the people of a place.
    fn lying(&self, job: usize, place: Place) -> impl Iterator<Item = &Stay> {
        let Place { spot, start, end } = place;
        let work = &self.shop.works[job];
        let held = if work.settle_bay { end + work.settle } else { end };
        let people = spot.people.into_iter().filter(|&person| person != NONE);
        let rows = people.map(move |person| (self.shop.person_row(person), end));
        rows.chain((spot.bay != NONE).then_some((spot.bay, held)))
            .flat_map(move |(row, until)| self.table.row_between(row, start, until))
            .filter(|stay| self.table.gives_way(stay, work.vehicle))
    }

    /// Takes out what lies there, and of those that use the equipment meanwhile as many as needed; false if that is not enough.
    fn clear(&mut self, job: usize, place: Place, dice: &mut Dice) -> bool {
        let lying: Vec<Stay> = self.lying(job, place).copied().collect();
        for stay in lying {
            self.make_way(stay, dice);
        }
        let shop = self.shop;
        let work = &shop.works[job];
        let Place { spot, start, end } = place;
        let fits = |refit: &Self| {
            let uses = &refit.table.uses;
            shop.equipped(uses, work, spot.bay, start, end - start) == start
        };
        while !work.equipment.is_empty() && !fits(self) {
            let users = self.users(job, place);
            let Some(&user) = users.get(dice.below(users.len())) else { return false };
            self.make_way(user, dice);
        }
        true
    }

    /// Who uses meanwhile what the job needs.
    fn users(&self, job: usize, place: Place) -> Vec<Stay> {
        let works = &self.shop.works;
        let needs = |kind: u32| works[job].equipment.iter().any(|(other, _)| *other == kind);
        let rows = (0..self.table.rows.len()).map(index);
        rows.flat_map(|row| self.table.row_between(row, place.start, place.end))
            .filter(|stay| self.table.gives_way(stay, works[job].vehicle))
            .filter(|stay| works[stay.job as usize].equipment.iter().any(|(kind, _)| needs(*kind)))
            .copied()
            .collect()
    }

    /// Takes a vehicle out for what lies there, wholly or from then on; it may have been taken out with another of its jobs.
    fn make_way(&mut self, stay: Stay, dice: &mut Dice) {
        let begin = self.table.plan.starts[stay.job as usize];
        if begin < NEVER {
            let from = if dice.below(2) == 0 { NEVER / -2 } else { begin };
            self.take_out(self.shop.works[stay.job as usize].vehicle, from);
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::calendar::NEVER;
    use crate::construct::construct;
    use crate::dice::Dice;
    use crate::refit::Refit;
    use crate::screen::screen;

    #[test]
    fn whatever_lies_where_a_vehicle_takes_its_place_has_given_way() {
        let model = crate::samples::busy_shop(12);
        let (shop, _) = screen(&model, &[]);
        let mut refit = Refit::new(&shop, construct(&shop));
        let mut dice = Dice::new(3);
        let mut displaced = 0;
        for _ in 0..300 {
            let before = refit.table.plan.clone();
            refit.claim(&mut dice);
            let claimant = refit.out[0].0 as usize;
            let starts = &refit.table.plan.starts;
            let placed =
                refit.table.jobs_of[claimant].iter().any(|&job| starts[job as usize] < NEVER);
            displaced += usize::from(placed && refit.out.len() > 1);
            for row in &refit.table.rows {
                assert!(row.windows(2).all(|pair| pair[0].until <= pair[1].from), "{row:?}");
            }
            refit.take_back();
            let after = &refit.table.plan;
            assert_eq!((&before.starts, &before.spots), (&after.starts, &after.spots));
        }
        assert!(displaced > 30, "only {displaced} displaced another");
    }
}
