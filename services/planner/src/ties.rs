//! What waits for what: edges, immobile spans, brackets that the edges decide, and the orders and tails that follow from them.

use crate::model::Ticks;
use crate::shop::{Shop, Span, index};

impl Shop<'_> {
    /// Edges, one per pair with the longest wait.
    pub(crate) fn tie(&mut self) {
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
    pub(crate) fn bracket(&mut self) {
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
}
