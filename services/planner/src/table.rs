//! A plan as a timetable with gaps: what is taken out or laid in leaves everything else where it is.

use crate::build::MISSING;
use crate::calendar::{Calendar, NEVER};
use crate::chart::EVER;
use crate::construct::Draft;
use crate::model::Ticks;
use crate::shop::{NONE, Shop, Spot, Work, index};
use crate::undo::Undo;
use crate::uses::{Chunk, Uses};

/// A bay or a person is taken.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stay {
    pub(crate) from: Ticks,
    pub(crate) until: Ticks,
    /// [`NONE`]: closed, not there, at fixed work, or a vehicle that can't leave the bay.
    pub(crate) job: u32,
}

/// A vehicle is at work.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Visit {
    pub(crate) from: Ticks,
    /// Until then nothing else is done on it; until then it can't leave the bay.
    pub(crate) until: Ticks,
    pub(crate) left: Ticks,
    pub(crate) bay: u32,
    pub(crate) job: u32,
}

/// The timetable.
pub(crate) struct Table<'s, 'm> {
    pub(crate) shop: &'s Shop<'m>,
    /// Bays, then technicians: when each is taken, by time, no stay over another.
    pub(crate) rows: Vec<Vec<Stay>>,
    /// By bay, when a vehicle can't leave it.
    spans: Vec<Vec<(Ticks, Ticks)>>,
    pub(crate) visits: Vec<Vec<Visit>>,
    pub(crate) uses: Vec<Uses>,
    pub(crate) plan: Draft,
    /// By vehicle, whether its work may be taken out.
    pub(crate) loose: Vec<bool>,
    /// By vehicle, its jobs, in an order of the edges, and its orders.
    pub(crate) jobs_of: Vec<Vec<u32>>,
    orders_of: Vec<Vec<u32>>,
    /// By slot and person, from when on a job can be done; scratch of `best`.
    pub(crate) frees: [Vec<(Ticks, u32)>; 2],
    /// What `put` and `lift` change.
    undo_rows: Undo<Vec<Stay>>,
    undo_visits: Undo<Vec<Visit>>,
    undo_uses: Vec<Undo<Chunk>>,
}

impl<'s, 'm> Table<'s, 'm> {
    pub(crate) fn new(shop: &'s Shop<'m>, plan: Draft) -> Self {
        let model = shop.model;
        let vehicles = model.vehicles.len();
        let mut table = Self {
            shop,
            rows: Vec::new(),
            spans: vec![Vec::new(); shop.bays],
            visits: vec![Vec::new(); vehicles],
            uses: shop.pools.clone(),
            loose: vec![true; vehicles],
            jobs_of: vec![Vec::new(); vehicles],
            orders_of: vec![Vec::new(); vehicles],
            plan,
            frees: [Vec::new(), Vec::new()],
            undo_rows: Undo::new(shop.calendars.len()),
            undo_visits: Undo::new(vehicles),
            undo_uses: shop.pools.iter().map(Uses::undo).collect(),
        };
        for (number, order) in model.orders.iter().enumerate() {
            table.orders_of[order.vehicle].push(index(number));
        }
        for (number, jobs) in shop.jobs_of.iter().enumerate() {
            table.jobs_of[model.orders[number].vehicle].extend_from_slice(jobs);
        }
        for jobs in &mut table.jobs_of {
            jobs.sort_by_key(|&job| shop.works[job as usize].rank);
        }
        table.fasten();
        table.rows = (shop.calendars.iter().enumerate())
            .map(|(row, calendar)| match table.spans.get(row) {
                Some(spans) if !spans.is_empty() => {
                    let mut calendar = calendar.clone();
                    for &(from, until) in spans {
                        calendar.close(from, until);
                    }
                    closed(&calendar)
                }
                _ => closed(calendar),
            })
            .collect();
        for (visits, vehicle) in table.visits.iter_mut().zip(&model.vehicles) {
            visits.extend(vehicle.stands_in.map(|bay| Visit {
                from: EVER,
                until: EVER,
                left: model.now,
                bay: index(bay),
                job: NONE,
            }));
        }
        for (job, work) in shop.works.iter().enumerate() {
            if table.plan.starts[job] < NEVER && (work.fixed.is_some() || !work.left_out) {
                table.lay(job);
            }
        }
        table.keep();
        table
    }

    /// What was put and lifted stays so.
    pub(crate) fn keep(&mut self) {
        self.undo_rows.keep();
        self.undo_visits.keep();
        self.undo_uses.iter_mut().for_each(Undo::keep);
    }

