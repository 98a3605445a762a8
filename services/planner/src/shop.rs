//! The model as the builder reads it: indices instead of words, options worked out, fixed work taken out of the calendars.

use crate::calendar::{Calendar, NEVER};
use crate::model::{Model, Placement, Ticks};
use crate::uses::Uses;

/// No bay: on the road, outside; no person.
pub(crate) const NONE: u32 = u32::MAX;

/// Bay and people of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Spot {
    pub(crate) bay: u32,
    pub(crate) people: [u32; 2],
}

impl Spot {
    pub(crate) const NOWHERE: Self = Self { bay: NONE, people: [NONE; 2] };
}

/// A job as the builder reads it.
#[derive(Debug, Clone)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent marks of a job, read in the innermost loop"
)]
pub(crate) struct Work {
    pub(crate) order: u32,
    pub(crate) vehicle: u32,
    /// How long it takes; on `lengths[bay]` where that differs.
    pub(crate) length: Ticks,
    pub(crate) lengths: Vec<Ticks>,
    pub(crate) release: Ticks,
    /// Bays that can do it, those that offer least first; `[NONE]` on the road.
    pub(crate) bays: Vec<u32>,
    /// Who can do it, by person, those with the fewest skills first.
    pub(crate) people: Vec<Vec<u32>>,
    /// Kind and units, each kind once.
    pub(crate) equipment: Vec<(u32, i64)>,
    pub(crate) before: Vec<(u32, Ticks)>,
    pub(crate) after: Vec<u32>,
    /// Its place in an order of the edges.
    pub(crate) rank: u32,
    /// Least time from its end to the end of its order.
    pub(crate) tail: Ticks,
    pub(crate) settle: Ticks,
    pub(crate) settle_vehicle: bool,
    pub(crate) settle_bay: bool,
    /// Longest pause; negative: none.
    pub(crate) pause: Ticks,
    /// Set: it does not move.
    pub(crate) fixed: Option<(Ticks, Ticks, Spot)>,
    /// It is fixed but by wish: what comes before it must be done by then.
    pub(crate) wish: bool,
    /// Not part of this plan.
    pub(crate) left_out: bool,
    /// Brackets that hold it, as member.
    pub(crate) inside: Vec<u32>,
    /// Brackets that it must not fall into.
    pub(crate) outside: Vec<u32>,
    /// It starts an immobile span; it ends one.
    pub(crate) locks: bool,
    pub(crate) frees: bool,
}

/// A bracket's members that take part, and what must not fall inside; whether it was entered before.
#[derive(Debug, Clone, Default)]
pub(crate) struct Span {
    pub(crate) inside: Vec<u32>,
    pub(crate) outside: u32,
    pub(crate) entered: bool,
}

/// Everything the builder reads.
#[derive(Debug, Clone)]
pub(crate) struct Shop<'m> {
    pub(crate) model: &'m Model,
    /// By order, its weight; more while the search insists on it.
    pub(crate) weights: Vec<i64>,
    pub(crate) works: Vec<Work>,
    pub(crate) bays: usize,
    /// Calendars of bays, then technicians.
    pub(crate) calendars: Vec<Calendar>,
    pub(crate) zone_of: Vec<u32>,
    pub(crate) zones: usize,
    /// technician x zone
    pub(crate) works_in: Vec<bool>,
    /// kind x zone: index into `pools`, `NONE` without
    pub(crate) pool_of: Vec<u32>,
    /// Equipment, and what fixed work uses of it.
    pub(crate) pools: Vec<Uses>,
    pub(crate) brackets: Vec<Span>,
    /// By order, what is planned of it.
    pub(crate) jobs_of: Vec<Vec<u32>>,
    pub(crate) home: Vec<u32>,
    /// Vehicles that are immobile from the beginning.
    pub(crate) immobile_now: Vec<bool>,
    /// By bay: until when and by which vehicle it is booked for fixed work.
    pub(crate) booked: Vec<Vec<(Ticks, u32)>>,
    /// By technician: shifts alone, and fixed work; a pause may bridge a break but no other work.
    pub(crate) shifts: Vec<Calendar>,
    pub(crate) busy: Vec<Vec<(Ticks, Ticks)>>,
    /// By vehicle: fixed work that is not over, from, until and in which bay.
    pub(crate) visits: Vec<Vec<(Ticks, Ticks, u32)>>,
}

