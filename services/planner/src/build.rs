//! The schedule builder: starts one job after another at the first moment at which everything it takes is free.
//!
//! Every rule of the floor is kept here and nowhere else; the search only proposes lists.

use crate::calendar::NEVER;
use crate::model::{Placement, Ticks};
use crate::shop::{NONE, Shop, Spot, index};

/// What a job costs that finds no room before the horizon: more than any lateness.
pub(crate) const MISSING: i64 = 1 << 44;

/// A bay, a person or a unit of equipment at some place of the list.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slot {
    pub(crate) free: Ticks,
    window: u32,
    /// The vehicle that can't leave this bay.
    holder: u32,
}

/// A vehicle.
#[derive(Debug, Clone, Copy)]
struct Car {
    free: Ticks,
    /// When it may leave the bay that it last stood in.
    left: Ticks,
    place: u32,
    immobile: bool,
    /// Fixed work only so far.
    untouched: bool,
}

/// A bracket: members placed, their end, and the end of what lies outside.
#[derive(Debug, Clone, Copy)]
struct Mode {
    placed: u32,
    inside_end: Ticks,
    outside_end: Ticks,
}

/// The shop after some first part of the list.
#[derive(Debug, Clone)]
pub(crate) struct State {
    pub(crate) slots: Vec<Slot>,
    cars: Vec<Car>,
    modes: Vec<Mode>,
    /// By order: no earlier end is possible any more.
    ends: Vec<Ticks>,
    last: Ticks,
    pub(crate) cost: i64,
}

/// A spot that could be, by end, move, rank of the bay and how long the people have been free; with start and end.
type Found = ((Ticks, bool, usize, Ticks), Spot, Ticks, Ticks);

impl State {
    /// Before the first job.
    pub(crate) fn new(shop: &Shop<'_>) -> Self {
        let model = shop.model;
        let slot = Slot { free: NEVER / -2, window: 0, holder: NONE };
        let mut slots = vec![slot; shop.calendars.len()];
        let cars = model.vehicles.iter().zip(&shop.immobile_now).enumerate();
        let cars = cars
            .map(|(number, (vehicle, &immobile))| {
                let place = vehicle.stands_in.map_or(NONE, index);
                if immobile {
                    slots[place as usize].holder = index(number);
                }
                Car { free: NEVER / -2, left: model.now, place, immobile, untouched: true }
            })
            .collect();
        let mut state = Self {
            slots,
            cars,
            modes: vec![
                Mode { placed: 0, inside_end: NEVER / -2, outside_end: NEVER / -2 };
                shop.brackets.len()
            ],
            ends: model.orders.iter().map(|order| order.release).collect(),
            last: 0,
            cost: 0,
        };
        state.cost =
            (0..state.ends.len()).map(|order| shop.order_cost(order, state.ends[order])).sum();
        state
    }

