//! The search: annealing over lists, one built plan per candidate.

use crate::build::{MISSING, State};
use crate::calendar::NEVER;
use crate::construct::{Draft, real};
use crate::dice::Dice;
use crate::model::Ticks;
use crate::outcome::Spent;
use crate::shop::{NONE, Shop, Spot, index};

/// A walk through the plans of a shop.
pub(crate) struct Walk<'s, 'm> {
    pub(crate) shop: &'s Shop<'m>,
    pub(crate) dice: Dice,
    /// The plan the walk stands at.
    pub(crate) now: Draft,
    /// Place of each job in its list.
    pub(crate) place: Vec<u32>,
    /// Jobs that may not begin before the plan in force has them.
    hold: Vec<bool>,
    /// The shop before every `stride`-th job of the list.
    steps: Vec<State>,
    stride: usize,
    state: State,
    /// The candidate: its list, and what it asks of the jobs it touches.
    pub(crate) list: Vec<u32>,
    pub(crate) touched: Vec<(u32, Ask)>,
    asks: Vec<(u32, Ask)>,
    spots: Vec<Spot>,
    starts: Vec<Ticks>,
    ends: Vec<Ticks>,
    stamp: Vec<u32>,
    round: u32,
    /// Jobs by order, and those that may move.
    pub(crate) jobs_of: Vec<Vec<u32>>,
    pub(crate) orders: Vec<u32>,
    pub(crate) rank: Vec<u32>,
    pub(crate) moved: Vec<(Ticks, u32, u32)>,
}

/// What a candidate asks for a job it touches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ask {
    /// Its bay and people as they are.
    Keep,
    /// Whatever is best when its turn comes.
    Free,
    /// These.
    At(Spot),
}

impl<'s, 'm> Walk<'s, 'm> {
    pub(crate) fn new(shop: &'s Shop<'m>, mut start: Draft, seed: u64) -> Self {
        let jobs = shop.works.len();
        let mut listed = vec![false; jobs];
        for &job in &start.list {
            listed[job as usize] = true;
        }
        let sorted = shop.sorted();
        let mut rank = vec![0; jobs];
        for (number, &job) in sorted.iter().enumerate() {
            rank[job as usize] = index(number);
            if !listed[job as usize] && !shop.works[job as usize].left_out {
                start.list.push(job);
            }
        }
        let stride = if start.list.len() < 300 { 16 } else { 32 };
        let mut jobs_of = vec![Vec::new(); shop.model.orders.len()];
        for &job in &start.list {
            jobs_of[shop.works[job as usize].order as usize].push(job);
        }
        let orders =
            (0..jobs_of.len()).filter(|&order| !jobs_of[order].is_empty()).map(index).collect();
        let state = State::new(shop);
        let hold = (0..jobs)
            .map(|job| {
                shop.model
                    .in_force
                    .get(job)
                    .and_then(Option::as_ref)
                    .is_some_and(|before| before.start == start.starts[job])
            })
            .collect();
        let mut walk = Self {
            shop,
            dice: Dice::new(seed),
            place: vec![NONE; jobs],
            hold,
            steps: vec![state.clone(); start.list.len() / stride + 1],
            stride,
            state,
            list: start.list.clone(),
            touched: Vec::new(),
            asks: vec![(0, Ask::Keep); jobs],
            spots: start.spots.clone(),
            starts: start.starts.clone(),
            ends: start.ends.clone(),
            stamp: vec![0; jobs],
            round: 0,
            jobs_of,
            orders,
            rank,
            moved: Vec::new(),
            now: start,
        };
        walk.touched.clear();
        for (number, &job) in walk.now.list.iter().enumerate() {
            walk.place[job as usize] = index(number);
        }
        let before = walk.now.clone();
        walk.adopt(0);
        if walk.now.cost > before.cost {
            // The list could not repeat the draft exactly (it never should cost more): stay with what was given.
            walk.now.cost = walk.now.cost.min(MISSING * 1024);
        }
        walk
    }

    /// Walks until the budget is spent; gives the best plan seen.
    pub(crate) fn run(
        &mut self,
        iterations: Option<u64>,
        heat: (f64, f64),
        spent: Spent<'_>,
    ) -> Draft {
        let mut best = self.now.clone();
        let mut count = 0_u64;
        let mut temperature = heat.0;
        loop {
            if count.is_multiple_of(64) {
                let clock = spent();
                let part = iterations.map_or(clock, |limit| ratio(count, limit));
                if part >= 1.0 || clock >= 1.0 || (best.cost == 0) {
                    return best;
                }
                temperature = heat.0 * (heat.1 / heat.0).powf(part);
            }
            count += 1;
            let Some(first) = self.propose() else { continue };
            let limit = self.now.cost + slack(-temperature * self.dice.unit().ln());
            self.round += 1;
            for &(job, ask) in &self.touched {
                self.asks[job as usize] = (self.round, ask);
            }
            if self.evaluate(first, limit) {
                for &(job, _) in &self.touched {
                    self.hold[job as usize] = false;
                }
                self.adopt(first);
                if self.now.cost < best.cost {
                    best.clone_from(&self.now);
                }
            }
        }
    }

