//! The schedule builder: starts a job at the first moment at which everything it takes is free after those whose turn is earlier.
//!
//! Every rule of the floor is kept here and nowhere else; the search only proposes turns and places.

use crate::calendar::NEVER;
use crate::chart::{BAY, Car, Chart, EVER, Node, PEOPLE, Stand, Turn, VEHICLE, owner, seat};
use crate::model::{Placement, Ticks};
use crate::shop::{NONE, Shop, Spot, Work, index};

/// What a job costs that finds no room before the horizon: more than any lateness.
pub(crate) const MISSING: i64 = 1 << 44;

/// When a job can be done at some spot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fit {
    /// From when on vehicle, bay and people are free.
    pub(crate) ready: Ticks,
    pub(crate) start: Ticks,
    pub(crate) end: Ticks,
}

/// A spot that could be, by end, move, rank of the bay and how long the people have been free.
type Found = ((Ticks, bool, usize, Ticks), Spot, Fit);

impl Chart {
    /// Whether the vehicle may take this bay now (or the road), and no other vehicle that can't move stands there.
    fn enters(work: &Work, car: &Car, bay: u32, holder: u32) -> bool {
        if car.immobile && bay != car.place {
            return false;
        }
        bay == NONE || holder == NONE || holder == work.vehicle
    }

    /// Whether the job falls into no foreign bracket at its turn.
    pub(crate) fn admits(&self, shop: &Shop<'_>, job: usize) -> bool {
        shop.works[job].outside.iter().all(|&bracket| {
            let bracket = &shop.brackets[bracket as usize];
            let earlier = bracket.inside.iter().filter(|&&member| self.comes_before(member, job));
            let placed = earlier.count();
            placed == bracket.inside.len() || (placed == 0 && !bracket.entered)
        })
    }

    fn comes_before(&self, other: u32, job: usize) -> bool {
        let other = &self.nodes[other as usize];
        other.placed() && other.turn < self.nodes[job].turn
    }

    /// The first moment that vehicle, brackets and the bay's distance allow.
    fn arrives(&self, shop: &Shop<'_>, job: usize, car: &Car, bay: u32, from: Ticks) -> Ticks {
        let work = &shop.works[job];
        let mut at = from.max(car.free);
        if car.place != bay {
            at = at.max(car.left + shop.move_time(car.place, bay));
        }
        for &bracket in &work.inside {
            let outside = shop.brackets[bracket as usize].outside;
            if self.comes_before(outside, job) {
                at = at.max(self.nodes[outside as usize].end);
            }
        }
        for &bracket in &work.outside {
            for &member in &shop.brackets[bracket as usize].inside {
                if self.comes_before(member, job) {
                    at = at.max(self.nodes[member as usize].end);
                }
            }
        }
        at
    }

    /// When a job can be done at that spot from that moment on, at its turn.
    pub(crate) fn earliest(
        &self,
        shop: &Shop<'_>,
        job: usize,
        spot: Spot,
        from: Ticks,
    ) -> Option<Fit> {
        let work = &shop.works[job];
        let car = self.car(shop, job);
        let mut ready = self.arrives(shop, job, &car, spot.bay, from);
        let mut holder = NONE;
        if spot.bay != NONE {
            let stand = self.stand(job, spot.bay);
            holder = stand.holder;
            ready = ready.max(stand.free);
        }
        if !Self::enters(work, &car, spot.bay, holder) {
            return None;
        }
        for (slot, &person) in spot.people.iter().enumerate() {
            if person != NONE {
                ready = ready.max(self.free(job, PEOPLE + slot, shop.person_row(person)));
            }
        }
        self.fit(shop, job, spot, (ready, ready))
    }

    /// The first moment from which calendars and equipment allow the job, not before `from`; it is `ready` when vehicle, bay and people are free.
    fn fit(
        &self,
        shop: &Shop<'_>,
        job: usize,
        spot: Spot,
        (ready, from): (Ticks, Ticks),
    ) -> Option<Fit> {
        let work = &shop.works[job];
        let (mut start, mut length) = open(shop, work, spot, from)?;
        if !work.equipment.is_empty() {
            loop {
                let at = shop.equipped(&self.uses, work, spot.bay, start, length);
                if at == start {
                    break;
                }
                (start, length) = open(shop, work, spot, at)?;
            }
        }
        if work.locks
            && spot.bay != NONE
            && let Some(free) = shop.free_of_others(spot.bay, start, work.vehicle)
        {
            return self.fit(shop, job, spot, (ready, free));
        }
        Some(Fit { ready, start, end: start + length })
    }

