//! What the search tries next.

use crate::anneal::{Ask, Walk};
use crate::calendar::NEVER;
use crate::model::Ticks;
use crate::shop::{NONE, Spot};

impl Walk<'_, '_> {
    /// Lays out a candidate list; gives its first changed place.
    pub(crate) fn propose(&mut self) -> Option<usize> {
        self.touched.clear();
        self.moved.clear();
        let order = self.late_order();
        let kind = self.dice.below(100);
        if kind < 75 || self.shop.model.weights.makespan > 0 {
            let (job, blocker) = self.link(order)?;
            let ask = if self.dice.below(2) == 0 { Ask::Keep } else { Ask::Free };
            match (kind, blocker) {
                (0..30, Some(blocker)) => self.pull(job, self.now.starts[blocker], ask),
                (30..48, Some(blocker)) => self.push(blocker, self.now.starts[job] + 1, ask),
                (48..60, _) => {
                    let ask = self.elsewhere(job);
                    self.touch(job, self.now.starts[job], ask);
                }
                (60..68, Some(blocker)) => {
                    let ask = self.elsewhere(blocker);
                    self.touch(blocker, self.now.starts[blocker], ask);
                }
                _ => {
                    let other = self.any_before(job)?;
                    self.pull(job, self.now.starts[other], ask);
                }
            }
        } else {
            self.shift_orders(order, kind)?;
        }
        self.lay_out()
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
                let target = self.now.starts[job];
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
        for slot in 0..self.jobs_of[order].len() {
            let job = self.jobs_of[order][slot] as usize;
            if self.now.starts[job] < NEVER {
                self.touch(job, self.now.starts[job] + by, Ask::Free);
            } else {
                self.touch(job, self.shop.works[job].release, Ask::Free);
            }
        }
    }

    fn begin(&self, order: usize) -> Option<Ticks> {
        let jobs = self.jobs_of[order].iter().map(|&job| job as usize);
        jobs.filter(|&job| self.shop.works[job].fixed.is_none())
            .map(|job| self.now.starts[job])
            .filter(|&start| start < NEVER)
            .min()
    }