    /// What was put and lifted since the last time is undone, but for the jobs' own places: `places` tells those.
    pub(crate) fn take_back(&mut self, places: impl Iterator<Item = (u32, Spot, Ticks, Ticks)>) {
        self.undo_rows.take_back(&mut self.rows);
        self.undo_visits.take_back(&mut self.visits);
        for (uses, undo) in self.uses.iter_mut().zip(&mut self.undo_uses) {
            uses.take_back(undo);
        }
        for (job, spot, start, end) in places {
            self.plan.set(job as usize, spot, start, end);
        }
    }

    /// Vehicles with brackets or immobile spans keep their place, as do those that wait for each other; a bay is taken for the whole span.
    fn fasten(&mut self) {
        let (shop, model) = (self.shop, self.shop.model);
        for edge in &model.edges {
            let vehicles = [edge.before, edge.after].map(|job| shop.works[job].vehicle as usize);
            if vehicles[0] != vehicles[1] {
                for vehicle in vehicles {
                    self.loose[vehicle] = false;
                }
            }
        }
        for bracket in &model.brackets {
            self.loose[shop.works[bracket.outside].vehicle as usize] = false;
        }
        for span in &model.immobile {
            let vehicle = shop.works[span.until].vehicle as usize;
            self.loose[vehicle] = false;
            let begin = match span.from {
                Some(from) => {
                    let fixed = shop.works[from].fixed.map(|(start, _, spot)| (start, spot.bay));
                    fixed.or(Some((self.plan.starts[from], self.plan.spots[from].bay)))
                }
                None => model.vehicles[vehicle].stands_in.map(|bay| (EVER, index(bay))),
            };
            let Some((from, bay)) = begin.filter(|&(from, bay)| from < NEVER && bay != NONE) else {
                continue;
            };
            let (_, until) = leaves(&shop.works[span.until], self.plan.ends[span.until]);
            self.spans[bay as usize].push((from, until));
        }
    }

    /// Enters a stay; where it pauses while the row is closed, in parts.
    fn insert(&mut self, row: usize, stay: Stay) {
        self.undo_rows.note(&self.rows, row);
        let row = &mut self.rows[row];
        let mut from = stay.from;
        let mut place = row.partition_point(|other| (other.from, other.until) < (from, stay.until));
        while let Some(pause) = row.get(place).copied().filter(|other| other.from < stay.until) {
            if from < pause.from {
                row.insert(place, Stay { from, until: pause.from, ..stay });
                place += 1;
            }
            from = pause.until;
            place += 1;
        }
        if from < stay.until || stay.from == stay.until {
            row.insert(place, Stay { from, ..stay });
        }
    }

    /// Enters a job as the plan has it.
    fn lay(&mut self, job: usize) {
        let shop = self.shop;
        let work = &shop.works[job];
        let (start, end, spot) = (self.plan.starts[job], self.plan.ends[job], self.plan.spots[job]);
        let (until, left) = leaves(work, end);
        self.undo_visits.note(&self.visits, work.vehicle as usize);
        let visits = &mut self.visits[work.vehicle as usize];
        let place = visits.partition_point(|visit| (visit.from, visit.until) < (start, until));
        visits.insert(place, Visit { from: start, until, left, bay: spot.bay, job: index(job) });
        if work.fixed.is_some() {
            return; // closed in the calendars
        }
        self.equip(work, spot.bay, (start, end), 1);
        if spot.bay != NONE {
            let held = self.loose[work.vehicle as usize]
                || !self.spans[spot.bay as usize]
                    .iter()
                    .any(|&(from, until)| from <= start && end <= until);
            if held {
                let until = if work.settle_bay { end + work.settle } else { end };
                self.insert(spot.bay as usize, Stay { from: start, until, job: index(job) });
            }
        }
        for &person in spot.people.iter().filter(|&&person| person != NONE) {
            let row = shop.person_row(person) as usize;
            self.insert(row, Stay { from: start, until: end, job: index(job) });
        }
    }

    /// Takes a job's equipment for a time, or gives it back.
    fn equip(&mut self, work: &Work, bay: u32, (start, end): (Ticks, Ticks), times: i64) {
        for (pool, units) in self.shop.equipment(work, bay) {
            self.uses[pool].note(&mut self.undo_uses[pool], start, end);
            self.uses[pool].take(start, end, times * units);
        }
    }

    /// Lays a job in there.
    pub(crate) fn put(&mut self, job: usize, spot: Spot, start: Ticks, end: Ticks) {
        self.plan.spots[job] = spot;
        self.plan.starts[job] = start;
        self.plan.ends[job] = end;
        self.lay(job);
    }

