//! The first valid plan: dispatching.
//!
//! The clock runs over the moments at which something may start. At each, what could start is taken by priority. Apparent
//! tardiness cost (Vepsalainen and Morton 1987, "Priority rules for job shops with weighted tardiness costs") looks ahead by `k` mean
//! lengths of work; no `k` is best everywhere, so several are tried.

use crate::build::{MISSING, State};
use crate::calendar::NEVER;
use crate::model::{JobId, Ticks};
use crate::shop::{Shop, Spot, index};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// In which order work that could start at one moment is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Rule {
    /// Apparent tardiness cost with this look-ahead.
    TardinessCost(f64),
    /// The longest remaining work of the order first.
    LongestTail,
}

/// A plan as the search sees it: a list, and for each job where and when.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    pub(crate) list: Vec<u32>,
    pub(crate) spots: Vec<Spot>,
    pub(crate) starts: Vec<Ticks>,
    pub(crate) ends: Vec<Ticks>,
    pub(crate) cost: i64,
    /// A pinned start that can't be kept, with what comes too late.
    pub(crate) broken: Option<JobId>,
}

impl Draft {
    pub(crate) fn empty(jobs: usize) -> Self {
        Self {
            list: Vec::with_capacity(jobs),
            spots: vec![Spot::NOWHERE; jobs],
            starts: vec![NEVER; jobs],
            ends: vec![NEVER; jobs],
            cost: 0,
            broken: None,
        }
    }

    pub(crate) fn set(&mut self, job: usize, spot: Spot, start: Ticks, end: Ticks) {
        self.list.push(index(job));
        self.spots[job] = spot;
        self.starts[job] = start;
        self.ends[job] = end;
    }
}

/// The best draft of the rules that suit the model's objective.
pub(crate) fn construct(shop: &Shop<'_>) -> Draft {
    let rules: &[Rule] = if shop.model.weights.makespan > 0 {
        &[Rule::LongestTail]
    } else {
        &[1.0, 2.0, 0.5, 4.0, 8.0].map(Rule::TardinessCost)
    };
    let mut best: Option<Draft> = None;
    for &rule in rules {
        let draft = dispatch(shop, rule);
        if draft.broken.is_some() {
            return draft;
        }
        if best.as_ref().is_none_or(|best| draft.cost < best.cost) {
            best = Some(draft);
        }
    }
    best.unwrap_or_else(|| Draft::empty(shop.works.len()))
}

/// Dispatches everything that is not left out.
pub(crate) fn dispatch(shop: &Shop<'_>, rule: Rule) -> Draft {
    let mut floor = Floor::new(shop, rule);
    let mut group = Vec::new();
    while let Some(&Reverse((at, _))) = floor.heap.peek() {
        group.clear();
        while let Some(&Reverse((next, job))) = floor.heap.peek() {
            if next != at {
                break;
            }
            floor.heap.pop();
            group.push((floor.priority(job as usize, at), job));
        }
        // Fixed work first, then by priority.
        group.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        for &(_, job) in &group {
            floor.try_start(job as usize, at);
        }
        if floor.draft.broken.is_some() {
            break;
        }
    }
    let missing = floor.missing();
    floor.draft.cost = floor.state.cost + missing * MISSING;
    floor.draft
}

struct Floor<'s, 'm> {
    shop: &'s Shop<'m>,
    rule: Rule,
    mean: f64,
    state: State,
    draft: Draft,
    waits: Vec<u32>,
    heap: BinaryHeap<Reverse<(Ticks, u32)>>,
    stuck: Vec<u32>,
}

