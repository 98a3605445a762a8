//! Tries a change of a plan: only the jobs that it reaches are laid in anew, and all of it can be taken back.

use crate::build::MISSING;
use crate::calendar::NEVER;
use crate::chart::{Chart, EVER, Node, Turn, owner, seats_of};
use crate::construct::{Draft, ready};
use crate::model::Ticks;
use crate::shop::{NONE, Shop, Spot, index};

/// What a change asks for a job that it touches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ask {
    /// Its bay and people as they are.
    Keep,
    /// Whatever is best when its turn comes.
    Free,
    /// These.
    At(Spot),
}

/// A job that gets another turn, and where it is to be done then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Touch {
    pub(crate) job: u32,
    pub(crate) turn: Turn,
    pub(crate) ask: Ask,
}

/// A plan that changes step by step.
pub(crate) struct Trial<'s, 'm> {
    pub(crate) shop: &'s Shop<'m>,
    pub(crate) chart: Chart,
    pub(crate) cost: i64,
    /// By order, when its last job ends.
    pub(crate) ends: Vec<Ticks>,
    /// Jobs to look at again, the earliest turn last.
    pub(crate) queue: Vec<(Turn, u32)>,
    asks: Vec<Option<Ask>>,
    /// What was before this trial.
    nodes: Vec<(u32, Node)>,
    pub(crate) orders: Vec<(u32, Ticks)>,
    pub(crate) marked: Vec<bool>,
    before: i64,
    last: Ticks,
}

impl<'s, 'm> Trial<'s, 'm> {
    /// Starts from a draft: each job at its bay and with its people, as early as those before it allow.
    pub(crate) fn new(shop: &'s Shop<'m>, draft: &Draft) -> Self {
        let mut chart = Chart::new(shop);
        let mut list: Vec<(Turn, usize)> = (shop.works.iter().enumerate())
            .filter(|(_, work)| !work.left_out || work.fixed.is_some())
            .map(|(job, work)| (Turn::of(draft.starts[job], draft.ends[job], work.rank), job))
            .collect();
        list.sort_unstable();
        let mut ends = vec![NEVER; shop.works.len()];
        for (turn, job) in list {
            let work = &shop.works[job];
            chart.nodes[job].turn = turn;
            let from = ready(shop, &ends, job);
            if work.fixed.is_some() {
                if chart.book_fixed(shop, job, from) {
                    ends[job] = chart.nodes[job].end;
                }
                continue;
            }
            let planned = shop.model.in_force.get(job).and_then(Option::as_ref);
            chart.nodes[job].hold =
                planned.is_some_and(|planned| planned.start == draft.starts[job]);
            let from = from.filter(|_| draft.starts[job] < NEVER && chart.admits(shop, job));
            let from = from.map(|from| from.max(held(shop, &chart, job)));
            match from.and_then(|from| chart.earliest(shop, job, draft.spots[job], from)) {
                Some(fit) => {
                    chart.book(shop, job, draft.spots[job], fit);
                    ends[job] = fit.end;
                }
                None => miss(&mut chart.nodes[job]),
            }
        }
        for (node, work) in chart.nodes.iter_mut().zip(&shop.works) {
            node.renew_turn(work.rank);
        }
        chart.keep();
        let mut trial = Self {
            shop,
            chart,
            cost: 0,
            ends: Vec::new(),
            queue: Vec::new(),
            asks: vec![None; shop.works.len()],
            nodes: Vec::new(),
            orders: Vec::new(),
            marked: vec![false; shop.model.orders.len()],
            before: 0,
            last: 0,
        };
        trial.ends = (0..shop.jobs_of.len()).map(|order| trial.end(order)).collect();
        trial.last = trial.ends.iter().copied().max().unwrap_or(0);
        trial.cost = trial.total();
        trial
    }

    /// When the order's last job ends.
    fn end(&self, order: usize) -> Ticks {
        let jobs = self.shop.jobs_of[order].iter().map(|&job| &self.chart.nodes[job as usize]);
        let ends = jobs.filter(|node| node.placed()).map(|node| node.end);
        ends.max().map_or(self.shop.model.orders[order].release, |end| {
            end.max(self.shop.model.orders[order].release)
        })
    }