    /// Takes a movable job out.
    pub(crate) fn lift(&mut self, job: usize) {
        let shop = self.shop;
        let work = &shop.works[job];
        let (start, end, spot) = (self.plan.starts[job], self.plan.ends[job], self.plan.spots[job]);
        self.undo_visits.note(&self.visits, work.vehicle as usize);
        self.visits[work.vehicle as usize].retain(|visit| visit.job != index(job));
        self.equip(work, spot.bay, (start, end), -1);
        let people = spot.people.iter().filter(|&&person| person != NONE);
        let rows = people.map(|&person| shop.person_row(person));
        for row in rows.chain((spot.bay != NONE).then_some(spot.bay)) {
            self.undo_rows.note(&self.rows, row as usize);
            let row = &mut self.rows[row as usize];
            let mut place = row.partition_point(|stay| stay.from < start);
            while let Some(stay) = row.get(place).filter(|stay| stay.from <= end) {
                if stay.job == index(job) {
                    row.remove(place);
                } else {
                    place += 1;
                }
            }
        }
        self.plan.starts[job] = NEVER;
        self.plan.ends[job] = NEVER;
    }

    /// What a vehicle's orders, moves and changes cost.
    pub(crate) fn price(&self, vehicle: usize) -> i64 {
        let (shop, model) = (self.shop, self.shop.model);
        let mut price = 0;
        for &order in &self.orders_of[vehicle] {
            let order = order as usize;
            let jobs = shop.jobs_of[order].iter().map(|&job| self.plan.ends[job as usize]);
            let last = jobs.filter(|&end| end < NEVER).max().unwrap_or(EVER);
            price += shop.order_cost(order, last.max(model.orders[order].release));
        }
        let mut place = model.vehicles[vehicle].stands_in.map_or(NONE, index);
        for visit in &self.visits[vehicle] {
            if visit.bay != NONE {
                if place != NONE && place != visit.bay {
                    price += model.weights.moving;
                }
                place = visit.bay;
            }
        }
        for &job in &self.jobs_of[vehicle] {
            let job = job as usize;
            if self.plan.starts[job] >= NEVER {
                price += MISSING;
            } else if model.weights.change != 0
                && shop.works[job].fixed.is_none()
                && let Some(Some(before)) = model.in_force.get(job)
                && !crate::build::stays(before, self.plan.spots[job], self.plan.starts[job])
            {
                price += model.weights.change;
            }
        }
        price
    }

    /// What a vehicle's orders cost at least, however early its work begins.
    pub(crate) fn least_price(&self, vehicle: usize) -> i64 {
        let shop = self.shop;
        let costs = self.orders_of[vehicle].iter().map(|&order| {
            let ends = shop.jobs_of[order as usize].iter().map(|&job| {
                let work = &shop.works[job as usize];
                let end = work.fixed.map_or(work.release + work.least(), |(_, end, _)| end);
                end + work.tail
            });
            ends.max().map_or(0, |end| shop.order_cost(order as usize, end))
        });
        costs.sum()
    }

    /// The stays of a bay or person that share some time with a span.
    pub(crate) fn row_between(&self, row: u32, from: Ticks, until: Ticks) -> &[Stay] {
        let row = &self.rows[row as usize];
        let first = row.partition_point(|stay| stay.until <= from);
        &row[first..first.max(row.partition_point(|stay| stay.from < until))]
    }

    /// Whether what lies there may be taken out for that vehicle.
    pub(crate) fn gives_way(&self, stay: &Stay, vehicle: u32) -> bool {
        stay.job != NONE && {
            let whose = self.shop.works[stay.job as usize].vehicle;
            whose != vehicle && self.loose[whose as usize]
        }
    }

    /// The stays of a bay or person that end after a moment, from the first on.
    pub(crate) fn row_before(&self, row: u32, at: Ticks) -> &[Stay] {
        let row = &self.rows[row as usize];
        &row[..row.partition_point(|stay| stay.from < at)]
    }
}

/// When a row is closed.
fn closed(calendar: &Calendar) -> Vec<Stay> {
    let windows = calendar.windows();
    let begins = std::iter::once(EVER).chain(windows.iter().map(|window| window.1));
    let ends = windows.iter().map(|window| window.0).chain(std::iter::once(NEVER));
    let gaps = begins.zip(ends).filter(|(from, until)| from < until);
    gaps.map(|(from, until)| Stay { from, until, job: NONE }).collect()
}

/// Until when a vehicle is busy with a job that ends then, and can't leave the bay.
pub(crate) fn leaves(work: &Work, end: Ticks) -> (Ticks, Ticks) {
    let until = if work.settle_vehicle { end + work.settle } else { end };
    (until, if work.settle_bay { until.max(end + work.settle) } else { until })
}
