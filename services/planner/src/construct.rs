//! The first valid plan: dispatching.
//!
//! The clock runs over the moments at which something may start. At each, what could start is taken by priority. Apparent
//! tardiness cost (Vepsalainen and Morton 1987, "Priority rules for job shops with weighted tardiness costs") looks ahead by `k` mean
//! lengths of work; no `k` is best everywhere, so several are tried.

use crate::build::MISSING;
use crate::calendar::NEVER;
use crate::chart::{Chart, Turn};
use crate::model::{JobId, Ticks};
use crate::outcome::Spent;
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

/// A plan: for each job where and when.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
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
            spots: vec![Spot::NOWHERE; jobs],
            starts: vec![NEVER; jobs],
            ends: vec![NEVER; jobs],
            cost: 0,
            broken: None,
        }
    }

    pub(crate) fn set(&mut self, job: usize, spot: Spot, start: Ticks, end: Ticks) {
        self.spots[job] = spot;
        self.starts[job] = start;
        self.ends[job] = end;
    }
}

/// Look-aheads in mean lengths of work; the first is the one that is best most often.
const LOOK_AHEADS: [f64; 5] = [1.0, 2.0, 0.5, 4.0, 8.0];

/// A first draft by the rule that suits the model's objective.
pub(crate) fn construct(shop: &Shop<'_>) -> Draft {
    if shop.model.weights.makespan > 0 {
        dispatch(shop, Rule::LongestTail)
    } else {
        dispatch(shop, Rule::TardinessCost(LOOK_AHEADS[0]))
    }
}

/// The best of the draft and those of the other rules, as far as there is time.
pub(crate) fn best_of_rules(shop: &Shop<'_>, first: Draft, spent: Spent<'_>) -> Draft {
    let mut best = first;
    if shop.model.weights.makespan == 0 {
        for &look_ahead in &LOOK_AHEADS[1..] {
            if spent() >= 1.0 {
                break;
            }
            let draft = dispatch(shop, Rule::TardinessCost(look_ahead));
            if draft.broken.is_none() && draft.cost < best.cost {
                best = draft;
            }
        }
    }
    best
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
            let soonest = floor.soonest(job as usize, at);
            if soonest > at {
                floor.heap.push(Reverse((soonest, job)));
            } else {
                group.push((floor.priority(job as usize, at), job));
            }
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
    floor.draft.cost = cost(shop, &floor.chart);
    floor.draft
}

/// What is on the chart costs that much; what is not on it counts as missing.
pub(crate) fn cost(shop: &Shop<'_>, chart: &Chart) -> i64 {
    let (mut cost, mut last) = (0, 0);
    for (number, jobs) in shop.jobs_of.iter().enumerate() {
        let mut end = shop.model.orders[number].release;
        for &job in jobs {
            let node = &chart.nodes[job as usize];
            if node.placed() {
                cost += node.cost;
                end = end.max(node.end);
            } else {
                cost += MISSING;
            }
        }
        cost += shop.order_cost(number, end);
        last = last.max(end);
    }
    cost + shop.model.weights.makespan * last
}

struct Floor<'s, 'm> {
    shop: &'s Shop<'m>,
    rule: Rule,
    mean: f64,
    chart: Chart,
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
            chart: Chart::new(shop),
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

    /// No sooner can it start, since before then nobody who can do it is free, or no bay.
    fn soonest(&self, job: usize, at: Ticks) -> Ticks {
        if self.shop.works[job].fixed.is_some() {
            at
        } else {
            self.chart.soonest(self.shop, job, at)
        }
    }

    /// When the jobs before it allow it; none while one of them is not placed.
    fn ready(&self, job: usize) -> Option<Ticks> {
        ready(self.shop, &self.draft.ends, job)
    }

    fn try_start(&mut self, job: usize, at: Ticks) {
        let work = &self.shop.works[job];
        if let Some((start, end, spot)) = work.fixed {
            if self.chart.book_fixed(self.shop, job, self.ready(job)) {
                self.placed(job, spot, start, end);
            } else {
                self.draft.broken = Some(job);
            }
            return;
        }
        let soonest = self.soonest(job, at);
        if soonest > at {
            self.heap.push(Reverse((soonest, index(job))));
            return;
        }
        self.chart.nodes[job].turn = Turn::LAST;
        if !self.chart.admits(self.shop, job) {
            self.stuck.push(index(job));
            return;
        }
        match self.chart.choose(self.shop, job, at) {
            Some((spot, fit)) if fit.start == at => {
                self.chart.book(self.shop, job, spot, fit);
                self.placed(job, spot, fit.start, fit.end);
            }
            Some((_, fit)) => self.heap.push(Reverse((fit.start, index(job)))),
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