impl<'s, 'm> Floor<'s, 'm> {
    fn new(shop: &'s Shop<'m>, rule: Rule) -> Self {
        let works = &shop.works;
        let total: Ticks = works.iter().map(|work| work.length).sum();
        let mut floor = Self {
            shop,
            rule,
            mean: (real(total) / real(Ticks::from(index(works.len().max(1))))).max(1.0),
            state: State::new(shop),
            draft: Draft::empty(works.len()),
            waits: works.iter().map(|work| index(work.before.len())).collect(),
            heap: BinaryHeap::with_capacity(works.len()),
            stuck: Vec::new(),
        };
        for (job, work) in works.iter().enumerate() {
            match work.fixed {
                Some((start, ..)) => floor.heap.push(Reverse((start, index(job)))),
                None if !work.left_out && floor.waits[job] == 0 => {
                    floor.heap.push(Reverse((work.release, index(job))));
                }
                None => {}
            }
        }
        floor
    }

    fn priority(&self, job: usize, at: Ticks) -> f64 {
        let work = &self.shop.works[job];
        if work.fixed.is_some() {
            return f64::INFINITY;
        }
        let left = work.length + work.tail;
        match self.rule {
            Rule::LongestTail => real(left),
            Rule::TardinessCost(k) => {
                let order = &self.shop.model.orders[work.order as usize];
                let slack = order
                    .promised
                    .map_or(self.mean * 100.0, |promised| real((promised - at - left).max(0)));
                real(order.weight.max(0)) / real(left.max(1)) * (-slack / (k * self.mean)).exp()
            }
        }
    }

    /// When the jobs before it allow it; none while one of them is not placed.
    fn ready(&self, job: usize) -> Option<Ticks> {
        ready(self.shop, &self.draft.ends, job)
    }

    fn try_start(&mut self, job: usize, at: Ticks) {
        let work = &self.shop.works[job];
        if let Some((start, end, spot)) = work.fixed {
            let ready = self.ready(job);
            let known = if work.wish { ready.is_some() } else { true };
            if known
                && self.state.book_fixed(
                    self.shop,
                    job,
                    start,
                    end,
                    spot,
                    ready.unwrap_or(NEVER / -2),
                )
            {
                self.placed(job, spot, start, end);
            } else {
                self.draft.broken = Some(job);
            }
            return;
        }
        if !self.state.admits(self.shop, job) {
            self.stuck.push(index(job));
            return;
        }
        match self.state.choose(self.shop, job, at) {
            Some((spot, start, end)) if start == at => {
                self.state.book(self.shop, job, spot, start, end);
                self.placed(job, spot, start, end);
            }
            Some((_, start, _)) => self.heap.push(Reverse((start, index(job)))),
            None => self.stuck.push(index(job)),
        }
    }

    fn placed(&mut self, job: usize, spot: Spot, start: Ticks, end: Ticks) {
        self.draft.set(job, spot, start, end);
        let work = &self.shop.works[job];
        for &next in &work.after {
            let next = next as usize;
            self.waits[next] -= 1;
            let follower = &self.shop.works[next];
            if self.waits[next] == 0
                && follower.fixed.is_none()
                && !follower.left_out
                && let Some(ready) = self.ready(next)
            {
                self.heap.push(Reverse((ready.max(start), index(next))));
            }
        }
        if work.frees || !work.inside.is_empty() || !work.outside.is_empty() {
            self.heap.extend(self.stuck.drain(..).map(|job| Reverse((start, job))));
        }
    }

    fn missing(&self) -> i64 {
        let open = |(job, work): (usize, &crate::shop::Work)| {
            !work.left_out && self.draft.ends[job] >= NEVER
        };
        i64::try_from(self.shop.works.iter().enumerate().filter(|&entry| open(entry)).count())
            .unwrap_or(0)
    }
}

/// When the jobs before it allow it; none while one of them is not placed.
pub(crate) fn ready(shop: &Shop<'_>, ends: &[Ticks], job: usize) -> Option<Ticks> {
    let work = &shop.works[job];
    let mut at = work.release;
    for &(before, wait) in &work.before {
        let end = ends[before as usize];
        if end >= NEVER {
            return None;
        }
        at = at.max(end + wait);
    }
    Some(at)
}

#[expect(clippy::cast_precision_loss, reason = "lengths of time are far below 2^52")]
pub(crate) const fn real(ticks: Ticks) -> f64 {
    ticks as f64
}
