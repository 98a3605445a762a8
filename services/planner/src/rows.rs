//! The row of each bay of a job shop, as chains of jobs, and the plan that they mean.

use crate::construct::Draft;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::shop::{NONE, Shop, Spot, index};

/// A job as far as it matters here.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    /// The job of its vehicle before it, and the wait between; the one after it.
    pub(crate) before: u32,
    pub(crate) wait: Ticks,
    pub(crate) after: u32,
    pub(crate) release: Ticks,
    /// Bays that can do it, and how long it takes there.
    pub(crate) options: Vec<(u32, Ticks)>,
}

/// A job's place: its bay, how long it takes there, and the job before it in the bay's row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) job: u32,
    pub(crate) bay: u32,
    pub(crate) length: Ticks,
    pub(crate) behind: u32,
}

/// The row of each bay, and the plan that it means.
#[derive(Debug, Clone)]
pub(crate) struct Rows {
    pub(crate) works: Vec<Step>,
    pub(crate) bay: Vec<u32>,
    pub(crate) lengths: Vec<Ticks>,
    /// The neighbours of each job in its bay's row, and the first job of each row.
    pub(crate) before: Vec<u32>,
    pub(crate) next: Vec<u32>,
    pub(crate) first: Vec<u32>,
    pub(crate) heads: Vec<Ticks>,
    pub(crate) tails: Vec<Ticks>,
    /// By job, when its vehicle's earlier job lets it begin, and the least time from its end until everything of its vehicle is done.
    pub(crate) readies: Vec<Ticks>,
    pub(crate) rests: Vec<Ticks>,
    /// The jobs, each after those it waits for.
    pub(crate) sorted: Vec<u32>,
    /// By job, its place among them.
    pub(crate) place: Vec<u32>,
    pub(crate) waits: Vec<u8>,
    pub(crate) length: Ticks,
}

impl Rows {
    /// Reads a draft; none if the shop has more to it than bays and a fixed sequence per vehicle.
    pub(crate) fn new(shop: &Shop<'_>, start: &Draft) -> Option<Self> {
        let model = shop.model;
        let weights = &model.weights;
        let only_end = weights.tardiness == 0 && weights.flow == 0 && weights.change == 0;
        let plain = |work: &crate::shop::Work| {
            work.fixed.is_none()
                && !work.left_out
                && work.people.is_empty()
                && work.equipment.is_empty()
                && work.settle == 0
                && work.bays != [NONE]
        };
        let still = weights.moving == 0 && model.moving == crate::model::Moving::default();
        let open =
            shop.calendars.iter().take(shop.bays).all(|calendar| calendar.windows().len() == 1);
        let spans = model.brackets.is_empty() && model.immobile.is_empty();
        if !only_end || !still || !open || !spans || !shop.works.iter().all(plain) {
            return None;
        }
        let placed = start.starts.iter().all(|&start| start < crate::calendar::NEVER);
        if !placed || model.vehicles.iter().any(|vehicle| vehicle.stands_in.is_some()) {
            return None;
        }
        let works = (0..shop.works.len()).map(|job| step(shop, job)).collect::<Option<Vec<_>>>()?;
        let count = works.len();
        let bay: Vec<u32> = start.spots.iter().map(|spot| spot.bay).collect();
        let mut rows = Self {
            lengths: (0..count).map(|job| shop.works[job].length_in(bay[job])).collect(),
            works,
            bay,
            before: vec![NONE; count],
            next: vec![NONE; count],
            first: vec![NONE; shop.bays],
            heads: vec![0; count],
            tails: vec![0; count],
            readies: vec![0; count],
            rests: vec![0; count],
            sorted: Vec::with_capacity(count),
            place: vec![0; count],
            waits: vec![0; count],
            length: 0,
        };
        let mut list: Vec<u32> = (0..count).map(index).collect();
        list.sort_by_key(|&job| {
            (start.starts[job as usize], start.ends[job as usize], shop.works[job as usize].rank)
        });
        let mut last = vec![NONE; shop.bays];
        for job in list {
            let bay = rows.bay[job as usize] as usize;
            rows.join(job, last[bay]);
            last[bay] = job;
        }
        rows.measure().then_some(rows)
    }

    pub(crate) fn draft(&self, like: &Draft) -> Draft {
        let mut draft = like.clone();
        for job in 0..self.works.len() {
            draft.spots[job] = Spot { bay: self.bay[job], ..Spot::NOWHERE };
            draft.starts[job] = self.heads[job];
            draft.ends[job] = self.end(job);
        }
        draft
    }

    pub(crate) fn end(&self, job: usize) -> Ticks {
        self.heads[job] + self.lengths[job]
    }

    /// When its vehicle's earlier job lets it begin.
    #[inline]
    fn ready(&self, job: usize) -> Ticks {
        let work = &self.works[job];
        match work.before {
            NONE => work.release,
            before => work.release.max(self.end(before as usize) + work.wait),
        }
    }

