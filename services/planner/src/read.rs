//! Reads the model: indices instead of words, and for each job the bays and people that can do it.

use crate::calendar::{Calendar, NEVER};
use crate::model::{Job, JobId, Model, Ticks};
use crate::shop::{NONE, Shop, Span, Work, index};
use crate::uses::Uses;
use std::collections::HashMap;

/// Bays and people that can do a job.
type Means = (Vec<u32>, Vec<Vec<u32>>);
/// Those worked out already, by zones, capabilities and skills.
type Known<'m> = HashMap<(&'m [usize], Option<&'m [String]>, &'m [Vec<String>]), Means>;

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

fn zone_count(model: &Model) -> usize {
    let bays = model.bays.iter().map(|bay| bay.zone);
    let people = model.technicians.iter().flat_map(|technician| technician.zones.iter().copied());
    let orders = model.orders.iter().flat_map(|order| order.zones.iter().copied());
    let pools = model.pools.iter().filter_map(|pool| pool.zone);
    bays.chain(people).chain(orders).chain(pools).max().map_or(1, |zone| zone + 1)
}
