//! The model as the builder reads it: indices instead of words, options worked out, fixed work taken out of the calendars.

use crate::calendar::{Calendar, NEVER};
use crate::model::{Job, JobId, Model, Placement, Ticks};
use crate::uses::Uses;
use std::collections::HashMap;

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

/// Bays and people that can do a job.
type Means = (Vec<u32>, Vec<Vec<u32>>);
/// Those worked out already, by zones, capabilities and skills.
type Known<'m> = HashMap<(&'m [usize], Option<&'m [String]>, &'m [Vec<String>]), Means>;

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

impl<'m> Shop<'m> {
    /// Reads the model; `jobs` that can't be planned are left out later by [`Shop::leave_out`].
    pub(crate) fn new(model: &'m Model) -> Self {
        let zones = zone_count(model);
        let mut kinds: Vec<&str> = model
            .jobs
            .iter()
            .flat_map(|job| job.equipment.iter().map(|(kind, _)| kind.as_str()))
            .collect();
        kinds.sort_unstable();
        kinds.dedup();
        let mut shop = Self {
            model,
            weights: model.orders.iter().map(|order| order.weight).collect(),
            works: Vec::with_capacity(model.jobs.len()),
            bays: model.bays.len(),
            calendars: Vec::new(),
            zone_of: model.bays.iter().map(|bay| index(bay.zone)).collect(),
            zones,
            works_in: Vec::new(),
            pool_of: vec![NONE; kinds.len() * zones],
            pools: Vec::new(),
            brackets: vec![Span::default(); model.brackets.len()],
            jobs_of: vec![Vec::new(); model.orders.len()],
            home: model
                .orders
                .iter()
                .map(|order| order.zones.first().copied().map_or(0, index))
                .collect(),
            immobile_now: vec![false; model.vehicles.len()],
            booked: vec![Vec::new(); model.bays.len()],
            shifts: Vec::new(),
            busy: vec![Vec::new(); model.technicians.len()],
            visits: vec![Vec::new(); model.vehicles.len()],
        };
        shop.open_calendars();
        shop.lay_out_pools(&kinds);
        let mut known = Known::new();
        shop.works = (0..model.jobs.len()).map(|id| shop.work(id, &kinds, &mut known)).collect();
        shop.tie();
        shop.bracket();
        shop
    }

    fn open_calendars(&mut self) {
        let model = self.model;
        let latest = model.horizon;
        for bay in &model.bays {
            let mut calendar = Calendar::between(NEVER / -2, latest);
            for &(from, to) in &bay.closed {
                calendar.close(from, to);
            }
            self.calendars.push(calendar);
        }
        for technician in &model.technicians {
            let mut calendar = Calendar::open(technician.shifts.clone());
            calendar.close(latest, NEVER);
            self.shifts.push(calendar.clone());
            self.calendars.push(calendar);
            self.works_in.extend(
                (0..self.zones)
                    .map(|zone| technician.zones.is_empty() || technician.zones.contains(&zone)),
            );
        }
    }

    fn lay_out_pools(&mut self, kinds: &[&str]) {
        for pool in &self.model.pools {
            let Ok(kind) = kinds.binary_search(&pool.kind.as_str()) else { continue };
            let number = index(self.pools.len());
            self.pools.push(Uses::new(pool.capacity, self.model.now, self.model.horizon));
            let row = &mut self.pool_of[kind * self.zones..(kind + 1) * self.zones];
            let own = |zone: usize| {
                self.model
                    .pools
                    .iter()
                    .any(|other| other.kind == pool.kind && other.zone == Some(zone))
            };
            for (zone, cell) in row.iter_mut().enumerate() {
                if pool.zone == Some(zone) || (pool.zone.is_none() && !own(zone)) {
                    *cell = number;
                }
            }
        }
    }

    /// Bays and, by person, people that can do a job.
    fn means(&self, job: &'m Job, known: &mut Known<'m>) -> Means {
        let model = self.model;
        let zones = &model.orders[job.order].zones;
        if job.lengths.is_empty() {
            let needs = (zones.as_slice(), job.bay.as_deref(), job.people.as_slice());
            return known
                .entry(needs)
                .or_insert_with(|| {
                    let bays = self.bays_for(job.bay.as_deref(), zones);
                    let people = self.people_for(job, &bays);
                    (bays, people)
                })
                .clone();
        }
        let bays: Vec<u32> = job.lengths.iter().map(|&(bay, _)| index(bay)).collect();
        let people = self.people_for(job, &bays);
        (bays, people)
    }