    /// The cost, counted anew.
    pub(crate) fn total(&self) -> i64 {
        let jobs: i64 = self.chart.nodes.iter().map(|node| node.cost).sum();
        let orders = self.ends.iter().enumerate();
        let orders: i64 = orders.map(|(order, &end)| self.shop.order_cost(order, end)).sum();
        jobs + orders + self.shop.model.weights.makespan * self.last
    }

    /// The plan as a draft.
    pub(crate) fn draft(&self) -> Draft {
        let nodes = &self.chart.nodes;
        Draft {
            spots: nodes.iter().map(|node| node.spot).collect(),
            starts: nodes.iter().map(|node| node.start).collect(),
            ends: nodes.iter().map(|node| node.end).collect(),
            cost: self.cost,
            broken: None,
        }
    }

    /// Tries a change; false if it breaks a rule. Either way it must be kept or taken back.
    pub(crate) fn attempt(&mut self, touched: &[Touch]) -> bool {
        self.before = self.cost;
        for touch in touched {
            let job = touch.job as usize;
            self.save(job);
            self.chart.nodes[job].turn = touch.turn;
            self.chart.nodes[job].hold = false;
            self.asks[job] = Some(touch.ask);
        }
        let kept = touched.iter().all(|touch| self.in_order(touch.job as usize));
        if kept {
            for (number, touch) in touched.iter().enumerate() {
                let before = self.nodes[number].1.turn;
                self.unseat(touch.job as usize);
                self.wake(touch.job);
                self.wake_brackets(touch.job as usize, before.min(touch.turn));
            }
        }
        let kept = kept && self.run();
        for touch in touched {
            self.asks[touch.job as usize] = None;
        }
        self.queue.clear();
        kept
    }

    fn run(&mut self) -> bool {
        let mut left = 64 + 4 * self.chart.nodes.len();
        while let Some((_, job)) = self.queue.pop() {
            left -= 1;
            if left == 0 || !self.settle(job as usize) {
                return false;
            }
        }
        for number in 0..self.orders.len() {
            let (order, before) = self.orders[number];
            let order = order as usize;
            let end = self.end(order);
            self.ends[order] = end;
            self.cost += self.shop.order_cost(order, end) - self.shop.order_cost(order, before);
        }
        if self.shop.model.weights.makespan != 0 {
            let last = self.ends.iter().copied().max().unwrap_or(0);
            self.cost += self.shop.model.weights.makespan * (last - self.last);
            self.last = last;
        }
        true
    }

    /// The turns agree with what must come before and after.
    fn in_order(&self, job: usize) -> bool {
        let (work, turn) = (&self.shop.works[job], self.chart.nodes[job].turn);
        let early = |&(other, _): &(u32, Ticks)| self.chart.nodes[other as usize].turn < turn;
        let late = |&other: &u32| self.chart.nodes[other as usize].turn > turn;
        work.before.iter().all(early) && work.after.iter().all(late)
    }

    /// The change stays.
    pub(crate) fn keep(&mut self, mut told: impl FnMut(u32)) {
        self.chart.keep();
        for (job, _) in self.nodes.drain(..) {
            let node = &mut self.chart.nodes[job as usize];
            node.renew_turn(self.shop.works[job as usize].rank);
            told(job);
        }
        for (order, _) in self.orders.drain(..) {
            self.marked[order as usize] = false;
        }
    }

    /// The change is undone.
    pub(crate) fn take_back(&mut self) {
        self.chart.take_back();
        while let Some((job, node)) = self.nodes.pop() {
            let job = job as usize;
            let now = &self.chart.nodes[job];
            let differs = (now.start, now.end, now.spot) != (node.start, node.end, node.spot);
            if differs && now.placed() {
                self.chart.equip(self.shop, job, false);
            }
            self.chart.nodes[job] = node;
            if differs && node.placed() {
                self.chart.equip(self.shop, job, true);
            }
        }
        for (order, end) in self.orders.drain(..) {
            self.marked[order as usize] = false;
            self.ends[order as usize] = end;
        }
        if self.shop.model.weights.makespan != 0 {
            self.last = self.ends.iter().copied().max().unwrap_or(0);
        }
        self.cost = self.before;
    }

    fn save(&mut self, job: usize) {
        self.nodes.push((index(job), self.chart.nodes[job]));
    }

