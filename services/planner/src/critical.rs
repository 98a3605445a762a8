//! Tabu search along the critical path, for shops in which a job takes a bay and nothing else and only the end of everything counts.
//!
//! A job on a longest chain is put elsewhere in its bay's row or into another bay's; what that comes to is estimated from heads (the earliest start) and
//! tails (the least time from its end to the end of everything), as Dell'Amico and Trubian 1993, "Applying tabu search to the job-shop scheduling
//! problem", and Mastrolilli and Gambardella 2000, "Effective neighbourhood functions for the flexible job shop problem", do.

use crate::budget::Budget;
use crate::construct::Draft;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::shop::{NONE, Shop, Spot, index};
use crate::trial::Trial;

/// Searches from a draft; none if the shop has more to it than bays.
pub(crate) fn search(
    shop: &Shop<'_>,
    start: &Draft,
    dice: &mut Dice,
    mut budget: Budget<'_>,
) -> Option<Draft> {
    let mut rows = Rows::new(shop, start)?;
    let mut best = rows.clone();
    let mut banned = vec![0_u64; rows.works.len() * shop.bays];
    // After so many steps without a better plan it goes back to the best one and starts off another way.
    let patience = rows.works.len().pow(2) / 20 + 100;
    let (mut step, mut since) = (0, 0);
    while budget.goes_on() {
        step += 1;
        since += 1;
        if since > patience {
            since = 0;
            rows.clone_from(&best);
            for _ in 0..2 + dice.below(4) {
                rows.stray(dice);
            }
        }
        let path = rows.longest_path(dice);
        let Some(choice) = rows.best_move(&path, &banned, step, best.length, dice) else {
            rows.stray(dice);
            continue;
        };
        let job = choice.job as usize;
        let ban = 10 + dice.below(path.len()) + path.len() * 4 / 5;
        banned[job * shop.bays + rows.bay[job] as usize] = step + ban as u64;
        let undo = rows.place_of(job);
        rows.shift(&choice);
        if !rows.measure() {
            rows.shift(&undo);
            rows.measure();
            continue;
        }
        if rows.length < best.length {
            best.clone_from(&rows);
            since = 0;
        }
    }
    // The builder has the last word.
    Some(Trial::new(shop, &best.draft(start)).draft())
}

/// A job as far as it matters here.
#[derive(Debug, Clone)]
struct Step {
    /// The job of its vehicle before it, and the wait between; the one after it.
    before: u32,
    wait: Ticks,
    after: u32,
    release: Ticks,
    /// Bays that can do it, and how long it takes there.
    options: Vec<(u32, Ticks)>,
}

/// A job's place: its bay, how long it takes there, and the job before it in the bay's row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    job: u32,
    bay: u32,
    length: Ticks,
    behind: u32,
}

/// The row of each bay, and the plan that it means.
#[derive(Debug, Clone)]
struct Rows {
    works: Vec<Step>,
    bay: Vec<u32>,
    lengths: Vec<Ticks>,
    /// The neighbours of each job in its bay's row, and the first job of each row.
    before: Vec<u32>,
    next: Vec<u32>,
    first: Vec<u32>,
    heads: Vec<Ticks>,
    tails: Vec<Ticks>,
    /// The jobs, each after those it waits for.
    sorted: Vec<u32>,
    waits: Vec<u8>,
    length: Ticks,
}

