//! A job changes its place in a row: those behind it move up or back, each in its bay and with its people.
//!
//! So a whole row gives way a little, which no vehicle does that is taken out and laid in again where there is room.

use crate::calendar::NEVER;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::place::Others;
use crate::refit::Refit;
use crate::shop::{NONE, Spot};

/// A job that is out, in the sequence in which all are laid in again.
#[derive(Clone, Copy)]
struct Waiting {
    from: Ticks,
    rank: u32,
    job: u32,
    /// Where and when it was, if anywhere.
    spot: Option<Spot>,
    began: Ticks,
    put_off: bool,
}

/// A job is pulled ahead of one at most so many places before it.
const PLACES: usize = 12;
/// At most so many of the row are taken out behind it.
const FOLLOWERS: usize = 20;

impl Refit<'_, '_> {
    /// Takes out a job, to be laid in ahead of another of its row, and what lies in the row from there on; gives the two.
    pub(crate) fn pull_ahead(&mut self, dice: &mut Dice) -> Option<(u32, u32)> {
        let job = self.in_a_chain(dice)?;
        let row = self.row_of_its_own(job, dice)?;
        let (place, other) = self.one_before(job, row, dice)?;
        let starts = &self.table.plan.starts;
        let (was, begin) = (starts[job as usize], starts[other as usize]);
        let count = 1 + dice.below(FOLLOWERS);
        let mut behind: Vec<u32> = Vec::with_capacity(2 * FOLLOWERS);
        for stay in &self.table.rows[row as usize][place..] {
            if stay.from >= was && behind.len() >= count {
                break;
            }
            if stay.job != NONE
                && self.table.loose[self.shop.works[stay.job as usize].vehicle as usize]
            {
                behind.push(stay.job);
            }
        }
        self.take_out(self.shop.works[job as usize].vehicle, begin);
        for other in behind {
            let start = self.table.plan.starts[other as usize];
            if start < NEVER {
                self.take_out(self.shop.works[other as usize].vehicle, start);
            }
        }
        self.line_up(job, begin - 1, dice);
        Some((job, other))
    }

    /// Sets when the turn of each job that is out comes: when it began, but for the pulled one, what it waits for, and by chance what waits for it.
    fn line_up(&mut self, job: u32, turn: Ticks, dice: &mut Dice) {
        let works = &self.shop.works;
        let vehicle = works[job as usize].vehicle;
        let was =
            self.lifted.iter().find(|(other, ..)| *other == job).map_or(turn, |entry| entry.2);
        let along = if dice.below(2) == 0 { was - turn } else { 0 };
        for &(other, _, start, _) in &self.lifted {
            let follows =
                works[other as usize].vehicle == vehicle && (NEVER > start && start > was);
            let start = if follows { start - along } else { start };
            self.began[other as usize] = if other == job { turn } else { start };
        }
        for &other in self.table.jobs_of[vehicle as usize].iter().rev() {
            if self.table.plan.starts[other as usize] >= NEVER {
                for &(before, _) in &works[other as usize].before {
                    let latest = self.began[other as usize];
                    let began = &mut self.began[before as usize];
                    *began = latest.min(*began);
                }
            }
        }
    }

    /// Lays everything in again in that sequence; gives what the vehicles cost unless it is more than the limit.
    pub(crate) fn lay_in_line(&mut self, dice: &mut Dice, limit: i64) -> Option<i64> {
        let shop = self.shop;
        let mut line = self.line();
        let mut costs: Vec<i64> =
            self.out.iter().map(|&(vehicle, _)| self.least[vehicle as usize]).collect();
        let mut total: i64 = costs.iter().sum();
        let strays = dice.below(3) == 0;
        let puts_off = dice.below(10) > 0;
        let mut number = 0;
        while let Some(&Waiting { job, spot, began, put_off, .. }) = line.get(number) {
            let job = job as usize;
            let work = &shop.works[job];
            let spot = spot.filter(|_| !strays || dice.below(4) > 0);
            let found = match spot {
                Some(spot) => {
                    let fit = |ready| self.table.fit(job, spot, ready, Others::Stay);
                    self.table.ready(job).and_then(fit).map(|(start, end)| (spot, start, end))
                }
                None => self.table.best(job, NONE, dice),
            };
            let Some((spot, start, end)) = found else {
                if began >= NEVER {
                    number += 1;
                    continue;
                }
                return None;
            };
            if puts_off
                && !put_off
                && start > began
                && dice.below(10) < 7
                && put_off_until_needed(&mut line[number..], &work.after, end)
            {
                continue;
            }
            let vehicle = self.out.iter().position(|(vehicle, _)| *vehicle == work.vehicle)?;
            let cost = costs[vehicle].max(shop.order_cost(work.order as usize, end + work.tail));
            total += cost - std::mem::replace(&mut costs[vehicle], cost);
            if total > limit || !self.before_wishes(job, end) {
                return None;
            }
            self.table.put(job, spot, start, end);
            number += 1;
        }
        let total = self.out.iter().map(|&(vehicle, _)| self.table.price(vehicle as usize)).sum();
        (total <= limit).then_some(total)
    }