    /// The least time from its end until everything of its vehicle is done.
    #[inline]
    fn rest(&self, job: usize) -> Ticks {
        match self.works[job].after {
            NONE => 0,
            after => self.works[after as usize].wait + self.onward(after),
        }
    }

    /// The least time from its start to the end of everything.
    #[inline]
    pub(crate) fn onward(&self, job: u32) -> Ticks {
        if job == NONE { 0 } else { self.lengths[job as usize] + self.tails[job as usize] }
    }

    #[inline]
    pub(crate) fn end_of(&self, job: u32) -> Ticks {
        if job == NONE { 0 } else { self.end(job as usize) }
    }

    fn join(&mut self, job: u32, behind: u32) {
        let bay = self.bay[job as usize] as usize;
        let next = if behind == NONE { self.first[bay] } else { self.next[behind as usize] };
        self.before[job as usize] = behind;
        self.next[job as usize] = next;
        match behind {
            NONE => self.first[bay] = job,
            behind => self.next[behind as usize] = job,
        }
        if next != NONE {
            self.before[next as usize] = job;
        }
    }

    fn part(&mut self, job: u32) {
        let (before, next) = (self.before[job as usize], self.next[job as usize]);
        match before {
            NONE => self.first[self.bay[job as usize] as usize] = next,
            before => self.next[before as usize] = next,
        }
        if next != NONE {
            self.before[next as usize] = before;
        }
    }

    pub(crate) fn place_of(&self, job: usize) -> Place {
        Place {
            job: index(job),
            bay: self.bay[job],
            length: self.lengths[job],
            behind: self.before[job],
        }
    }

    pub(crate) fn shift(&mut self, place: &Place) {
        self.part(place.job);
        self.bay[place.job as usize] = place.bay;
        self.lengths[place.job as usize] = place.length;
        self.join(place.job, place.behind);
    }

    /// Works out heads, tails and length; false if the rows contradict the vehicles' sequences.
    pub(crate) fn measure(&mut self) -> bool {
        self.sorted.clear();
        for job in 0..self.works.len() {
            let waits =
                u8::from(self.before[job] != NONE) + u8::from(self.works[job].before != NONE);
            self.waits[job] = waits;
            if waits == 0 {
                self.sorted.push(index(job));
            }
        }
        let mut number = 0;
        while let Some(&job) = self.sorted.get(number) {
            let job = job as usize;
            self.place[job] = index(number);
            number += 1;
            for next in [self.works[job].after, self.next[job]] {
                if next != NONE {
                    self.waits[next as usize] -= 1;
                    if self.waits[next as usize] == 0 {
                        self.sorted.push(next);
                    }
                }
            }
        }
        if number < self.works.len() {
            return false;
        }
        self.set_heads(0);
        self.set_tails(number);
        true
    }

    /// Like [`Rows::measure`], after one job was put elsewhere: mostly it is enough to put it elsewhere among the sorted jobs too.
    pub(crate) fn measure_after(&mut self, moved: u32) -> bool {
        let job = moved as usize;
        let place = |other: u32| self.place[other as usize] as usize;
        let earlier = [self.works[job].before, self.before[job]].into_iter();
        let later = [self.works[job].after, self.next[job]].into_iter();
        let after = earlier.filter(|&other| other != NONE).map(place).max();
        let until = later.filter(|&other| other != NONE).map(place).min();
        let was = place(moved);
        let now = match (after, until) {
            (Some(after), Some(until)) if after >= until => return self.measure(),
            (Some(after), _) if after > was => after,
            (_, Some(until)) if until < was => until,
            _ => was,
        };
        let (low, high) = (was.min(now), was.max(now));
        let between = &mut self.sorted[low..=high];
        if now > was {
            between.rotate_left(1);
        } else {
            between.rotate_right(1);
        }
        for number in low..=high {
            self.place[self.sorted[number] as usize] = index(number);
        }
        self.set_heads(low);
        self.set_tails(high + 1);
        true
    }

    /// Works out the heads of the sorted jobs from one on.
    fn set_heads(&mut self, from: usize) {
        for number in from..self.sorted.len() {
            let job = self.sorted[number] as usize;
            self.readies[job] = self.ready(job);
            self.heads[job] = self.readies[job].max(self.end_of(self.before[job]));
        }
        let ends = self.heads.iter().zip(&self.lengths).map(|(head, length)| head + length);
        self.length = ends.max().unwrap_or(0);
    }

    /// Works out the tails of the sorted jobs up to one.
    fn set_tails(&mut self, until: usize) {
        for number in (0..until).rev() {
            let job = self.sorted[number] as usize;
            self.rests[job] = self.rest(job);
            self.tails[job] = self.rests[job].max(self.onward(self.next[job]));
        }
    }