impl Rows {
    /// Reads a draft; none if the shop has more to it than bays and a fixed sequence per vehicle.
    fn new(shop: &Shop<'_>, start: &Draft) -> Option<Self> {
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
            sorted: Vec::with_capacity(count),
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

    fn draft(&self, like: &Draft) -> Draft {
        let mut draft = like.clone();
        for job in 0..self.works.len() {
            draft.spots[job] = Spot { bay: self.bay[job], ..Spot::NOWHERE };
            draft.starts[job] = self.heads[job];
            draft.ends[job] = self.end(job);
        }
        draft
    }

    fn end(&self, job: usize) -> Ticks {
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
    fn onward(&self, job: u32) -> Ticks {
        if job == NONE { 0 } else { self.lengths[job as usize] + self.tails[job as usize] }
    }

    #[inline]
    fn end_of(&self, job: u32) -> Ticks {
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

    fn place_of(&self, job: usize) -> Place {
        Place {
            job: index(job),
            bay: self.bay[job],
            length: self.lengths[job],
            behind: self.before[job],
        }
    }

    fn shift(&mut self, place: &Place) {
        self.part(place.job);
        self.bay[place.job as usize] = place.bay;
        self.lengths[place.job as usize] = place.length;
        self.join(place.job, place.behind);
    }

    /// Works out heads, tails and length; false if the rows contradict the vehicles' sequences.
    fn measure(&mut self) -> bool {
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
            number += 1;
            let job = job as usize;
            self.heads[job] = self.ready(job).max(self.end_of(self.before[job]));
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
        self.length = 0;
        for number in (0..number).rev() {
            let job = self.sorted[number] as usize;
            self.tails[job] = self.rest(job).max(self.onward(self.next[job]));
            self.length = self.length.max(self.end(job) + self.tails[job]);
        }
        true
    }

    /// A longest chain, from its end; where there are several, by chance.
    fn longest_path(&self, dice: &mut Dice) -> Vec<u32> {
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

    /// The move with the least estimate that is not banned, or is better than anything before.
    fn best_move(
        &self,
        path: &[u32],
        banned: &[u64],
        step: u64,
        best: Ticks,
        dice: &mut Dice,
    ) -> Option<Place> {
        let bays = self.first.len();
        let (mut chosen, mut least, mut count) = (None, Ticks::MAX, 0);
        for &job in path {
            let mut look = |place: Place, estimate: Ticks| {
                let until = banned[job as usize * bays + place.bay as usize];
                if estimate > least || (until > step && estimate >= best) {
                    return;
                }
                count = if estimate < least { 1 } else { count + 1 };
                least = estimate;
                if dice.below(count) == 0 {
                    chosen = Some(place);
                }
            };
            self.look_left(job, &mut look);
            self.look_right(job, &mut look);
            for &(bay, length) in &self.works[job as usize].options {
                if bay != self.bay[job as usize] {
                    self.look_into(job, bay, length, &mut look);
                }
            }
        }
        chosen
    }

    /// Whether a job of a row may come after the moved one: nothing that the moved one waits for waits for it.
    fn may_follow(&self, job: u32, other: u32) -> bool {
        let before = self.works[job as usize].before;
        before == NONE || other == NONE || self.heads[before as usize] < self.end(other as usize)
    }

    /// Whether a job of a row may come before the moved one.
    fn may_lead(&self, job: u32, other: u32) -> bool {
        let after = self.works[job as usize].after;
        after == NONE || other == NONE || self.heads[other as usize] < self.end(after as usize)
    }

    /// Places in another bay's row.
    fn look_into(&self, job: u32, bay: u32, length: Ticks, look: &mut impl FnMut(Place, Ticks)) {
        let (ready, rest) = (self.ready(job as usize), self.rest(job as usize));
        let (mut behind, mut next) = (NONE, self.first[bay as usize]);
        loop {
            if !self.may_lead(job, behind) {
                return;
            }
            if self.may_follow(job, next) {
                let head = ready.max(self.end_of(behind));
                let estimate = head + length + rest.max(self.onward(next));
                look(Place { job, bay, length, behind }, estimate);
            }
            if next == NONE {
                return;
            }
            (behind, next) = (next, self.next[next as usize]);
        }
    }

    /// Earlier places in its own row.
    fn look_left(&self, job: u32, look: &mut impl FnMut(Place, Ticks)) {
        let here = job as usize;
        let (bay, length) = (self.bay[here], self.lengths[here]);
        let mut other = self.before[here];
        let mut passed = 0;
        while other != NONE && self.may_follow(job, other) && passed < REACH {
            passed += 1;
            let behind = self.before[other as usize];
            // Heads from the new place on, as those that are passed wait for the job.
            let head = self.ready(here).max(self.end_of(behind));
            let mut end = head + length;
            let mut longest = 0;
            let mut between = [(NONE, 0); REACH];
            let mut there = other;
            for slot in between.iter_mut().take(passed) {
                let start = end.max(self.ready(there as usize));
                *slot = (there, start);
                end = start + self.lengths[there as usize];
                there = self.next[there as usize];
            }
            let mut tail = self.onward(self.next[here]);
            for &(there, start) in between[..passed].iter().rev() {
                tail = self.lengths[there as usize] + tail.max(self.rest(there as usize));
                longest = longest.max(start + tail);
            }
            longest = longest.max(head + length + tail.max(self.rest(here)));
            look(Place { job, bay, length, behind }, longest);
            other = behind;
        }
    }

    /// Later places in its own row.
    fn look_right(&self, job: u32, look: &mut impl FnMut(Place, Ticks)) {
        let here = job as usize;
        let (bay, length) = (self.bay[here], self.lengths[here]);
        let mut end = self.end_of(self.before[here]);
        let mut between = [(NONE, 0); REACH];
        let mut other = self.next[here];
        let mut passed = 0;
        while other != NONE && self.may_lead(job, other) && passed < REACH {
            let start = end.max(self.ready(other as usize));
            between[passed] = (other, start);
            end = start + self.lengths[other as usize];
            passed += 1;
            let next = self.next[other as usize];
            let head = end.max(self.ready(here));
            let mut tail = length + self.rest(here).max(self.onward(next));
            let mut longest = head + tail;
            for &(there, start) in between[..passed].iter().rev() {
                tail = self.lengths[there as usize] + tail.max(self.rest(there as usize));
                longest = longest.max(start + tail);
            }
            look(Place { job, bay, length, behind: other }, longest);
            other = next;
        }
    }

    /// A step by chance.
    fn stray(&mut self, dice: &mut Dice) {
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

/// No job passes more than so many others in its row at once.
const REACH: usize = 12;

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