    /// Takes over another state without new memory.
    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.slots.copy_from_slice(&other.slots);
        self.cars.copy_from_slice(&other.cars);
        self.modes.copy_from_slice(&other.modes);
        self.ends.copy_from_slice(&other.ends);
        self.last = other.last;
        self.cost = other.cost;
    }

    /// Whether the vehicle may take this bay now (or the road), and no other vehicle that can't move stands there.
    fn enters(&self, shop: &Shop<'_>, job: usize, bay: u32) -> bool {
        let work = &shop.works[job];
        let car = &self.cars[work.vehicle as usize];
        if car.immobile && bay != car.place {
            return false;
        }
        bay == NONE || {
            let holder = self.slots[bay as usize].holder;
            holder == NONE || holder == work.vehicle
        }
    }

    /// Whether the job falls into no foreign bracket at this place of the list.
    pub(crate) fn admits(&self, shop: &Shop<'_>, job: usize) -> bool {
        shop.works[job].outside.iter().all(|&bracket| {
            let (members, entered) = shop.brackets[bracket as usize];
            let placed = self.modes[bracket as usize].placed;
            placed == members || (placed == 0 && !entered)
        })
    }

    /// The first moment that vehicle, brackets and the bay's distance allow.
    fn ready(&self, shop: &Shop<'_>, job: usize, bay: u32, from: Ticks) -> Ticks {
        let work = &shop.works[job];
        let car = &self.cars[work.vehicle as usize];
        let mut at = from.max(car.free);
        if car.place != bay {
            at = at.max(car.left + shop.move_time(car.place, bay));
        }
        for &bracket in &work.inside {
            at = at.max(self.modes[bracket as usize].outside_end);
        }
        for &bracket in &work.outside {
            at = at.max(self.modes[bracket as usize].inside_end);
        }
        at
    }

    /// First start and end of a job at that spot from that moment on; [`NEVER`] if there is none.
    pub(crate) fn earliest(
        &self,
        shop: &Shop<'_>,
        job: usize,
        spot: Spot,
        from: Ticks,
    ) -> (Ticks, Ticks) {
        let work = &shop.works[job];
        if !self.enters(shop, job, spot.bay) {
            return (NEVER, NEVER);
        }
        let at = self.ready(shop, job, spot.bay, from);
        let found = self.fit(shop, job, spot, at);
        if work.locks && spot.bay != NONE && shop.booked_by_other(spot.bay, found.0, work.vehicle) {
            return (NEVER, NEVER);
        }
        found
    }

    fn fit(&self, shop: &Shop<'_>, job: usize, place: Spot, from: Ticks) -> (Ticks, Ticks) {
        let work = &shop.works[job];
        let hold = if work.settle_bay { work.settle } else { 0 };
        let zone = if work.equipment.is_empty() { 0 } else { shop.zone(work.order, place.bay) };
        let mut start = from;
        let full = work.length_in(place.bay);
        let mut length = full;
        loop {
            let before = start;
            for &person in &place.people {
                if person == NONE {
                    continue;
                }
                let number = shop.bays + person as usize;
                let slot = &self.slots[number];
                if work.pause >= 0 {
                    let at = start.max(slot.free);
                    let (from, to) = shop.fit_paused(person as usize, at, full, work.pause);
                    start = from;
                    length = to - from;
                } else {
                    start = shop.calendars[number].fit(start.max(slot.free), length, slot.window).0;
                }
            }
            if place.bay != NONE && start < NEVER {
                let slot = &self.slots[place.bay as usize];
                start = shop.calendars[place.bay as usize]
                    .fit(start.max(slot.free), length + hold, slot.window)
                    .0;
            }
            for &(kind, units) in &work.equipment {
                if start < NEVER {
                    start = self.units(shop, kind, units, zone, start, length);
                }
            }
            start = shop.after_visits(work, place.bay, start, length);
            if start >= NEVER || start + length > shop.model.horizon {
                return (NEVER, NEVER);
            }
            if start == before {
                return (start, start + length);
            }
        }
    }

    /// The first moment from which that many units are free for the length.
    fn units(
        &self,
        shop: &Shop<'_>,
        kind: u32,
        units: u32,
        zone: usize,
        from: Ticks,
        length: Ticks,
    ) -> Ticks {
        let Some(pool) = shop.pool(kind, zone) else { return NEVER };
        if pool.count < units {
            return NEVER;
        }
        let range = pool.first as usize..(pool.first + pool.count) as usize;
        let fit = |unit: usize| {
            let at = from.max(self.slots[unit].free);
            if pool.plain {
                at
            } else {
                shop.calendars[unit].fit(at, length, self.slots[unit].window).0
            }
        };
        if units == 1 {
            let mut best = NEVER;
            for unit in range {
                let at = fit(unit);
                if at == from {
                    return from;
                }
                best = best.min(at);
            }
            return best;
        }
        let mut moments: Vec<Ticks> = range.map(fit).collect();
        moments.sort_unstable();
        moments[units as usize - 1]
    }

    /// Books a job and counts what it adds to the cost.
    pub(crate) fn book(
        &mut self,
        shop: &Shop<'_>,
        job: usize,
        spot: Spot,
        start: Ticks,
        end: Ticks,
    ) {
        let work = &shop.works[job];
        let hold = if work.settle_bay { end + work.settle } else { end };
        for &person in &spot.people {
            if person != NONE {
                let number = shop.bays + person as usize;
                self.occupy(shop, number, start, end);
            }
        }
        if work.fixed.is_none() {
            let zone = if work.equipment.is_empty() { 0 } else { shop.zone(work.order, spot.bay) };
            for &(kind, units) in &work.equipment {
                self.take_units(shop, kind, units, zone, start, end);
            }
        }
        let car = &mut self.cars[work.vehicle as usize];
        car.free = car.free.max(if work.settle_vehicle { end + work.settle } else { end });
        car.untouched &= work.fixed.is_some();
        if spot.bay != NONE {
            if car.place != NONE && car.place != spot.bay {
                self.cost += shop.model.weights.moving;
            }
            car.left = if work.settle_vehicle { end + work.settle } else { hold };
            car.place = spot.bay;
            let lock = if work.frees {
                car.immobile = false;
                Some(NONE)
            } else if work.locks {
                car.immobile = true;
                Some(work.vehicle)
            } else {
                None
            };
            self.occupy(shop, spot.bay as usize, start, hold);
            if let Some(holder) = lock {
                self.slots[spot.bay as usize].holder = holder;
            }
        }
        for &bracket in &work.inside {
            let mode = &mut self.modes[bracket as usize];
            mode.placed += 1;
            mode.inside_end = mode.inside_end.max(end);
        }
        for &bracket in &work.outside {
            self.modes[bracket as usize].outside_end = end;
        }
        self.count(shop, job, spot, start, end);
    }

    fn count(&mut self, shop: &Shop<'_>, job: usize, spot: Spot, start: Ticks, end: Ticks) {
        let work = &shop.works[job];
        let order = work.order as usize;
        let reach = end + work.tail;
        if reach > self.ends[order] {
            self.cost += shop.order_cost(order, reach) - shop.order_cost(order, self.ends[order]);
            self.ends[order] = reach;
        }
        if reach > self.last {
            self.cost += shop.model.weights.makespan * (reach - self.last);
            self.last = reach;
        }
        if shop.model.weights.change != 0
            && work.fixed.is_none()
            && let Some(Some(before)) = shop.model.in_force.get(job)
            && !stays(before, spot, start)
        {
            self.cost += shop.model.weights.change;
        }
    }

    fn occupy(&mut self, shop: &Shop<'_>, number: usize, start: Ticks, end: Ticks) {
        let slot = &mut self.slots[number];
        if end > slot.free {
            slot.free = end;
            let windows = shop.calendars[number].windows();
            while windows.get(slot.window as usize + 1).is_some_and(|window| window.0 <= start) {
                slot.window += 1;
            }
        }
    }

    fn take_units(
        &mut self,
        shop: &Shop<'_>,
        kind: u32,
        units: u32,
        zone: usize,
        start: Ticks,
        end: Ticks,
    ) {
        let Some(pool) = shop.pool(kind, zone) else { return };
        for _ in 0..units {
            // Of the units that are free, the one that has been so for the shortest time.
            let mut best: Option<usize> = None;
            for unit in pool.first as usize..(pool.first + pool.count) as usize {
                let slot = &self.slots[unit];
                let fits = slot.free <= start
                    && (pool.plain
                        || shop.calendars[unit].fit(start, end - start, slot.window).0 == start);
                if fits && best.is_none_or(|best| slot.free > self.slots[best].free) {
                    best = Some(unit);
                }
            }
            if let Some(unit) = best {
                self.occupy(shop, unit, start, end);
            }
        }
    }

    /// Books fixed work; false if it was a wish that can't be kept (the vehicle is not there in time).
    pub(crate) fn book_fixed(
        &mut self,
        shop: &Shop<'_>,
        job: usize,
        start: Ticks,
        end: Ticks,
        spot: Spot,
        ready: Ticks,
    ) -> bool {
        let work = &shop.works[job];
        let loose = !self.cars[work.vehicle as usize].untouched;
        let kept = (!work.wish && !loose)
            || (self.ready(shop, job, spot.bay, if work.wish { ready } else { NEVER / -2 })
                <= start
                && (!work.wish || self.enters(shop, job, spot.bay) && self.admits(shop, job)));
        if kept {
            let untouched = self.cars[work.vehicle as usize].untouched;
            // Its bay and people are closed in their calendars: their row in the list goes on around it.
            let slots: Vec<(usize, Slot)> = self
                .rows(shop, spot)
                .into_iter()
                .map(|number| (number, self.slots[number]))
                .collect();
            self.book(shop, job, spot, start, end);
            for (number, before) in slots {
                let holder = self.slots[number].holder;
                self.slots[number] = Slot { holder, ..before };
            }
            self.cars[work.vehicle as usize].untouched = untouched && !work.wish;
        }
        kept
    }

    fn rows(&self, shop: &Shop<'_>, spot: Spot) -> Vec<usize> {
        let people = spot
            .people
            .iter()
            .filter(|&&person| person != NONE)
            .map(|&person| shop.bays + person as usize);
        people
            .chain((spot.bay != NONE).then_some(spot.bay as usize))
            .filter(|&number| number < self.slots.len())
            .collect()
    }

    /// The best spot for a job: first the earliest end, then no move, then the bay and people that can do least besides.
    pub(crate) fn choose(
        &self,
        shop: &Shop<'_>,
        job: usize,
        from: Ticks,
    ) -> Option<(Spot, Ticks, Ticks)> {
        let work = &shop.works[job];
        let place = self.cars[work.vehicle as usize].place;
        let mut best: Option<Found> = None;
        for (rank, &bay) in work.bays.iter().enumerate() {
            if !self.enters(shop, job, bay) {
                continue;
            }
            if best.as_ref().is_some_and(|(key, ..)| !key.1 && key.0 <= from + work.length) {
                break; // nothing can be better but in what counts least
            }
            let ready = self.ready(shop, job, bay, from);
            let floor = if bay == NONE { ready } else { ready.max(self.slots[bay as usize].free) };
            let moves = bay != NONE && place != NONE && place != bay;
            let soonest = floor + work.length_in(bay);
            if best.as_ref().is_some_and(|(key, ..)| (soonest, moves, rank) > (key.0, key.1, key.2))
            {
                continue;
            }
            let zone = shop.zone(work.order, bay);
            let works_in = |person: u32| shop.works_in[person as usize * shop.zones + zone];
            let mut look = |people: [u32; 2]| {
                let spot = Spot { bay, people };
                let free = people[..work.people.len()]
                    .iter()
                    .map(|&person| self.slots[shop.bays + person as usize].free)
                    .min()
                    .unwrap_or(0);
                let soonest = free.max(floor) + work.length_in(bay);
                if best.as_ref().is_some_and(|(key, ..)| (soonest, moves, rank, -free) >= *key) {
                    return;
                }
                let (start, end) = self.fit(shop, job, spot, ready);
                if start >= NEVER
                    || (work.locks && bay != NONE && shop.booked_by_other(bay, start, work.vehicle))
                {
                    return;
                }
                let key = (end, moves, rank, -free);
                if best.as_ref().is_none_or(|(known, ..)| key < *known) {
                    best = Some((key, spot, start, end));
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
        best.map(|(_, spot, start, end)| (spot, start, end))
    }
}

/// Whether a job stays as it was.
fn stays(before: &Placement, spot: Spot, start: Ticks) -> bool {
    let person = |slot: usize| before.technicians.get(slot).copied().map_or(NONE, index);
    before.start == start
        && before.bay.map_or(NONE, index) == spot.bay
        && person(0) == spot.people[0]
        && person(1) == spot.people[1]
}