impl Work {
    /// No less does the job take in any bay.
    #[inline]
    pub(crate) const fn least(&self) -> Ticks {
        if self.lengths.is_empty() { self.length } else { 0 }
    }

    /// How long the job takes in that bay.
    #[inline]
    pub(crate) fn length_in(&self, bay: u32) -> Ticks {
        if self.lengths.is_empty() || bay == NONE {
            self.length
        } else {
            self.lengths[bay as usize]
        }
    }
}

impl Shop<'_> {
    /// The zone in which a job takes place in that bay.
    #[inline]
    pub(crate) fn zone(&self, order: u32, bay: u32) -> usize {
        (if bay == NONE { self.home[order as usize] } else { self.zone_of[bay as usize] }) as usize
    }

    /// How long a vehicle takes from one bay to another.
    #[inline]
    pub(crate) fn move_time(&self, from: u32, to: u32) -> Ticks {
        if from == NONE || to == NONE || from == to {
            0
        } else if self.zone_of[from as usize] == self.zone_of[to as usize] {
            self.model.moving.same_zone
        } else {
            self.model.moving.other_zone
        }
    }

    /// The row of a vehicle on the chart.
    #[inline]
    pub(crate) const fn row_of(&self, vehicle: u32) -> u32 {
        index(self.calendars.len()) + vehicle
    }

    /// The row of a person.
    #[inline]
    pub(crate) const fn person_row(&self, person: u32) -> u32 {
        index(self.bays) + person
    }

    /// The pool that serves a kind in a zone.
    #[inline]
    pub(crate) fn pool(&self, kind: u32, zone: usize) -> Option<usize> {
        if kind == NONE {
            return None;
        }
        let pool = self.pool_of[kind as usize * self.zones + zone];
        (pool != NONE).then_some(pool as usize)
    }

    /// The first moment from which all equipment of a job in that bay is free for the length; `uses` tells what is in use.
    pub(crate) fn equipped(
        &self,
        uses: &[Uses],
        work: &Work,
        bay: u32,
        from: Ticks,
        length: Ticks,
    ) -> Ticks {
        let mut at = from;
        let zone = self.zone(work.order, bay);
        loop {
            let before = at;
            for &(kind, units) in &work.equipment {
                let Some(pool) = self.pool(kind, zone) else { return NEVER };
                if at < NEVER {
                    at = uses[pool].room(at, length, units);
                }
            }
            if at == before || work.equipment.len() == 1 {
                return at;
            }
        }
    }

    /// The pools that a job's equipment comes from, and how many units.
    pub(crate) fn equipment(&self, work: &Work, bay: u32) -> impl Iterator<Item = (usize, i64)> {
        let zone = self.zone(work.order, bay);
        work.equipment
            .iter()
            .filter_map(move |&(kind, units)| Some((self.pool(kind, zone)?, units)))
    }

    /// First start and end of work that may pause, by one technician.
    pub(crate) fn fit_paused(
        &self,
        person: usize,
        at: Ticks,
        length: Ticks,
        gap: Ticks,
    ) -> (Ticks, Ticks) {
        let mut at = at;
        loop {
            let (start, end) = self.shifts[person].fit_paused(at, length, gap);
            match self.busy[person]
                .iter()
                .find(|&&(from, to)| from < end && start < to && from < to)
            {
                Some(&(_, to)) if start < NEVER => at = to,
                _ => return (start, end),
            }
        }
    }

    /// When the bay is free of other vehicles' fixed work for good, if some of it comes after that moment.
    pub(crate) fn free_of_others(&self, bay: u32, from: Ticks, vehicle: u32) -> Option<Ticks> {
        let booked = self.booked[bay as usize].iter();
        let others = booked.filter(|&&(until, whose)| whose != vehicle && until > from);
        others.map(|&(until, _)| until).max()
    }

    /// The start, or a later one that leaves the vehicle's fixed work alone.
    #[inline]
    pub(crate) fn after_visits(
        &self,
        work: &Work,
        bay: u32,
        mut start: Ticks,
        length: Ticks,
    ) -> Ticks {
        let visits = &self.visits[work.vehicle as usize];
        let mut index = 0;
        while let Some(&(from, until, there)) = visits.get(index) {
            let way = self.move_time(there, bay);
            let settles = if work.settle_vehicle || work.settle_bay && there != bay {
                work.settle
            } else {
                0
            };
            if start < until + way && from < start + length + settles.max(0) + way {
                start = until + way;
                index = 0;
            } else {
                index += 1;
            }
        }
        start
    }

    /// What an order costs that ends then; more than anything if it never does.
    #[inline]
    pub(crate) fn order_cost(&self, order: usize, end: Ticks) -> i64 {
        let (weight, weights) = (self.weights[order], &self.model.weights);
        let order = &self.model.orders[order];
        if end >= NEVER {
            return NEVER;
        }
        let late = order.promised.map_or(0, |promised| (end - promised).max(0));
        weight * (weights.tardiness * late + weights.flow * (end - order.release).max(0))
    }

    /// Takes the job out of the plan: nothing waits for it, brackets miss it.
    pub(crate) fn leave_out(&mut self, job: usize) {
        self.works[job].left_out = true;
    }

    /// Fixes a job: its bay, people and equipment are closed for the time. With `wish` it was the dispatcher's or the plan's wish and not a fact.
    pub(crate) fn fix(&mut self, job: usize, placement: &Placement, wish: bool) {
        let spot = spot_of(placement);
        let (start, end) = (placement.start, placement.end);
        let held = if self.works[job].settle_bay { end + self.works[job].settle } else { end };
        if spot.bay != NONE {
            self.calendars[spot.bay as usize].close(start, held);
            self.booked[spot.bay as usize].push((held, self.works[job].vehicle));
        }
        for &person in &placement.technicians {
            self.calendars[self.bays + person].close(start, end);
            self.busy[person].push((start, end));
        }
        let mut pools = std::mem::take(&mut self.pools);
        for (pool, units) in self.equipment(&self.works[job], spot.bay) {
            pools[pool].take(start, end, units);
        }
        self.pools = pools;
        if end > self.model.now {
            let until =
                if self.works[job].settle_vehicle { end + self.works[job].settle } else { end };
            self.visits[self.works[job].vehicle as usize].push((start, until, spot.bay));
        }
        self.works[job].fixed = Some((start, end, spot));
        self.works[job].wish = wish;
    }
}

/// The placement's bay and people.
pub(crate) fn spot_of(placement: &Placement) -> Spot {
    let mut people = [NONE; 2];
    for (slot, &person) in people.iter_mut().zip(&placement.technicians) {
        *slot = index(person);
    }
    Spot { bay: placement.bay.map_or(NONE, index), people }
}

/// The other way round.
pub(crate) fn placement_of(start: Ticks, end: Ticks, spot: Spot) -> Placement {
    Placement {
        start,
        end,
        bay: (spot.bay != NONE).then_some(spot.bay as usize),
        technicians: spot
            .people
            .iter()
            .filter(|&&person| person != NONE)
            .map(|&person| person as usize)
            .collect(),
    }
}

/// An index in 32 bits.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a shop has fewer than four billion of anything"
)]
pub(crate) const fn index(value: usize) -> u32 {
    value as u32
}
