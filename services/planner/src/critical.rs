//! Tabu search along the critical path, for shops in which a job takes a bay and nothing else and only the end of everything counts.
//!
//! A job on a longest chain is put elsewhere in its bay's row or into another bay's; what that comes to is estimated from heads (the earliest start) and
//! tails (the least time from its end to the end of everything), as Dell'Amico and Trubian 1993, "Applying tabu search to the job-shop scheduling
//! problem", and Mastrolilli and Gambardella 2000, "Effective neighbourhood functions for the flexible job shop problem", do.

use crate::budget::Budget;
use crate::construct::Draft;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::rows::{Place, Rows};
use crate::shop::{NONE, Shop};
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
        if !rows.measure_after(choice.job) {
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

impl Rows {
    /// The move with the least estimate that is not banned, or is better than anything before.
    fn best_move(
        &self,
        path: &[u32],
        banned: &[u64],
        step: u64,
        best: Ticks,
        dice: &mut Dice,
    ) -> Option<Place> {
        let mut choice =
            Choice { banned, step, best, dice, least: Ticks::MAX, count: 0, place: None };
        for &job in path {
            self.look_left(job, &mut choice);
            self.look_right(job, &mut choice);
            for &(bay, length) in &self.works[job as usize].options {
                if bay != self.bay[job as usize] {
                    self.look_into(job, bay, length, &mut choice);
                }
            }
        }
        choice.place
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
    fn look_into(&self, job: u32, bay: u32, length: Ticks, choice: &mut Choice<'_>) {
        let (ready, rest) = (self.readies[job as usize], self.rests[job as usize]);
        let banned = choice.bans(job, bay, self.first.len());
        let (mut behind, mut next) = (NONE, self.first[bay as usize]);
        loop {
            let head = ready.max(self.end_of(behind));
            // Further on it begins later still.
            if head + length + rest > choice.least || !self.may_lead(job, behind) {
                return;
            }
            let estimate = head + length + rest.max(self.onward(next));
            if estimate <= choice.least && self.may_follow(job, next) {
                choice.offer(Place { job, bay, length, behind }, estimate, banned);
            }
            if next == NONE {
                return;
            }
            (behind, next) = (next, self.next[next as usize]);
        }
    }

    /// Earlier places in its own row.
    fn look_left(&self, job: u32, choice: &mut Choice<'_>) {
        let here = job as usize;
        let (bay, length) = (self.bay[here], self.lengths[here]);
        let (ready, rest) = (self.readies[here], self.rests[here]);
        let banned = choice.bans(job, bay, self.first.len());
        let mut other = self.before[here];
        let mut between = [NONE; REACH];
        let mut starts = [0; REACH];
        let mut passed = 0;
        while other != NONE && self.may_follow(job, other) && passed < REACH {
            between[passed] = other;
            passed += 1;
            let behind = self.before[other as usize];
            other = behind;
            // Heads from the new place on, as those that are passed wait for the job.
            let head = ready.max(self.end_of(behind));
            let mut longest = head + length + rest;
            if longest > choice.least {
                continue;
            }
            let mut end = head + length;
            for number in (0..passed).rev() {
                let there = between[number] as usize;
                starts[number] = end.max(self.readies[there]);
                end = starts[number] + self.lengths[there];
            }
            let mut tail = self.onward(self.next[here]);
            for number in 0..passed {
                let there = between[number] as usize;
                tail = self.lengths[there] + tail.max(self.rests[there]);
                longest = longest.max(starts[number] + tail);
            }
            longest = longest.max(head + length + tail);
            choice.offer(Place { job, bay, length, behind }, longest, banned);
        }
    }

    /// Later places in its own row.
    fn look_right(&self, job: u32, choice: &mut Choice<'_>) {
        let here = job as usize;
        let (bay, length) = (self.bay[here], self.lengths[here]);
        let (ready, rest) = (self.readies[here], self.rests[here]);
        let banned = choice.bans(job, bay, self.first.len());
        let mut end = self.end_of(self.before[here]);
        let mut between = [(NONE, 0); REACH];
        let mut other = self.next[here];
        let mut passed = 0;
        while other != NONE && self.may_lead(job, other) && passed < REACH {
            let start = end.max(self.readies[other as usize]);
            between[passed] = (other, start);
            end = start + self.lengths[other as usize];
            passed += 1;
            let next = self.next[other as usize];
            let head = end.max(ready);
            // Further on it begins later still.
            if head + length + rest > choice.least {
                return;
            }
            let mut tail = length + rest.max(self.onward(next));
            let mut longest = head + tail;
            for &(there, start) in between[..passed].iter().rev() {
                tail = self.lengths[there as usize] + tail.max(self.rests[there as usize]);
                longest = longest.max(start + tail);
            }
            choice.offer(Place { job, bay, length, behind: other }, longest, banned);
            other = next;
        }
    }
}

/// The best move so far; among equals, by chance.
struct Choice<'a> {
    banned: &'a [u64],
    step: u64,
    /// The shortest plan so far: what is estimated shorter may be done though it is banned.
    best: Ticks,
    dice: &'a mut Dice,
    least: Ticks,
    count: usize,
    place: Option<Place>,
}

impl Choice<'_> {
    fn bans(&self, job: u32, bay: u32, bays: usize) -> bool {
        self.banned[job as usize * bays + bay as usize] > self.step
    }

    fn offer(&mut self, place: Place, estimate: Ticks, banned: bool) {
        if estimate > self.least || (banned && estimate >= self.best) {
            return;
        }
        self.count = if estimate < self.least { 1 } else { self.count + 1 };
        self.least = estimate;
        if self.dice.below(self.count) == 0 {
            self.place = Some(place);
        }
    }
}

/// No job passes more than so many others in its row at once.
const REACH: usize = 12;