    /// Lays a job in anew; false if the change breaks a rule.
    fn settle(&mut self, job: usize) -> bool {
        let work = &self.shop.works[job];
        let old = self.chart.nodes[job];
        let from = self.from(job);
        if let Some((start, end, spot)) = work.fixed {
            if !self.chart.keeps(self.shop, job, from) {
                return false;
            }
            let fit = crate::build::Fit { ready: start, start, end };
            self.save(job);
            self.renew(job, old, self.chart.outcome(self.shop, job, spot, fit));
            return true;
        }
        if old.placed() {
            self.chart.equip(self.shop, job, false);
        }
        let from = from.filter(|_| self.chart.admits(self.shop, job));
        let from = from.map(|from| from.max(held(self.shop, &self.chart, job)));
        let spot = match self.asks[job].take() {
            _ if !old.placed() => None,
            Some(Ask::Free) => None,
            Some(Ask::At(spot)) => Some(spot),
            Some(Ask::Keep) | None => Some(old.spot),
        };
        let found = from.and_then(|from| match spot {
            Some(spot) => self.chart.earliest(self.shop, job, spot, from).map(|fit| (spot, fit)),
            None => self.chart.choose(self.shop, job, from),
        });
        self.save(job);
        let Some((spot, fit)) = found else {
            self.unseat(job);
            let mut node = old;
            miss(&mut node);
            self.put(job, node);
            if old.placed() {
                self.wake_after(job, old.end, NEVER);
                self.wake_brackets(job, old.turn);
                self.mark(job);
            }
            return true;
        };
        let node = self.chart.outcome(self.shop, job, spot, fit);
        if self.chart.seated(job) {
            self.renew(job, old, node);
        } else {
            self.put(job, node);
            self.chart.seat_all(self.shop, job);
            for seat in seats_of(job) {
                self.wake_next(seat);
            }
            if (old.start, old.end) != (node.start, node.end) {
                self.wake_after(job, old.end, node.end);
                self.mark(job);
            }
            if !old.placed() {
                self.wake_brackets(job, old.turn);
            }
        }
        true
    }

    /// When the jobs before it allow it; none while one of them is not placed.
    fn from(&self, job: usize) -> Option<Ticks> {
        let work = &self.shop.works[job];
        let mut at = work.release;
        for &(before, wait) in &work.before {
            let before = &self.chart.nodes[before as usize];
            if !before.placed() {
                return None;
            }
            at = at.max(before.end + wait);
        }
        Some(at)
    }

    /// Takes the place of a job whose equipment was given back.
    fn put(&mut self, job: usize, node: Node) {
        self.cost += node.cost - self.chart.nodes[job].cost;
        self.chart.nodes[job] = node;
        if node.placed() {
            self.chart.equip(self.shop, job, true);
        }
    }

    /// A job that stays in its rows, at another time.
    fn renew(&mut self, job: usize, old: Node, node: Node) {
        self.put(job, node);
        if (old.start, old.end, old.car, old.stand) == (node.start, node.end, node.car, node.stand)
        {
            return;
        }
        for seat in seats_of(job) {
            let next = self.chart.at(seat).next;
            if next != NONE {
                let (_, role) = owner(seat);
                self.wake_row(role, next, &old, &node);
            }
        }
        if old.end != node.end {
            self.wake_after(job, old.end, node.end);
            self.mark(job);
        }
    }

    /// Takes a job out of its rows.
    fn unseat(&mut self, job: usize) {
        let node = self.chart.nodes[job];
        for seat in seats_of(job) {
            if self.chart.at(seat).row != NONE {
                let was = self.chart.leave(seat);
                let (_, role) = owner(seat);
                self.wake_left(role, was, &node);
            }
        }
    }
}

/// The start in the plan in force, if the job still holds on to it.
fn held(shop: &Shop<'_>, chart: &Chart, job: usize) -> Ticks {
    let planned = shop.model.in_force.get(job).and_then(Option::as_ref);
    planned.filter(|_| chart.nodes[job].hold).map_or(EVER, |planned| planned.start)
}

/// The job is not placed.
fn miss(node: &mut Node) {
    (node.ready, node.start, node.end) = (NEVER, NEVER, NEVER);
    node.cost = MISSING;
}

#[cfg(test)]
mod tests {
    use super::{Ask, Touch, Trial};
    use crate::build::MISSING;
    use crate::chart::Turn;
    use crate::construct::construct;
    use crate::dice::Dice;
    use crate::model::{Bay, Bracket, Duration, Edge, Job, Model, Moving, Order, Ticks, Vehicle};
    use crate::screen::screen;
    use crate::shop::index;

