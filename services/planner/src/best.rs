//! The best plan that a search has seen, kept up with little copying.

use crate::construct::Draft;
use crate::model::Ticks;
use crate::shop::Spot;

/// The best plan so far, and the jobs that the search has elsewhere now.
pub(crate) struct Best {
    pub(crate) plan: Draft,
    apart: Vec<u32>,
    known: Vec<bool>,
}

impl Best {
    pub(crate) fn new(plan: Draft) -> Self {
        let known = vec![false; plan.starts.len()];
        Self { plan, apart: Vec::new(), known }
    }

    /// A job may lie elsewhere now.
    pub(crate) fn leave(&mut self, job: u32) {
        if !std::mem::replace(&mut self.known[job as usize], true) {
            self.apart.push(job);
        }
    }

    /// Takes over where the search stands if that costs less; `place` tells where each job lies now.
    pub(crate) fn offer(&mut self, cost: i64, place: impl Fn(usize) -> (Spot, Ticks, Ticks)) {
        if cost >= self.plan.cost {
            return;
        }
        self.plan.cost = cost;
        for job in self.apart.drain(..) {
            let job = job as usize;
            self.known[job] = false;
            (self.plan.spots[job], self.plan.starts[job], self.plan.ends[job]) = place(job);
        }
    }
}