    fn bays_for(&self, needs: Option<&[String]>, zones: &[usize]) -> Vec<u32> {
        let Some(needs) = needs else { return vec![NONE] };
        let bays = &self.model.bays;
        let mut able: Vec<u32> = (0..bays.len())
            .filter(|&bay| zones.is_empty() || zones.contains(&bays[bay].zone))
            .filter(|&bay| needs.iter().all(|need| bays[bay].capabilities.contains(need)))
            .map(index)
            .collect();
        able.sort_by_key(|&bay| bays[bay as usize].capabilities.len());
        able
    }

    fn people_for(&self, job: &Job, bays: &[u32]) -> Vec<Vec<u32>> {
        let mut zones: Vec<usize> =
            bays.iter().map(|&bay| self.zone(index(job.order), bay)).collect();
        zones.sort_unstable();
        zones.dedup();
        let crew = &self.model.technicians;
        let able = |skills: &Vec<String>| {
            let mut able: Vec<u32> = (0..crew.len())
                .filter(|&who| zones.iter().any(|zone| self.works_in[who * self.zones + zone]))
                .filter(|&who| skills.iter().all(|skill| crew[who].skills.contains(skill)))
                .map(index)
                .collect();
            able.sort_by_key(|&who| crew[who as usize].skills.len());
            able
        };
        job.people.iter().map(able).collect()
    }

    fn work(&self, id: JobId, kinds: &[&str], known: &mut Known<'m>) -> Work {
        let model = self.model;
        let job = &model.jobs[id];
        let order = &model.orders[job.order];
        let (bays, people) = self.means(job, known);
        let mut equipment: Vec<(u32, i64)> = Vec::new();
        for (kind, units) in job.equipment.iter().filter(|(_, units)| *units > 0) {
            let kind = kinds.binary_search(&kind.as_str()).map_or(NONE, index);
            match equipment.iter_mut().find(|(known, _)| *known == kind) {
                Some((_, known)) => *known += i64::from(*units),
                None => equipment.push((kind, i64::from(*units))),
            }
        }
        Work {
            order: index(job.order),
            vehicle: index(order.vehicle),
            length: job.duration.likely.max(0),
            lengths: lengths(model, job),
            release: order.release.max(model.now).max(job.earliest),
            bays,
            people,
            equipment,
            before: Vec::new(),
            after: Vec::new(),
            rank: index(model.jobs.len()),
            tail: 0,
            settle: job.settle.ticks.max(0),
            settle_vehicle: job.settle.blocks_vehicle,
            settle_bay: job.settle.keeps_bay,
            pause: if job.people.len() == 1 { job.pause.unwrap_or(-1) } else { -1 },
            fixed: None,
            wish: false,
            left_out: false,
            inside: Vec::new(),
            outside: Vec::new(),
            locks: false,
            frees: false,
        }
    }

    /// Edges, one per pair with the longest wait.
    fn tie(&mut self) {
        for edge in &self.model.edges {
            if edge.before == edge.after {
                continue;
            }
            self.add_edge(index(edge.before), index(edge.after), edge.wait);
        }
        for span in &self.model.immobile {
            match span.from {
                Some(from) if from != span.until => {
                    self.works[from].locks = true;
                    self.works[span.until].frees = true;
                    self.add_edge(index(from), index(span.until), 0);
                }
                Some(_) => {}
                None => {
                    let vehicle = self.works[span.until].vehicle as usize;
                    if self.model.vehicles[vehicle].stands_in.is_some() {
                        self.works[span.until].frees = true;
                        self.immobile_now[vehicle] = true;
                    }
                }
            }
        }
    }

    fn add_edge(&mut self, before: u32, after: u32, wait: Ticks) {
        let wait = wait.max(self.works[before as usize].settle);
        let list = &mut self.works[after as usize].before;
        if let Some(known) = list.iter_mut().find(|(job, _)| *job == before) {
            known.1 = known.1.max(wait);
        } else {
            list.push((before, wait));
            self.works[before as usize].after.push(after);
        }
    }

