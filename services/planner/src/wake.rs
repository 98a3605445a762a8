//! Whom a change reaches: jobs that are looked at again because what they wait for, follow in a row or are bracketed with has changed.

use crate::chart::{BAY, Node, Seat, Turn, VEHICLE, owner};
use crate::model::Ticks;
use crate::shop::{NONE, index};
use crate::trial::Trial;

impl Trial<'_, '_> {
    pub(crate) fn mark(&mut self, job: usize) {
        let order = self.shop.works[job].order;
        if !std::mem::replace(&mut self.marked[order as usize], true) {
            self.orders.push((order, self.ends[order as usize]));
        }
    }

    pub(crate) fn wake(&mut self, job: u32) {
        if self.shop.works[job as usize].left_out {
            return;
        }
        let entry = (self.chart.nodes[job as usize].turn, job);
        let mut place = self.queue.len();
        while place > 0 && self.queue[place - 1] < entry {
            place -= 1;
        }
        if place == 0 || self.queue[place - 1] != entry {
            self.queue.insert(place, entry);
        }
    }

    /// The follower in a row that a job left.
    pub(crate) fn wake_left(&mut self, role: usize, was: Seat, left: &Node) {
        if was.next == NONE {
            return;
        }
        if was.before == NONE {
            let (next, _) = owner(was.next);
            self.wake(index(next));
        } else {
            let before = *self.chart.node(was.before);
            self.wake_row(role, was.next, left, &before);
        }
    }

    /// The follower in a row that a job has just entered.
    pub(crate) fn wake_next(&mut self, seat: u32) {
        let place = *self.chart.at(seat);
        if place.row == NONE || place.next == NONE {
            return;
        }
        let (_, role) = owner(seat);
        let node = *self.chart.node(seat);
        if place.before == NONE {
            let (next, _) = owner(place.next);
            self.wake(index(next));
        } else {
            let before = *self.chart.node(place.before);
            self.wake_row(role, place.next, &before, &node);
        }
    }

    /// The follower in a row, if it matters to it that `old` has become `new` before it.
    pub(crate) fn wake_row(&mut self, role: usize, next: u32, old: &Node, new: &Node) {
        let (job, _) = owner(next);
        let node = &self.chart.nodes[job];
        let matters = |was: Ticks, is: Ticks| was != is && (is > node.ready || was >= node.ready);
        let wakes = match role {
            VEHICLE => {
                let way = |car: &crate::chart::Car| {
                    if car.place == node.spot.bay {
                        car.free
                    } else {
                        car.free.max(car.left + self.shop.move_time(car.place, node.spot.bay))
                    }
                };
                (old.car.place, old.car.immobile, old.car.untouched)
                    != (new.car.place, new.car.immobile, new.car.untouched)
                    || matters(way(&old.car), way(&new.car))
                    // On the road it hands on when the vehicle could leave its last bay.
                    || node.spot.bay == NONE && old.car.left != new.car.left
                    || old.car != new.car && self.shop.works[job].fixed.is_some()
            }
            BAY => old.stand.holder != new.stand.holder || matters(old.stand.free, new.stand.free),
            _ => matters(old.end, new.end),
        };
        if wakes {
            self.wake(index(job));
        }
    }

    /// What comes after a job, if its end matters.
    pub(crate) fn wake_after(&mut self, job: usize, old: Ticks, new: Ticks) {
        for &after in &self.shop.works[job].after {
            let node = &self.chart.nodes[after as usize];
            let wait = self.shop.works[after as usize]
                .before
                .iter()
                .find(|(before, _)| *before as usize == job)
                .map_or(0, |(_, wait)| *wait);
            if !node.placed() || new + wait > node.ready || old + wait >= node.ready {
                self.wake(after);
            }
        }
    }

    /// Whether a bracket is open may have changed for its members from that turn on.
    pub(crate) fn wake_brackets(&mut self, job: usize, since: Turn) {
        let work = &self.shop.works[job];
        for &bracket in work.inside.iter().chain(&work.outside) {
            let bracket = &self.shop.brackets[bracket as usize];
            for &other in bracket.inside.iter().chain(std::iter::once(&bracket.outside)) {
                if self.chart.nodes[other as usize].turn > since {
                    self.wake(other);
                }
            }
        }
    }
}