    /// An order that costs something, rather one that costs much.
    fn late_order(&mut self) -> usize {
        let model = self.shop.model;
        if model.weights.makespan > 0
            && let Some(&last) = self
                .now
                .list
                .iter()
                .filter(|&&job| self.now.ends[job as usize] < NEVER)
                .max_by_key(|&&job| self.now.ends[job as usize])
        {
            return self.shop.works[last as usize].order as usize;
        }
        let mut chosen = self.orders[0] as usize;
        let mut worst = -1;
        let mut seen = 0;
        for _ in 0..24 {
            let order = self.orders[self.dice.below(self.orders.len())] as usize;
            let end = self.jobs_of[order]
                .iter()
                .map(|&job| self.now.ends[job as usize])
                .max()
                .unwrap_or(0);
            let costs = self.shop.order_cost(order, end);
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
        let ends = &self.now.ends;
        let mut job =
            self.jobs_of[order].iter().map(|&job| job as usize).max_by_key(|&job| ends[job])?;
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
                    if self.now.ends[own] > self.now.ends[foreign]
                        || (self.now.ends[own] == self.now.ends[foreign] && self.dice.below(2) == 0)
                    {
                        own
                    } else {
                        foreign
                    }
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

    /// What a job waits for: the last job before it of its vehicle, and the last one of its bay or people.
    fn holds(&self, job: usize) -> (Option<usize>, Option<usize>) {
        let work = &self.shop.works[job];
        let spot = self.now.spots[job];
        let (mut own, mut foreign): (Option<usize>, Option<usize>) = (None, None);
        let mut left = 1 + usize::from(spot.bay != NONE) + work.people.len();
        let (mut bay, mut people) =
            (spot.bay != NONE, [spot.people[0] != NONE, spot.people[1] != NONE]);
        for &other in self.now.list[..self.place[job] as usize].iter().rev() {
            let other = other as usize;
            let there = self.now.spots[other];
            let same = self.shop.works[other].vehicle == work.vehicle;
            let mut shares = false;
            if same && own.is_none() {
                own = Some(other);
                left -= 1;
            }
            if bay && there.bay == spot.bay {
                (bay, shares) = (false, true);
                left -= 1;
            }
            for (open, who) in people.iter_mut().zip(&spot.people) {
                if *open && there.people.contains(who) {
                    (*open, shares) = (false, true);
                    left -= 1;
                }
            }
            if shares
                && !same
                && foreign.is_none_or(|known| self.now.ends[other] > self.now.ends[known])
            {
                foreign = Some(other);
            }
            if left == 0 {
                break;
            }
        }
        (own, foreign)
    }

    fn elsewhere(&mut self, job: usize) -> Ask {
        let work = &self.shop.works[job];
        if work.fixed.is_some() || self.dice.below(3) == 0 {
            return Ask::Free;
        }
        let mut spot: Spot = self.now.spots[job];
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
        let job = self.now.list[self.dice.below(self.now.list.len())] as usize;
        (self.shop.works[job].fixed.is_none() && self.now.starts[job] < NEVER).then_some(job)
    }

    fn any_before(&mut self, job: usize) -> Option<usize> {
        let place = self.place[job] as usize;
        let reach = place.min(60);
        (reach > 0).then(|| self.now.list[place - 1 - self.dice.below(reach)] as usize)
    }

    fn touch(&mut self, job: usize, key: Ticks, ask: Ask) {
        if self.shop.works[job].fixed.is_none()
            && !self.touched.iter().any(|(known, _)| *known as usize == job)
        {
            self.touched.push((crate::shop::index(job), ask));
            self.moved.push((key, self.rank[job], crate::shop::index(job)));
        }
    }

    /// Moves a job ahead of that moment, with what must come before it.
    fn pull(&mut self, job: usize, to: Ticks, ask: Ask) {
        self.touch(job, to, ask);
        for slot in 0..self.shop.works[job].before.len() {
            let before = self.shop.works[job].before[slot].0 as usize;
            if self.now.starts[before] >= to && self.now.starts[before] < NEVER {
                self.pull(before, to, ask);
            }
        }
    }

    /// Moves a job behind that moment, with what comes after it.
    fn push(&mut self, job: usize, to: Ticks, ask: Ask) {
        self.touch(job, to, ask);
        for slot in 0..self.shop.works[job].after.len() {
            let after = self.shop.works[job].after[slot] as usize;
            if self.now.starts[after] < to {
                self.push(after, to, ask);
            }
        }
    }

    /// Takes the moved jobs out of the list and lays them in again by their keys.
    fn lay_out(&mut self) -> Option<usize> {
        if self.moved.is_empty() {
            return None;
        }
        self.moved.sort_unstable();
        let starts = &self.now.starts;
        let old = &self.now.list;
        let spot_of_key = |key: Ticks| old.partition_point(|&job| starts[job as usize] < key);
        let (mut low, mut high) = (old.len(), 0);
        for &(key, _, job) in &self.moved {
            let (there, here) = (spot_of_key(key), self.place[job as usize] as usize);
            low = low.min(there).min(here);
            high = high.max(there).max(here + 1);
        }
        self.list.copy_from_slice(old);
        let mut next = self.moved.iter().peekable();
        let mut write = low;
        for &job in &old[low..high] {
            if self.touched.iter().any(|(moved, _)| *moved == job) {
                continue;
            }
            while let Some(&&(key, _, moved)) = next.peek()
                && key <= starts[job as usize]
            {
                self.list[write] = moved;
                write += 1;
                next.next();
            }
            self.list[write] = job;
            write += 1;
        }
        for &(_, _, moved) in next {
            self.list[write] = moved;
            write += 1;
        }
        Some(low)
    }
}