    /// The job as it would be there: what it leaves behind and what it costs.
    pub(crate) fn outcome(&self, shop: &Shop<'_>, job: usize, spot: Spot, fit: Fit) -> Node {
        let work = &shop.works[job];
        let (was, mut car) = (&self.nodes[job], self.car(shop, job));
        let mut node = Node { spot, ready: fit.ready, start: fit.start, end: fit.end, ..*was };
        node.cost = 0;
        let hold = if work.settle_bay { fit.end + work.settle } else { fit.end };
        let settled = if work.settle_vehicle { fit.end + work.settle } else { fit.end };
        car.free = car.free.max(settled);
        car.untouched &= work.fixed.is_some() && !work.wish;
        if spot.bay != NONE {
            if car.place != NONE && car.place != spot.bay {
                node.cost += shop.model.weights.moving;
            }
            car.left = if work.settle_vehicle { settled } else { hold };
            car.place = spot.bay;
            let stand = self.stand(job, spot.bay);
            // Fixed work is closed in the bay's calendar: the row goes on around it, unless it says who may not leave the bay.
            let around = work.fixed.is_some() && !work.locks && !work.frees;
            node.stand.free = if around { stand.free } else { stand.free.max(hold) };
            node.stand.holder = stand.holder;
            if work.frees {
                (car.immobile, node.stand.holder) = (false, NONE);
            } else if work.locks {
                (car.immobile, node.stand.holder) = (true, work.vehicle);
            }
        }
        node.car = car;
        if shop.model.weights.change != 0
            && work.fixed.is_none()
            && let Some(Some(before)) = shop.model.in_force.get(job)
            && !stays(before, spot, fit.start)
        {
            node.cost += shop.model.weights.change;
        }
        node
    }

    /// Seats a job that sits nowhere in its rows.
    pub(crate) fn seat_all(&mut self, shop: &Shop<'_>, job: usize) {
        let work = &shop.works[job];
        let spot = self.nodes[job].spot;
        self.sit(seat(job, VEHICLE), shop.row_of(work.vehicle));
        // Of fixed work, a bay's row needs to know only who may not leave it.
        if spot.bay != NONE && (work.fixed.is_none() || work.locks || work.frees) {
            self.sit(seat(job, BAY), spot.bay);
        }
        if work.fixed.is_none() {
            for (slot, &person) in spot.people.iter().enumerate() {
                if person != NONE {
                    self.sit(seat(job, PEOPLE + slot), shop.person_row(person));
                }
            }
        }
    }

    /// Takes the equipment of a placed job, or gives it back; that of fixed work is always taken.
    pub(crate) fn equip(&mut self, shop: &Shop<'_>, job: usize, takes: bool) {
        let (work, node) = (&shop.works[job], &self.nodes[job]);
        if work.fixed.is_none() && !work.equipment.is_empty() {
            for (pool, units) in shop.equipment(work, node.spot.bay) {
                self.uses[pool].take(node.start, node.end, if takes { units } else { -units });
            }
        }
    }

    /// Books a job; its turn is its start unless it has an earlier one.
    pub(crate) fn book(&mut self, shop: &Shop<'_>, job: usize, spot: Spot, fit: Fit) {
        self.nodes[job] = self.outcome(shop, job, spot, fit);
        self.seat_all(shop, job);
        self.equip(shop, job, true);
        let turn = &mut self.nodes[job].turn;
        *turn = (*turn).min(Turn::of(fit.start, fit.end, shop.works[job].rank));
    }

    /// Whether fixed work can be as it is; false if it was a wish that can't be kept (the vehicle is not there in time).
    pub(crate) fn keeps(&self, shop: &Shop<'_>, job: usize, ready: Option<Ticks>) -> bool {
        let work = &shop.works[job];
        let Some((start, _, spot)) = work.fixed else { return false };
        let car = self.car(shop, job);
        let seat = self.at(seat(job, BAY));
        if seat.row != NONE && seat.before != NONE {
            let (before, _) = owner(seat.before);
            if shop.works[before].fixed.is_none() && self.nodes[before].stand.free > start {
                return false;
            }
        }
        if !work.wish {
            return car.untouched || self.arrives(shop, job, &car, spot.bay, EVER) <= start;
        }
        let holder = if spot.bay == NONE { NONE } else { self.stand(job, spot.bay).holder };
        ready.is_some_and(|ready| self.arrives(shop, job, &car, spot.bay, ready) <= start)
            && Self::enters(work, &car, spot.bay, holder)
            && self.admits(shop, job)
    }

    /// Books fixed work; false if it can't be kept.
    pub(crate) fn book_fixed(&mut self, shop: &Shop<'_>, job: usize, ready: Option<Ticks>) -> bool {
        let work = &shop.works[job];
        let Some((start, end, spot)) = work.fixed else { return false };
        self.nodes[job].turn = Turn::of(start, end, work.rank);
        let kept = self.keeps(shop, job, ready);
        if kept {
            self.book(shop, job, spot, Fit { ready: start, start, end });
        }
        kept
    }