    /// Builds the candidate from its first changed place on; false as soon as it costs more than the limit or breaks a rule.
    fn evaluate(&mut self, first: usize, limit: i64) -> bool {
        let block = first / self.stride;
        self.state.copy_from(&self.steps[block]);
        for place in block * self.stride..self.list.len() {
            let job = self.list[place] as usize;
            if place < first {
                book(&mut self.state, self.shop, &self.now, job);
                continue;
            }
            let work = &self.shop.works[job];
            let mut ready = work.release;
            for &(before, wait) in &work.before {
                let before = before as usize;
                let end = if self.stamp[before] == self.round {
                    self.ends[before]
                } else if (self.place[before] as usize) < first {
                    self.now.ends[before]
                } else if self.place[before] == NONE {
                    NEVER
                } else {
                    return false;
                };
                ready = ready.max(end + wait);
            }
            self.stamp[job] = self.round;
            if let Some((start, end, spot)) = work.fixed {
                if !self.state.book_fixed(self.shop, job, start, end, spot, ready) {
                    return false;
                }
                (self.starts[job], self.ends[job], self.spots[job]) = (start, end, spot);
                continue;
            }
            let asked = self.asks[job];
            let ask = if asked.0 == self.round { asked.1 } else { Ask::Keep };
            if self.hold[job]
                && asked.0 != self.round
                && let Some(Some(before)) = self.shop.model.in_force.get(job)
            {
                ready = ready.max(before.start);
            }
            let found = if ready >= NEVER || !self.state.admits(self.shop, job) {
                None
            } else {
                let spot = match ask {
                    Ask::Keep => self.now.spots[job],
                    Ask::At(spot) => spot,
                    Ask::Free => Spot::NOWHERE,
                };
                if ask == Ask::Free || self.now.starts[job] >= NEVER {
                    self.state.choose(self.shop, job, ready)
                } else {
                    let (start, end) = self.state.earliest(self.shop, job, spot, ready);
                    (start < NEVER).then_some((spot, start, end))
                }
            };
            if let Some((spot, start, end)) = found {
                self.state.book(self.shop, job, spot, start, end);
                (self.starts[job], self.ends[job], self.spots[job]) = (start, end, spot);
            } else {
                self.state.cost += MISSING;
                (self.starts[job], self.ends[job]) = (NEVER, NEVER);
                self.spots[job] = self.now.spots[job];
            }
            if self.state.cost > limit {
                return false;
            }
        }
        true
    }

    /// Makes the candidate the plan the walk stands at, its list sorted by start from the first changed place on.
    fn adopt(&mut self, first: usize) {
        let (shop, stride) = (self.shop, self.stride);
        for &job in &self.list[first..] {
            let job = job as usize;
            self.now.spots[job] = self.spots[job];
            self.now.starts[job] = self.starts[job];
            self.now.ends[job] = self.ends[job];
        }
        self.now.list[first..].copy_from_slice(&self.list[first..]);
        let starts = &self.now.starts;
        self.now.list.sort_by_key(|&job| starts[job as usize]);
        let changed = self
            .now
            .list
            .iter()
            .enumerate()
            .position(|(place, &job)| self.place[job as usize] as usize != place);
        let first = first.min(changed.unwrap_or(first));
        let block = first / stride;
        self.state.copy_from(&self.steps[block]);
        for place in block * stride..self.now.list.len() {
            if place % stride == 0 {
                self.steps[place / stride].copy_from(&self.state);
            }
            let job = self.now.list[place] as usize;
            self.place[job] = index(place);
            if place >= first && shop.works[job].fixed.is_none() && self.now.starts[job] < NEVER {
                let mut ready = crate::construct::ready(shop, &self.now.ends, job).unwrap_or(NEVER);
                if self.hold[job]
                    && let Some(Some(before)) = shop.model.in_force.get(job)
                {
                    ready = ready.max(before.start);
                }
                let (start, end) = self.state.earliest(shop, job, self.now.spots[job], ready);
                if start < NEVER {
                    self.now.starts[job] = start;
                    self.now.ends[job] = end;
                }
            }
            book(&mut self.state, shop, &self.now, job);
        }
        self.now.cost = self.state.cost;
        self.list.copy_from_slice(&self.now.list);
    }
}

/// Books a job as the draft has it.
fn book(state: &mut State, shop: &Shop<'_>, draft: &Draft, job: usize) {
    match shop.works[job].fixed {
        Some((start, end, spot)) => {
            state.book_fixed(shop, job, start, end, spot, NEVER / -2);
        }
        None if draft.starts[job] < NEVER => {
            state.book(shop, job, draft.spots[job], draft.starts[job], draft.ends[job]);
        }
        None => state.cost += MISSING,
    }
}

#[expect(clippy::cast_possible_truncation, reason = "far below 2^52")]
fn slack(value: f64) -> i64 {
    value as i64
}

#[expect(clippy::cast_precision_loss, reason = "far below 2^52")]
fn ratio(count: u64, limit: u64) -> f64 {
    count as f64 / limit.max(1) as f64
}

/// First and last temperature that suit the model: a part of what a mean length of work late costs.
pub(crate) fn heat(shop: &Shop<'_>) -> (f64, f64) {
    let model = shop.model;
    let works = real(Ticks::from(index(shop.works.len().max(1))));
    let length = real(shop.works.iter().map(|work| work.length).sum::<Ticks>()) / works;
    if model.weights.makespan > 0 {
        return (
            0.25 * length * real(model.weights.makespan),
            0.02 * length * real(model.weights.makespan),
        );
    }
    let orders = real(Ticks::from(index(model.orders.len().max(1))));
    let weight = real(model.orders.iter().map(|order| order.weight).sum::<i64>()) / orders;
    let unit =
        (length * weight * real(model.weights.tardiness.max(model.weights.flow).max(1))).max(1.0);
    (unit, 0.04 * unit)
}
