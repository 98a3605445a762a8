//! What the search tries next.

use crate::anneal::Walk;
use crate::chart::{BAY, Node, Turn, VEHICLE, owner, seat, seats_of};
use crate::model::Ticks;
use crate::shop::{NONE, Spot, index};
use crate::trial::{Ask, Touch};

impl Walk<'_, '_, '_> {
    /// Chooses the jobs to touch.
    pub(crate) fn propose(&mut self) -> Option<()> {
        let order = self.late_order();
        let kind = self.dice.below(100);
        if kind < 75 || self.shop.model.weights.makespan > 0 {
            let (job, blocker) = self.link(order)?;
            let ask = if self.dice.below(2) == 0 { Ask::Keep } else { Ask::Free };
            match (kind, blocker) {
                (0..30, Some(blocker)) => self.pull(job, self.node(blocker).start, ask),
                (30..48, Some(blocker)) => self.push(blocker, self.node(job).start + 1, ask),
                (48..60, _) => {
                    let ask = self.elsewhere(job);
                    self.touch(job, self.node(job).turn, ask);
                }
                (60..68, Some(blocker)) => {
                    let ask = self.elsewhere(blocker);
                    self.touch(blocker, self.node(blocker).turn, ask);
                }
                _ => {
                    let other = self.any_before(job)?;
                    self.pull(job, self.node(other).start, ask);
                }
            }
            return Some(());
        }
        self.shift_orders(order, kind)
    }

    fn node(&self, job: usize) -> &Node {
        &self.trial.chart.nodes[job]
    }

    /// Whole orders: pulled ahead, put off, or changing places with another.
    fn shift_orders(&mut self, order: usize, kind: usize) -> Option<()> {
        let begin = self.begin(order)?;
        let other = self.shop.works[self.any_job()?].order as usize;
        if other == order {
            return None;
        }
        let there = self.begin(other)?;
        match kind {
            75..85 => self.shift(order, there - begin),
            85..90 => {
                let job = self.any_job()?;
                let target = self.node(job).start;
                self.shift(other, target - there);
            }
            _ => {
                self.shift(order, there - begin);
                self.shift(other, begin - there);
            }
        }
        Some(())
    }

    fn shift(&mut self, order: usize, by: Ticks) {
        let shop = self.shop;
        for &job in &shop.jobs_of[order] {
            let job = job as usize;
            let node = self.node(job);
            let to = if node.placed() { node.start + by } else { shop.works[job].release };
            self.touch(job, Turn::ahead_of(to, shop.works[job].rank), Ask::Free);
        }
    }

    fn begin(&self, order: usize) -> Option<Ticks> {
        let jobs = self.shop.jobs_of[order].iter().map(|&job| job as usize);
        jobs.filter(|&job| self.shop.works[job].fixed.is_none() && self.node(job).placed())
            .map(|job| self.node(job).start)
            .min()
    }

    /// An order that costs something, rather one that costs much.
    fn late_order(&mut self) -> usize {
        let ends = &self.trial.ends;
        if self.shop.model.weights.makespan > 0 {
            return (0..ends.len()).max_by_key(|&order| ends[order]).unwrap_or(0);
        }
        let mut chosen = self.orders[0] as usize;
        let mut worst = -1;
        let mut seen = 0;
        for _ in 0..24 {
            let order = self.orders[self.dice.below(self.orders.len())] as usize;
            let costs = self.shop.order_cost(order, ends[order]);
            if costs > worst {
                (chosen, worst) = (order, costs);
            }
            seen += i64::from(costs > 0);
            if seen >= 2 {
                break;
            }
        }
        chosen
    }

    /// A job on the chain that ends the order, with the foreign job that it waits for, if there is one.
    fn link(&mut self, order: usize) -> Option<(usize, Option<usize>)> {
        let jobs = self.shop.jobs_of[order].iter().map(|&job| job as usize);
        let mut job = jobs.max_by_key(|&job| self.node(job).end)?;
        let mut found = None;
        let mut count = 0;
        for _ in 0..64 {
            let movable = self.shop.works[job].fixed.is_none();
            let (own, foreign) = self.holds(job);
            if movable && (foreign.is_some() || own.is_none()) {
                count += 1;
                if self.dice.below(count) == 0 {
                    found = Some((job, foreign));
                }
            }
            let next = match (own, foreign) {
                (Some(own), Some(foreign)) => {
                    let (mine, theirs) = (self.node(own).end, self.node(foreign).end);
                    let own_holds = mine > theirs || (mine == theirs && self.dice.below(2) == 0);
                    if own_holds { own } else { foreign }
                }
                (own, foreign) => match own.or(foreign) {
                    Some(next) => next,
                    None => break,
                },
            };
            job = next;
            if self.dice.below(12) == 0 && found.is_some() {
                break;
            }
        }
        found
    }

    /// What a job waits for: the job before it of its vehicle, and the last one before it of its bay, people and equipment.
    fn holds(&self, job: usize) -> (Option<usize>, Option<usize>) {
        let chart = &self.trial.chart;
        let before = |seat: u32| {
            let before = chart.at(seat).before;
            (before != NONE).then(|| owner(before).0)
        };
        let own = before(seat(job, VEHICLE));
        let vehicle = self.shop.works[job].vehicle;
        let foreign = (seats_of(job).skip(BAY).filter_map(before))
            .filter(|&other| self.shop.works[other].vehicle != vehicle)
            .max_by_key(|&other| self.node(other).end);
        (own, foreign)
    }

    fn elsewhere(&mut self, job: usize) -> Ask {
        let work = &self.shop.works[job];
        if work.fixed.is_some() || self.dice.below(3) == 0 {
            return Ask::Free;
        }
        let mut spot: Spot = self.node(job).spot;
        let (bays, people) = (work.bays.len(), work.people.len());
        if bays > 1 && (people == 0 || self.dice.below(2) == 0) {
            spot.bay = work.bays[self.dice.below(bays)];
        } else if people > 0 {
            let number = self.dice.below(people.min(2));
            let able = &work.people[number];
            spot.people[number] = able[self.dice.below(able.len())];
        }
        let zone = self.shop.zone(work.order, spot.bay);
        let works_there = spot
            .people
            .iter()
            .all(|&who| who == NONE || self.shop.works_in[who as usize * self.shop.zones + zone]);
        if works_there && (spot.people[0] == NONE || spot.people[0] != spot.people[1]) {
            Ask::At(spot)
        } else {
            Ask::Free
        }
    }

    fn any_job(&mut self) -> Option<usize> {
        let job = self.movable[self.dice.below(self.movable.len())] as usize;
        self.node(job).placed().then_some(job)
    }

    /// A job some steps before it in one of its rows.
    fn any_before(&mut self, job: usize) -> Option<usize> {
        let seats = seats_of(job);
        let taken = |seat: &u32| self.trial.chart.at(*seat).row != NONE;
        let rows = seats.clone().skip(BAY).filter(taken).count();
        let row = self.dice.below(rows);
        let mut seat = seats_of(job).skip(BAY).filter(taken).nth(row)?;
        let mut found = None;
        for _ in 0..=self.dice.below(6) {
            let before = self.trial.chart.at(seat).before;
            if before == NONE {
                break;
            }
            seat = before;
            found = Some(owner(seat).0);
        }
        found
    }

    fn touch(&mut self, job: usize, turn: Turn, ask: Ask) {
        let job = index(job);
        if self.shop.works[job as usize].fixed.is_none()
            && self.touched.iter().all(|touch| touch.job != job)
        {
            self.touched.push(Touch { job, turn, ask });
        }
    }

    /// Moves a job ahead of that moment, with what must come before it.
    fn pull(&mut self, job: usize, to: Ticks, ask: Ask) {
        let work = &self.shop.works[job];
        self.touch(job, Turn::ahead_of(to, work.rank), ask);
        for &(before, _) in &work.before {
            let node = self.node(before as usize);
            if node.start >= to && node.placed() {
                self.pull(before as usize, to, ask);
            }
        }
    }

    /// Moves a job behind that moment, with what comes after it.
    fn push(&mut self, job: usize, to: Ticks, ask: Ask) {
        let work = &self.shop.works[job];
        self.touch(job, Turn::ahead_of(to, work.rank), ask);
        for &after in &work.after {
            if self.node(after as usize).start < to {
                self.push(after as usize, to, ask);
            }
        }
    }
}