    /// The best spot for a job: first the earliest end, then no move, then the bay and people that can do least besides.
    pub(crate) fn choose(
        &mut self,
        shop: &Shop<'_>,
        job: usize,
        from: Ticks,
    ) -> Option<(Spot, Fit)> {
        let work = &shop.works[job];
        let turn = self.nodes[job].turn;
        for &person in work.people.iter().flatten() {
            let row = shop.person_row(person);
            let free = self.free_at(row, turn);
            let opens = if work.pause >= 0 {
                free
            } else {
                shop.calendars[row as usize].fit(free.max(from), work.least())
            };
            self.frees[person as usize] = (free, opens);
        }
        let car = self.car(shop, job);
        let mut best: Option<Found> = None;
        for (rank, &bay) in work.bays.iter().enumerate() {
            let stand =
                if bay == NONE { Stand { free: EVER, holder: NONE } } else { self.stand(job, bay) };
            if !Self::enters(work, &car, bay, stand.holder) {
                continue;
            }
            if best.as_ref().is_some_and(|(key, ..)| !key.1 && key.0 <= from + work.length) {
                break; // nothing can be better but in what counts least
            }
            let ready = self.arrives(shop, job, &car, bay, from).max(stand.free);
            let mut floor = ready;
            let moves = bay != NONE && car.place != NONE && car.place != bay;
            if !work.equipment.is_empty() {
                floor = shop.equipped(&self.uses, work, bay, floor, work.length_in(bay));
            }
            let soonest = floor + work.length_in(bay);
            if best.as_ref().is_some_and(|(key, ..)| (soonest, moves, rank) > (key.0, key.1, key.2))
            {
                continue;
            }
            let zone = shop.zone(work.order, bay);
            let works_in = |person: u32| shop.works_in[person as usize * shop.zones + zone];
            let mut look = |people: [u32; 2]| {
                let (mut least, mut most, mut opens) = (NEVER, ready, floor);
                for &person in &people[..work.people.len()] {
                    let (free, open) = self.frees[person as usize];
                    (least, most, opens) = (least.min(free), most.max(free), opens.max(open));
                }
                let soonest = opens + work.length_in(bay);
                if best.as_ref().is_some_and(|(key, ..)| (soonest, moves, rank, -least) >= *key) {
                    return;
                }
                let spot = Spot { bay, people };
                let Some(fit) = self.fit(shop, job, spot, (most, opens)) else { return };
                let key = (fit.end, moves, rank, -least);
                if best.as_ref().is_none_or(|(known, ..)| key < *known) {
                    best = Some((key, spot, fit));
                }
            };
            match work.people.as_slice() {
                [] => look([NONE; 2]),
                [able] => {
                    able.iter().filter(|&&one| works_in(one)).for_each(|&one| look([one, NONE]));
                }
                [first, second, ..] => {
                    for &one in first.iter().filter(|&&one| works_in(one)) {
                        second
                            .iter()
                            .filter(|&&two| two != one && works_in(two))
                            .for_each(|&two| look([one, two]));
                    }
                }
            }
        }
        best.map(|(_, spot, fit)| (spot, fit))
    }
}

/// The first start from a moment on at which the calendars of bay and people, the vehicle's fixed work and the horizon allow the job, and its length.
fn open(shop: &Shop<'_>, work: &Work, spot: Spot, from: Ticks) -> Option<(Ticks, Ticks)> {
    let hold = if work.settle_bay { work.settle } else { 0 };
    let full = work.length_in(spot.bay);
    let (mut start, mut length) = (from, full);
    loop {
        let before = start;
        for &person in &spot.people {
            if person == NONE || start >= NEVER {
                continue;
            }
            if work.pause >= 0 {
                let (from, to) = shop.fit_paused(person as usize, start, full, work.pause);
                (start, length) = (from, to - from);
            } else {
                start = shop.calendars[shop.person_row(person) as usize].fit(start, length);
            }
        }
        if spot.bay != NONE && start < NEVER {
            start = shop.calendars[spot.bay as usize].fit(start, length + hold);
        }
        start = shop.after_visits(work, spot.bay, start, length);
        if start >= NEVER || start + length > shop.model.horizon {
            return None;
        }
        if start == before {
            return Some((start, length));
        }
    }
}

/// Whether a job stays as it was.
pub(crate) fn stays(before: &Placement, spot: Spot, start: Ticks) -> bool {
    let person = |slot: usize| before.technicians.get(slot).copied().map_or(NONE, index);
    before.start == start
        && before.bay.map_or(NONE, index) == spot.bay
        && person(0) == spot.people[0]
        && person(1) == spot.people[1]
}