    /// The jobs that are out, in the sequence of their turns.
    fn line(&self) -> Vec<Waiting> {
        let waiting = |&(job, spot, start, _): &(u32, Spot, Ticks, Ticks)| Waiting {
            from: self.began[job as usize],
            rank: self.shop.works[job as usize].rank,
            job,
            spot: (start < NEVER).then_some(spot),
            began: start,
            put_off: false,
        };
        let mut line: Vec<Waiting> = self.lifted.iter().map(waiting).collect();
        line.sort_unstable_by_key(|waiting| (waiting.from, waiting.rank));
        line
    }

    /// A job on a chain of those that wait for each other, which ends with a vehicle that costs something.
    fn in_a_chain(&self, dice: &mut Dice) -> Option<u32> {
        let vehicle = self.costly(dice) as usize;
        let plan = &self.table.plan;
        let moves = |job: u32| {
            let work = &self.shop.works[job as usize];
            work.fixed.is_none()
                && self.table.loose[work.vehicle as usize]
                && plan.starts[job as usize] < NEVER
        };
        let jobs = self.table.jobs_of[vehicle].iter().copied().filter(|&job| moves(job));
        let mut job = jobs.max_by_key(|&job| plan.ends[job as usize])?;
        while dice.below(4) > 0 {
            let start = plan.starts[job as usize];
            let before = if dice.below(2) == 0 {
                let visits = &self.table.visits[self.shop.works[job as usize].vehicle as usize];
                visits.iter().rev().find(|visit| visit.from < start).map(|visit| visit.job)
            } else {
                let row = self.row_of_its_own(job, dice)?;
                let stays = self.table.row_before(row, start).iter().rev();
                stays.map(|stay| stay.job).find(|&job| job != NONE)
            };
            match before {
                Some(before) if before != NONE && moves(before) => job = before,
                _ => break,
            }
        }
        Some(job)
    }

    /// The row of its bay or of one of its people.
    fn row_of_its_own(&self, job: u32, dice: &mut Dice) -> Option<u32> {
        let spot = self.table.plan.spots[job as usize];
        let people = spot.people.into_iter().filter(|&person| person != NONE);
        let rows = people.map(|person| self.shop.person_row(person));
        let mut rows = rows.chain((spot.bay != NONE).then_some(spot.bay));
        let count = rows.clone().count();
        rows.nth(dice.below(count))
    }

    /// Another vehicle's job some places before it in the row, and where in the row it is.
    fn one_before(&self, job: u32, row: u32, dice: &mut Dice) -> Option<(usize, u32)> {
        let vehicle = self.shop.works[job as usize].vehicle;
        let far = dice.below(PLACES);
        let places = dice.below(1 + far) + 1;
        let stays = self.table.row_before(row, self.table.plan.starts[job as usize]);
        let whose = |stay: u32| self.shop.works[stay as usize].vehicle;
        let jobs = stays.iter().map(|stay| stay.job).enumerate().rev();
        jobs.filter(|&(_, other)| other != NONE)
            .take_while(|&(_, other)| self.table.loose[whose(other) as usize])
            .take(places)
            .filter(|&(_, other)| whose(other) != vehicle)
            .last()
    }
}

/// What begins later anyway is done just before what waits for it, if there is time: so long it leaves room to others. False if there is none.
fn put_off_until_needed(line: &mut [Waiting], after: &[u32], end: Ticks) -> bool {
    let next = line.iter().position(|waiting| after.contains(&waiting.job));
    let Some(next) = next.filter(|&next| next > 1 && line[next].from >= end) else { return false };
    line[0].from = line[next].from;
    line[0].put_off = true;
    line[..next].rotate_left(1);
    true
}

#[cfg(test)]
mod tests {
    use crate::construct::construct;
    use crate::dice::Dice;
    use crate::refit::Refit;
    use crate::screen::screen;

    #[test]
    fn a_job_that_is_pulled_ahead_often_begins_first_and_the_row_gives_way() {
        let model = crate::samples::busy_shop(12);
        let (shop, _) = screen(&model, &[]);
        let mut refit = Refit::new(&shop, construct(&shop));
        let mut dice = Dice::new(3);
        let (mut laid, mut first) = (0, 0);
        for _ in 0..1_000 {
            let before = refit.table.plan.clone();
            if let Some((job, other)) = refit.pull_ahead(&mut dice)
                && refit.lay_in_line(&mut dice, i64::MAX / 4).is_some()
            {
                let starts = &refit.table.plan.starts;
                laid += 1;
                first += usize::from(starts[job as usize] < starts[other as usize]);
                for row in &refit.table.rows {
                    assert!(row.windows(2).all(|pair| pair[0].until <= pair[1].from), "{row:?}");
                }
            }
            refit.take_back();
            let after = &refit.table.plan;
            assert_eq!((&before.starts, &before.spots), (&after.starts, &after.spots));
        }
        assert!(laid > 300 && 3 * first > laid, "{first} of {laid} begin first");
    }
}