    #[test]
    fn a_change_costs_what_a_count_from_nothing_gives_and_leaves_no_trace_when_taken_back() {
        let model = crate::samples::busy_shop(12);
        let (shop, _) = screen(&model, &[]);
        let mut trial = Trial::new(&shop, &construct(&shop));
        let mut dice = Dice::new(3);
        let (mut kept, mut undone) = (0, 0);
        for _ in 0..2_000 {
            let before = trial.draft();
            let job = dice.below(shop.works.len());
            let at = Ticks::from(index(dice.below(1_500)));
            let turn = Turn::ahead_of(at, shop.works[job].rank);
            let ask = if dice.below(2) == 0 { Ask::Free } else { Ask::Keep };
            let holds = trial.attempt(&[Touch { job: index(job), turn, ask }]);
            if holds && dice.below(2) == 0 {
                trial.keep(|_| {});
                kept += 1;
                let anew = Trial::new(&shop, &trial.draft());
                assert!(anew.cost <= trial.cost, "laid in anew it costs more");
            } else {
                trial.take_back();
                undone += 1;
                let after = trial.draft();
                assert_eq!(
                    (&before.starts, &before.spots, before.cost),
                    (&after.starts, &after.spots, after.cost)
                );
            }
            assert_eq!(trial.cost, trial.total());
        }
        assert!(kept > 100 && undone > 100);
    }

    #[test]
    fn a_move_is_counted_from_the_last_bay_also_when_the_vehicle_was_on_the_road_between() {
        let job = |order, length, offer: Option<&str>| Job {
            order,
            duration: Duration::sure(length),
            bay: offer.map(|offer| vec![offer.to_owned()]),
            ..Job::default()
        };
        let bay = |zone, offer: &str| Bay {
            zone,
            capabilities: vec![offer.to_owned()],
            ..Bay::default()
        };
        let order = |vehicle| Order { vehicle, ..Order::default() };
        let model = Model {
            horizon: 1_000,
            moving: Moving { same_zone: 5, other_zone: 35 },
            bays: vec![bay(0, "lift"), bay(1, "rack")],
            vehicles: vec![Vehicle::default(); 2],
            orders: vec![order(0), order(1)],
            jobs: vec![
                job(0, 10, Some("rack")),
                Job { earliest: 121, ..job(0, 22, None) },
                job(0, 10, Some("lift")),
                job(1, 110, Some("rack")),
            ],
            edges: [0, 1].map(|before| Edge { before, after: before + 1, wait: 0 }).to_vec(),
            ..Model::default()
        };
        let (shop, _) = screen(&model, &[]);
        let mut draft = construct(&shop);
        draft.starts[..].copy_from_slice(&[0, 121, 143, 10]);
        draft.ends[..].copy_from_slice(&[10, 143, 153, 120]);
        let mut trial = Trial::new(&shop, &draft);
        assert_eq!(trial.draft().starts, [0, 121, 143, 10]);
        let turn = Turn::ahead_of(-1, 0);
        assert!(trial.attempt(&[Touch { job: 3, turn, ask: Ask::Keep }]));
        assert_eq!(trial.draft().starts, [110, 121, 155, 0]);
    }

    #[test]
    fn work_between_which_a_member_of_its_bracket_goes_is_looked_at_again() {
        let job = |earliest| Job { earliest, duration: Duration::sure(10), ..Job::default() };
        let model = Model {
            horizon: 1_000,
            vehicles: vec![Vehicle::default()],
            orders: vec![Order::default()],
            jobs: vec![job(0), job(0), job(50), job(0)],
            brackets: vec![Bracket { inside: vec![0, 1], outside: 3, entered: false }],
            ..Model::default()
        };
        let (shop, _) = screen(&model, &[]);
        let mut draft = construct(&shop);
        draft.starts[..].copy_from_slice(&[0, 10, 50, 60]);
        draft.ends[..].copy_from_slice(&[10, 20, 60, 70]);
        let mut trial = Trial::new(&shop, &draft);
        assert_eq!(trial.draft().starts, [0, 10, 50, 60]);
        // What lies between, at 50, stays as it is and tells nobody.
        let turn = Turn::ahead_of(65, 0);
        assert!(!trial.attempt(&[Touch { job: 1, turn, ask: Ask::Keep }]) || trial.cost >= MISSING);
    }
}
