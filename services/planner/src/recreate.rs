//! Lays what was taken out in again, in another sequence.

use crate::calendar::NEVER;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::refit::Refit;
use crate::shop::{NONE, index};

/// A vehicle that is out.
struct Line {
    vehicle: u32,
    /// What is left to lay in.
    open: Vec<u32>,
    /// The bay that it keeps to, if any.
    home: u32,
    /// What its orders cost at least, as far as it is laid in.
    costs: i64,
}

/// How vehicles take turns. One after another, the first takes what is best for it; a bay or a person that many wait for is shared better job by job.
#[derive(Clone, Copy)]
enum Turns {
    OneAfterAnother,
    ByChance,
    SoonestFirst,
    /// About in the sequence in which they were.
    AsBefore,
}

impl Refit<'_, '_> {
    /// Lays everything in again; gives what the vehicles cost unless it is more than the limit.
    pub(crate) fn recreate(&mut self, dice: &mut Dice, limit: i64, cooled: f64) -> Option<i64> {
        let turns = self.turns(dice, cooled);
        let mut lines = self.lines(dice);
        let mut total: i64 = lines.iter().map(|line| line.costs).sum();
        while total <= limit {
            let Some(number) = self.whose_turn(&lines, turns, dice) else { return Some(total) };
            let line = &mut lines[number];
            let before = line.costs;
            self.lay_in_next(line, turns, dice, limit - total + before)?;
            total += line.costs - before;
        }
        None
    }

    /// How they take turns this time; the sequence is kept rather when the search has cooled down.
    fn turns(&mut self, dice: &mut Dice, cooled: f64) -> Turns {
        if dice.unit() < 0.7 * cooled {
            for &(job, _, start, _) in &self.lifted {
                let length = usize::try_from(self.shop.works[job as usize].length).unwrap_or(0);
                self.began[job as usize] = start + Ticks::from(index(dice.below(1 + length)));
            }
            return Turns::AsBefore;
        }
        match dice.below(10) {
            0..3 => Turns::SoonestFirst,
            3..5 => Turns::ByChance,
            _ => Turns::OneAfterAnother,
        }
    }

    /// The vehicles that are out, in the sequence of their urgency.
    fn lines(&self, dice: &mut Dice) -> Vec<Line> {
        let rule = dice.below(4);
        let mut turns: Vec<(i64, u32)> = Vec::with_capacity(self.out.len());
        for &(vehicle, price) in &self.out {
            turns.push((self.urgency(vehicle, price, rule, dice), vehicle));
        }
        turns.sort_unstable();
        let line = |(_, vehicle): (i64, u32)| {
            let number = vehicle as usize;
            let jobs = self.table.jobs_of[number].iter().copied();
            let out = |&job: &u32| {
                self.table.plan.starts[job as usize] >= NEVER
                    && self.shop.works[job as usize].fixed.is_none()
            };
            let open: Vec<u32> = jobs.filter(out).collect();
            let home = self.home(&open, dice);
            let costs = if open.is_empty() { self.table.price(number) } else { self.least[number] };
            Line { vehicle, open, home, costs }
        };
        turns.into_iter().map(line).collect()
    }

    fn whose_turn(&self, lines: &[Line], turns: Turns, dice: &mut Dice) -> Option<usize> {
        let mut open = (0..lines.len()).filter(|&number| !lines[number].open.is_empty());
        match turns {
            Turns::OneAfterAnother => open.next(),
            Turns::ByChance => {
                let count = open.clone().count();
                open.nth(dice.below(count))
            }
            Turns::AsBefore => open.min_by_key(|&number| {
                lines[number].open.iter().map(|&job| self.began[job as usize]).min()
            }),
            Turns::SoonestFirst => open.min_by_key(|&number| {
                let jobs = lines[number].open.iter();
                jobs.filter_map(|&job| self.table.ready(job as usize)).min().unwrap_or(NEVER)
            }),
        }
    }

    /// Who comes first: by chance, by price, by promised time, by what is left to do until then.
    fn urgency(&self, vehicle: u32, price: i64, rule: usize, dice: &mut Dice) -> i64 {
        let model = self.shop.model;
        let first = self.table.jobs_of[vehicle as usize].first();
        let promised = first.and_then(|&job| {
            let work = &self.shop.works[job as usize];
            let order = &model.orders[work.order as usize];
            order.promised.map(|promised| (promised, promised - work.length - work.tail))
        });
        match (rule, promised) {
            (1, _) => -price,
            (2, Some((promised, _))) => promised,
            (3, Some((_, latest))) => latest,
            _ => i64::try_from(dice.below(1 << 30)).unwrap_or(0),
        }
    }

    /// A bay in which the most demanding of the jobs can be done, so that the vehicle need not move for it: any, the one it had, or none.
    fn home(&self, jobs: &[u32], dice: &mut Dice) -> u32 {
        let bays = |job: u32| self.shop.works[job as usize].bays.as_slice();
        let indoors =
            jobs.iter().copied().filter(|&job| !bays(job).is_empty() && bays(job) != [NONE]);
        let Some(job) = indoors.min_by_key(|&job| bays(job).len()) else { return NONE };
        match dice.below(3) {
            0 => bays(job)[dice.below(bays(job).len())],
            1 => {
                let was = self.lifted.iter().find(|(other, ..)| *other == job);
                was.map_or(NONE, |(_, spot, ..)| spot.bay)
            }
            _ => NONE,
        }
    }

    /// Whether what is pinned behind the job can still be as it is.
    pub(crate) fn before_wishes(&self, job: usize, end: Ticks) -> bool {
        self.shop.works[job].after.iter().all(|&after| {
            let after = &self.shop.works[after as usize];
            let wait = after.before.iter().find(|(before, _)| *before as usize == job);
            !after.wish
                || after
                    .fixed
                    .is_none_or(|(start, ..)| start >= end + wait.map_or(0, |(_, wait)| *wait))
        })
    }

    /// Lays a vehicle's next job in, mostly that with the longest tail; none if its orders then cost more than the limit.
    fn lay_in_next(
        &mut self,
        line: &mut Line,
        turns: Turns,
        dice: &mut Dice,
        limit: i64,
    ) -> Option<()> {
        let shop = self.shop;
        let waits = |job: u32| {
            let before = &shop.works[job as usize].before;
            before.iter().any(|(before, _)| line.open.contains(before))
        };
        let mut able = (0..line.open.len()).filter(|&place| !waits(line.open[place]));
        let place = if matches!(turns, Turns::AsBefore) {
            able.min_by_key(|&place| self.began[line.open[place] as usize])?
        } else if dice.below(8) == 0 {
            let count = able.clone().count();
            able.nth(dice.below(count))?
        } else {
            able.max_by_key(|&place| {
                let work = &shop.works[line.open[place] as usize];
                (work.length + work.tail, usize::MAX - place)
            })?
        };
        let job = line.open.remove(place) as usize;
        if let Some((spot, start, end)) = self.table.best(job, line.home, dice) {
            let work = &shop.works[job];
            let costs = shop.order_cost(work.order as usize, end + work.tail);
            if costs > limit || !self.before_wishes(job, end) {
                return None;
            }
            line.costs = line.costs.max(costs);
            self.table.put(job, spot, start, end);
        }
        if line.open.is_empty() {
            line.costs = self.table.price(line.vehicle as usize);
        }
        Some(())
    }
}