    /// A longest chain, from its end; where there are several, by chance.
    pub(crate) fn longest_path(&self, dice: &mut Dice) -> Vec<u32> {
        let mut path = Vec::with_capacity(32);
        let mut count = 0;
        let mut job = NONE;
        for last in 0..self.works.len() {
            if self.end(last) == self.length {
                count += 1;
                if dice.below(count) == 0 {
                    job = index(last);
                }
            }
        }
        while job != NONE {
            path.push(job);
            let here = job as usize;
            let (own, foreign) = (self.works[here].before, self.before[here]);
            let holds = |other: u32, wait: Ticks| {
                other != NONE && self.end(other as usize) + wait == self.heads[here]
            };
            job = match (holds(own, self.works[here].wait), holds(foreign, 0)) {
                (true, true) => {
                    if dice.below(2) == 0 {
                        own
                    } else {
                        foreign
                    }
                }
                (true, false) => own,
                (false, true) => foreign,
                (false, false) => NONE,
            };
        }
        path
    }

    /// A step by chance.
    pub(crate) fn stray(&mut self, dice: &mut Dice) {
        let job = dice.below(self.works.len());
        let options = &self.works[job].options;
        let (bay, length) = options[dice.below(options.len())];
        let undo = self.place_of(job);
        self.part(index(job));
        let mut behind = NONE;
        let mut next = self.first[bay as usize];
        while next != NONE && self.heads[next as usize] < self.heads[job] {
            (behind, next) = (next, self.next[next as usize]);
        }
        if dice.below(2) == 0 && behind != NONE {
            behind = self.before[behind as usize];
        }
        (self.bay[job], self.lengths[job]) = (bay, length);
        self.join(index(job), behind);
        if !self.measure() {
            self.shift(&undo);
            self.measure();
        }
    }
}

/// The job, if its vehicle's jobs follow each other in one sequence.
fn step(shop: &Shop<'_>, job: usize) -> Option<Step> {
    let work = &shop.works[job];
    let (before, wait) = match work.before.as_slice() {
        [] => (NONE, 0),
        &[(before, wait)] => (before, wait),
        _ => return None,
    };
    let after = match work.after.as_slice() {
        [] => NONE,
        &[after] => after,
        _ => return None,
    };
    let alone = |other: u32| shop.works[other as usize].vehicle == work.vehicle;
    let one_end = shop.model.orders.len() == shop.model.vehicles.len();
    let firsts = shop.jobs_of[work.order as usize]
        .iter()
        .filter(|&&other| shop.works[other as usize].before.is_empty())
        .count();
    let chained = [before, after].into_iter().all(|other| other == NONE || alone(other));
    let options = work.bays.iter().map(|&bay| (bay, work.length_in(bay))).collect();
    (chained && one_end && firsts == 1).then_some(Step {
        before,
        wait,
        after,
        release: work.release,
        options,
    })
}

#[cfg(test)]
mod tests {
    use super::Rows;
    use crate::construct::construct;
    use crate::dice::Dice;
    use crate::screen::screen;
    use crate::shop::NONE;
    use crate::yardstick::job_shop::JobShop;

    /// Three machines, six jobs of four operations that two machines can do.
    fn text() -> String {
        let operation = |number: usize| {
            let (one, length) = (number % 3, 2 + number * 5 % 7);
            format!(" 2 {one} {length} {} {}", (one + 1) % 3, length + 2)
        };
        let job = |job: usize| {
            format!(
                "4{}\n",
                (0..4).map(|step| operation(job * 5 + step)).collect::<Vec<_>>().concat()
            )
        };
        format!("6 3\n{}", (0..6).map(job).collect::<Vec<_>>().concat())
    }

    #[test]
    fn after_a_move_the_plan_is_what_a_measure_from_nothing_gives() -> Result<(), String> {
        let model = JobShop::read(&text()).map_err(|error| error.to_string())?.model();
        let (shop, _) = screen(&model, &[]);
        let mut rows = Rows::new(&shop, &construct(&shop)).ok_or("a plain job shop")?;
        let mut dice = Dice::new(7);
        let (mut done, mut refused) = (0, 0);
        for _ in 0..5_000 {
            let job = dice.below(rows.works.len());
            let undo = rows.place_of(job);
            let options = &rows.works[job].options;
            let (bay, length) = options[dice.below(options.len())];
            let others: Vec<u32> = (0..24)
                .filter(|&other| other as usize != job && rows.bay[other as usize] == bay)
                .chain([NONE])
                .collect();
            let behind = others[dice.below(others.len())];
            rows.shift(&super::Place { bay, length, behind, ..undo });
            let mut anew = rows.clone();
            let holds = rows.measure_after(undo.job);
            assert_eq!(holds, anew.measure());
            if holds {
                done += 1;
                assert_eq!(
                    (&rows.heads, &rows.tails, &rows.readies, &rows.rests, rows.length),
                    (&anew.heads, &anew.tails, &anew.readies, &anew.rests, anew.length)
                );
            } else {
                refused += 1;
                rows.shift(&undo);
                assert!(rows.measure());
            }
        }
        assert!(done > 500 && refused > 500, "{done} done, {refused} refused");
        Ok(())
    }
}