    /// Where an either-or is decided by the edges, it becomes edges.
    fn bracket(&mut self) {
        for (number, bracket) in self.model.brackets.iter().enumerate() {
            let outside = index(bracket.outside);
            let members: Vec<u32> = bracket
                .inside
                .iter()
                .map(|&member| index(member))
                .filter(|&member| member != outside)
                .collect();
            if members.is_empty() {
                continue;
            }
            let first = members.iter().any(|&member| self.reaches(outside, member));
            let last =
                bracket.entered || members.iter().any(|&member| self.reaches(member, outside));
            for &member in &members {
                if last {
                    self.add_edge(member, outside, 0);
                }
                if first {
                    self.add_edge(outside, member, 0);
                }
                self.works[member as usize].inside.push(index(number));
            }
            self.works[outside as usize].outside.push(index(number));
            self.brackets[number] = Span { inside: members, outside, entered: bracket.entered };
        }
    }

    pub(crate) fn reaches(&self, from: u32, to: u32) -> bool {
        let mut seen = vec![false; self.works.len()];
        let mut open = vec![from];
        while let Some(job) = open.pop() {
            for &next in &self.works[job as usize].after {
                if next == to {
                    return true;
                }
                if !std::mem::replace(&mut seen[next as usize], true) {
                    open.push(next);
                }
            }
        }
        false
    }

    /// Jobs in an order of the edges; those on a cycle, or behind one, are missing.
    pub(crate) fn sorted(&self) -> Vec<u32> {
        let mut waits: Vec<usize> = self.works.iter().map(|work| work.before.len()).collect();
        let mut sorted: Vec<u32> =
            (0..self.works.len()).filter(|&job| waits[job] == 0).map(index).collect();
        let mut next = 0;
        while let Some(&job) = sorted.get(next) {
            next += 1;
            for &after in &self.works[job as usize].after {
                waits[after as usize] -= 1;
                if waits[after as usize] == 0 {
                    sorted.push(after);
                }
            }
        }
        sorted
    }

    /// Works out ranks, tails (fixed work and what is left out lengthen nothing) and the jobs of each order.
    pub(crate) fn set_tails(&mut self) {
        self.jobs_of.iter_mut().for_each(Vec::clear);
        for (rank, &job) in self.sorted().iter().enumerate().rev() {
            let job = job as usize;
            self.works[job].rank = index(rank);
            if !self.works[job].left_out {
                self.jobs_of[self.works[job].order as usize].push(index(job));
            }
            let order = self.works[job].order;
            let mut tail = 0;
            for &next in &self.works[job].after {
                let next_work = &self.works[next as usize];
                if next_work.order == order && next_work.fixed.is_none() && !next_work.left_out {
                    let wait = next_work
                        .before
                        .iter()
                        .find(|(before, _)| *before as usize == job)
                        .map_or(0, |(_, wait)| *wait);
                    tail = tail.max(wait + next_work.length + next_work.tail);
                }
            }
            self.works[job].tail = tail;
        }
    }

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

/// Length by bay of an operation that takes different times on different machines; empty for anything else.
fn lengths(model: &Model, job: &Job) -> Vec<Ticks> {
    if job.lengths.iter().all(|(_, length)| *length == job.duration.likely) {
        return Vec::new();
    }
    let mut lengths = vec![job.duration.likely; model.bays.len()];
    for &(bay, length) in &job.lengths {
        lengths[bay] = length;
    }
    lengths
}

/// An index in 32 bits.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a shop has fewer than four billion of anything"
)]
pub(crate) const fn index(value: usize) -> u32 {
    value as u32
}

fn zone_count(model: &Model) -> usize {
    let bays = model.bays.iter().map(|bay| bay.zone);
    let people = model.technicians.iter().flat_map(|technician| technician.zones.iter().copied());
    let orders = model.orders.iter().flat_map(|order| order.zones.iter().copied());
    let pools = model.pools.iter().filter_map(|pool| pool.zone);
    bays.chain(people).chain(orders).chain(pools).max().map_or(1, |zone| zone + 1)
}
