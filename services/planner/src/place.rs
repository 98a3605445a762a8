//! Where and when a job that is out fits into the gaps of the timetable.

use crate::calendar::NEVER;
use crate::chart::EVER;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::shop::{NONE, Spot, Work, index};
use crate::table::{Stay, Table, leaves};

/// A spot that could be, by cost, end, rank of the bay and of the person; with its start.
type Found = ((i64, Ticks, usize, usize), Spot, Ticks);

/// One option in so many is overlooked, so that the same gap is not always filled the same way.
const BLINK: usize = 50;

/// What becomes of other vehicles' work that lies where a job could go (a person's pause is no place for other work either way).
#[derive(Clone, Copy)]
pub(crate) enum Others {
    Stay,
    GiveWay,
}

impl Table<'_, '_> {
    /// The first moment at which bay or person is open and free for the length.
    fn gap(&self, row: u32, at: Ticks, length: Ticks) -> Ticks {
        self.gap_between(row, at, length, |_| true)
    }

    /// Like [`Table::gap`], of those that are in the way.
    #[inline]
    fn gap_between(
        &self,
        row: u32,
        at: Ticks,
        length: Ticks,
        in_the_way: impl Fn(&Stay) -> bool,
    ) -> Ticks {
        let row = &self.rows[row as usize];
        let mut at = at;
        let first = row.partition_point(|stay| stay.until <= at);
        for stay in &row[first..] {
            if stay.from >= at + length {
                break;
            }
            if in_the_way(stay) {
                at = at.max(stay.until);
            }
        }
        at
    }

    /// Like [`Table::gap`], for a job that may pause: start and end.
    fn gap_paused(&self, work: &Work, person: u32, at: Ticks, length: Ticks) -> (Ticks, Ticks) {
        let row = &self.rows[self.shop.person_row(person) as usize];
        let mut at = at;
        loop {
            let (start, end) = self.shop.fit_paused(person as usize, at, length, work.pause);
            let next = row.partition_point(|stay| stay.until <= start);
            match row[next..].iter().find(|stay| stay.job != NONE) {
                Some(stay) if stay.from < end && start < NEVER => at = stay.until,
                _ => return (start, end),
            }
        }
    }

    /// The start, or a later one at which the vehicle is not busy elsewhere.
    fn after_visits(&self, work: &Work, bay: u32, mut start: Ticks, length: Ticks) -> Ticks {
        let visits = &self.visits[work.vehicle as usize];
        let mut number = 0;
        while let Some(visit) = visits.get(number) {
            let way = self.shop.move_time(visit.bay, bay);
            let until = if visit.bay == bay { visit.until } else { visit.left } + way;
            let (settled, left) = leaves(work, start + length);
            let mine = if visit.bay == bay { settled } else { left } + way;
            if start < until && visit.from < mine {
                start = until;
                number = 0;
            } else {
                number += 1;
            }
        }
        start
    }

    /// The first start and end at a spot from a moment on.
    pub(crate) fn fit(
        &self,
        job: usize,
        spot: Spot,
        from: Ticks,
        others: Others,
    ) -> Option<(Ticks, Ticks)> {
        let shop = self.shop;
        let work = &shop.works[job];
        let full = work.length_in(spot.bay);
        let hold = if work.settle_bay { work.settle } else { 0 };
        let gap = |row: u32, at: Ticks, length: Ticks| match others {
            Others::Stay => self.gap(row, at, length),
            Others::GiveWay => {
                self.gap_between(row, at, length, |stay| !self.gives_way(stay, work.vehicle))
            }
        };
        let uses = match others {
            Others::Stay => &self.uses,
            Others::GiveWay => &shop.pools,
        };
        let (mut start, mut length) = (from, full);
        loop {
            let before = start;
            for &person in spot.people.iter().filter(|&&person| person != NONE) {
                if work.pause >= 0 {
                    let (from, to) = self.gap_paused(work, person, start, full);
                    (start, length) = (from, to - from);
                } else {
                    start = gap(shop.person_row(person), start, length);
                }
            }
            if spot.bay != NONE && start < NEVER {
                start = gap(spot.bay, start, length + hold);
            }
            if start < NEVER && !work.equipment.is_empty() {
                start = shop.equipped(uses, work, spot.bay, start, length);
            }
            start = self.after_visits(work, spot.bay, start, length);
            if start >= NEVER || start + length > shop.model.horizon {
                return None;
            }
            if start == before {
                return Some((start, start + length));
            }
        }
    }

    /// When the jobs before it allow it; none while one of them is not placed.
    pub(crate) fn ready(&self, job: usize) -> Option<Ticks> {
        crate::construct::ready(self.shop, &self.plan.ends, job)
    }

    /// The best spot for a job that is out: the least cost of lateness and moves, then the earliest end, then the bay and people that can do
    /// least besides; now and then it does not see one. Where `home` can do it, any other bay counts as a move.
    pub(crate) fn best(
        &mut self,
        job: usize,
        home: u32,
        dice: &mut Dice,
    ) -> Option<(Spot, Ticks, Ticks)> {
        let shop = self.shop;
        let work = &shop.works[job];
        let from = self.ready(job)?;
        let at_home = home != NONE && work.bays.contains(&home);
        let mut frees = std::mem::take(&mut self.frees);
        for (slot, able) in frees.iter_mut().zip(&work.people) {
            slot.clear();
            for &person in able {
                if dice.below(BLINK) == 0 {
                    continue;
                }
                let at = if work.pause >= 0 {
                    self.gap_paused(work, person, from, work.length).0
                } else {
                    self.gap(shop.person_row(person), from, work.length)
                };
                slot.push((at, person));
            }
        }
        // No sooner is there somebody for it.
        let soonest = (frees.iter().take(work.people.len()))
            .map(|slot| slot.iter().map(|(at, _)| *at).min().unwrap_or(NEVER))
            .fold(from, Ticks::max);
        let mut best: Option<Found> = None;
        let stands_in = if at_home { home } else { self.stands_in(work.vehicle, soonest) };
        let first = work.bays.iter().position(|&bay| bay == stands_in);
        // Where it stands comes first: after that, most others can't be better.
        let others = (0..work.bays.len()).filter(|&rank| Some(rank) != first);
        for rank in first.into_iter().chain(others) {
            let bay = work.bays[rank];
            let length = work.length_in(bay);
            let moves = bay != NONE && stands_in != NONE && bay != stands_in;
            let moving = if moves { shop.model.weights.moving } else { 0 };
            let price = |end: Ticks| {
                (shop.order_cost(work.order as usize, end + work.tail) + moving, end, rank)
            };
            let late = |best: &Option<Found>, at: Ticks| {
                let worse =
                    |key: &(i64, Ticks, usize, usize)| price(at + length) > (key.0, key.1, key.2);
                at >= NEVER || best.as_ref().is_some_and(|(key, ..)| worse(key))
            };
            if late(&best, soonest) {
                continue;
            }
            if bay != NONE && work.bays.len() > 1 && dice.below(BLINK) == 0 {
                continue;
            }
            let mut floor = self.after_visits(work, bay, soonest, length);
            if bay != NONE && !late(&best, floor) {
                floor =
                    self.gap(bay, floor, length + if work.settle_bay { work.settle } else { 0 });
            }
            if !work.equipment.is_empty() && !late(&best, floor) {
                floor = shop.equipped(&self.uses, work, bay, floor, length);
            }
            if late(&best, floor) {
                continue;
            }
            let zone = shop.zone(work.order, bay);
            let works_in = |person: u32| shop.works_in[person as usize * shop.zones + zone];
            let mut look = |people: [u32; 2], free: Ticks, number: usize| {
                let at = floor.max(free);
                let (cost, end, rank) = price(at + length);
                let bound = (cost, end, rank, number);
                if best.as_ref().is_some_and(|(key, ..)| bound >= *key) {
                    return;
                }
                let spot = Spot { bay, people };
                let Some((start, end)) = self.fit(job, spot, at, Others::Stay) else { return };
                let (cost, end, rank) = price(end);
                let key = (cost, end, rank, number);
                if best.as_ref().is_none_or(|(known, ..)| key < *known) {
                    best = Some((key, spot, start));
                }
            };
            match work.people.len() {
                0 => look([NONE; 2], EVER, 0),
                1 => {
                    for (number, &(free, one)) in frees[0].iter().enumerate() {
                        if works_in(one) {
                            look([one, NONE], free, number);
                        }
                    }
                }
                _ => {
                    for (number, &(free, one)) in frees[0].iter().enumerate() {
                        for &(other, two) in &frees[1] {
                            if two != one && works_in(one) && works_in(two) {
                                look([one, two], free.max(other), number);
                            }
                        }
                    }
                }
            }
        }
        self.frees = frees;
        best.map(|(key, spot, start)| (spot, start, key.1))
    }

    /// Where the vehicle stands then, before it goes anywhere else.
    fn stands_in(&self, vehicle: u32, at: Ticks) -> u32 {
        let stands_in = self.shop.model.vehicles[vehicle as usize].stands_in.map_or(NONE, index);
        let visits = self.visits[vehicle as usize].iter().rev();
        let last = visits.filter(|visit| visit.bay != NONE).find(|visit| visit.from <= at);
        last.map_or(stands_in, |visit| visit.bay)
    }
}
