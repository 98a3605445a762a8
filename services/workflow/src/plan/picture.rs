//! The shop's open work as the planner sees it: times in seconds since 1970, everything else by index.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use domain::lifecycle::{LineState, TaskState};
use domain::order::Authorisation;
use domain::procedure::{Ends, PlaceOfWork, SettleBlocks};
use planner::model::{
    Bay, Bracket, Duration, Edge, Immobile, Job, Model, Moving, Order, Pin, Placement, Pool,
    Settle, Technician, Vehicle, Weights,
};
use store::bays::BayRow;
use store::lines::LineRow;
use store::means::{Away, Person, ShiftTimes, Unit};
use store::plans::{PinRow, PlanItemRow};
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use super::hours::{self, PATIENCE};
use crate::case::{Case, hold_ends, is_on_hold, line_is_over};
use crate::start::others;

/// How far ahead is planned.
pub(super) const HORIZON: TimeDelta = TimeDelta::days(14);
/// What starts within this time stays where it is planned, if it still can.
const NEAR: TimeDelta = TimeDelta::minutes(30);
/// Minutes of mechanical work of a line that tells none.
const LINE_MINUTES: i32 = 30;
/// What a picture is made of.
pub(super) struct Shop {
    pub(super) now: DateTime<Utc>,
    pub(super) zone: Tz,
    pub(super) cases: Vec<Case>,
    pub(super) bays: Vec<BayRow>,
    pub(super) people: Vec<Person>,
    pub(super) units: Vec<Unit>,
    pub(super) shifts: Vec<ShiftTimes>,
    pub(super) away: Vec<Away>,
    pub(super) pins: Vec<PinRow>,
    pub(super) items: Vec<PlanItemRow>,
}

/// A model with the keys back to the shop.
#[derive(Clone)]
pub(super) struct Picture {
    pub(super) model: Model,
    /// By job: the order and the node.
    pub(super) nodes: Vec<(Uuid, Node)>,
}

/// Draws the picture.
pub(super) fn draw(shop: &Shop) -> Picture {
    let mut drawing = Drawing::new(shop);
    for case in &shop.cases {
        drawing.order(case);
    }
    drawing.in_force();
    drawing.wait_for_what_is_due();
    drawing.units_out();
    Picture { model: drawing.model, nodes: drawing.nodes }
}

/// Seconds since 1970.
pub(super) fn ticks(at: DateTime<Utc>) -> i64 {
    at.timestamp()
}

struct Drawing<'a> {
    shop: &'a Shop,
    model: Model,
    nodes: Vec<(Uuid, Node)>,
    jobs: BTreeMap<(Uuid, Node), usize>,
    vehicles: BTreeMap<Uuid, usize>,
}

impl<'a> Drawing<'a> {
    fn new(shop: &'a Shop) -> Self {
        let end = shop.now + HORIZON;
        let mut zones: BTreeSet<&str> = shop.bays.iter().map(|b| b.zone.as_str()).collect();
        zones.insert("");
        let zone = |name: &str| zones.iter().position(|z| *z == name).unwrap_or(0);
        let closed = |fits: &dyn Fn(&Away) -> bool| -> Vec<(i64, i64)> {
            let stretches = shop.away.iter().filter(|a| fits(a));
            stretches
                .map(|a| (ticks(a.from_at), ticks(a.until_at.unwrap_or(end).min(end))))
                .collect()
        };
        let bays = shop
            .bays
            .iter()
            .map(|bay| Bay {
                name: bay.name.clone(),
                zone: zone(&bay.zone),
                capabilities: bay.capabilities.clone(),
                closed: if bay.retired {
                    vec![(ticks(shop.now), ticks(end))]
                } else {
                    closed(&|a| a.bay == Some(bay.id))
                },
            })
            .collect();
        let technicians = shop
            .people
            .iter()
            .map(|person| Technician {
                name: person.name.clone(),
                zones: Vec::new(),
                skills: person.skills.clone(),
                shifts: hours::presence(shop, person.id, shop.now - TimeDelta::days(1)),
            })
            .collect();
        let mut capacity: BTreeMap<&str, u32> = BTreeMap::new();
        for unit in &shop.units {
            let gone =
                shop.away.iter().any(|a| a.equipment == Some(unit.id) && a.is_open_end(shop.now));
            *capacity.entry(&unit.kind).or_default() += u32::from(!gone);
        }
        let pools = capacity
            .into_iter()
            .map(|(kind, capacity)| Pool { kind: kind.to_owned(), zone: None, capacity })
            .collect();
        let model = Model {
            now: ticks(shop.now),
            horizon: ticks(end),
            moving: Moving { same_zone: 300, other_zone: 600 },
            // Per second: lateness above all; an early vehicle, few moves and a calm plan after that.
            weights: Weights { tardiness: 20, flow: 1, moving: 6_000, change: 2_400, makespan: 0 },
            bays,
            technicians,
            pools,
            keep_until: ticks(shop.now + NEAR),
            ..Model::default()
        };
        Self { shop, model, nodes: Vec::new(), jobs: BTreeMap::new(), vehicles: BTreeMap::new() }
    }

    fn order(&mut self, case: &Case) {
        let open_end = open_end(case);
        let tasks: Vec<&TaskRow> = case
            .live()
            .filter(|t| !t.state.is_over() && t.definition.ends == Ends::InShop)
            .filter(|t| !open_end.contains(&Node::Task(t.id)))
            .collect();
        let lines: Vec<&LineRow> = case
            .lines
            .iter()
            .filter(|l| !line_is_over(l) && l.authorisation == Authorisation::Approved)
            .filter(|l| !open_end.contains(&Node::Line(l.line)))
            .collect();
        if tasks.is_empty() && lines.is_empty() {
            return;
        }
        let standing = case.brackets.iter().find(|b| b.must_not_move).and_then(|b| {
            let bay = case.attempts.iter().filter(|a| a.task == b.entered_by).find_map(|a| a.bay);
            bay.and_then(|bay| self.bay(bay))
        });
        let count = self.vehicles.len();
        let vehicle = *self.vehicles.entry(case.vehicle.id).or_insert(count);
        if vehicle == self.model.vehicles.len() {
            self.model.vehicles.push(Vehicle::default());
        }
        if standing.is_some() {
            self.model.vehicles[vehicle].stands_in = standing;
        }
        self.model.orders.push(Order {
            name: case.order.number.clone(),
            vehicle,
            zones: Vec::new(),
            release: ticks(case.order.arrives_at.unwrap_or(case.order.created_at)),
            promised: case.order.promised_at.map(ticks),
            weight: i64::from(case.order.weight),
        });
        let order = self.model.orders.len() - 1;
        for task in &tasks {
            let job = self.task_job(case, task, order);
            self.add(case.order.id, Node::Task(task.id), job);
        }
        for line in &lines {
            let job = self.line_job(case, line, order);
            self.add(case.order.id, Node::Line(line.line), job);
        }
        self.relations(case);
    }

    fn add(&mut self, order: Uuid, node: Node, job: Job) {
        self.jobs.insert((order, node), self.model.jobs.len());
        self.model.jobs.push(job);
        self.nodes.push((order, node));
    }

    fn task_job(&self, case: &Case, task: &TaskRow, order: usize) -> Job {
        let procedure = &task.definition;
        let minutes = procedure.minutes;
        let seconds = |minutes: u32| i64::from(minutes) * 60;
        let settle = procedure.settle;
        let likely = seconds(minutes.likely);
        let running = task.state == TaskState::Running;
        let fixed = task.started_at.filter(|_| running).map(|started| Placement {
            start: ticks(started),
            end: hours::goes_on_until(self.shop, ticks(started) + likely, task.technician),
            bay: task.bay.and_then(|bay| self.bay(bay)),
            technicians: task
                .technician
                .into_iter()
                .chain(others(case, task))
                .filter_map(|person| self.person(person))
                .collect(),
        });
        let people = match &fixed {
            Some(fixed) => fixed.technicians.len().max(1),
            None => usize::from(procedure.people.max(1)),
        };
        Job {
            name: procedure.title.clone(),
            order,
            duration: Duration {
                least: seconds(minutes.least),
                likely,
                most: seconds(minutes.most),
            },
            lengths: Vec::new(),
            earliest: earliest(case, Node::Task(task.id)).max(hold_ends_for(case, task)),
            bay: match &procedure.place_of_work {
                PlaceOfWork::Bay(capabilities) => Some(capabilities.clone()),
                PlaceOfWork::Road => None,
            },
            people: vec![procedure.skills.clone(); people],
            equipment: procedure
                .equipment
                .iter()
                .map(|(kind, count)| (kind.clone(), *count))
                .collect(),
            settle: Settle {
                ticks: i64::from(settle.seconds),
                blocks_vehicle: settle.blocks == SettleBlocks::Vehicle,
                keeps_bay: settle.keeps_bay,
            },
            pause: None,
            pin: self.pin(task, fixed.is_some()),
            fixed,
        }
    }

    fn line_job(&self, case: &Case, line: &LineRow, order: usize) -> Job {
        let seconds = i64::from(line.minutes.unwrap_or(LINE_MINUTES)) * 60;
        if let Some(sublet) = &line.sublet {
            return self.sublet_job(case, line, order, sublet.back_at.map(ticks), seconds);
        }
        let started = line.started_at.filter(|_| line.state == LineState::Started);
        let fixed = started.map(|started| Placement {
            start: ticks(started),
            end: hours::worked_until(self.shop, line.worked_by, started, seconds),
            bay: line.worked_in.and_then(|bay| self.bay(bay)),
            technicians: line
                .worked_by
                .and_then(|person| self.person(person))
                .into_iter()
                .collect(),
        });
        let nobody = fixed.as_ref().is_some_and(|placed| placed.technicians.is_empty());
        let people = line.skills.clone().unwrap_or_default();
        Job {
            name: format!("Line {}", line.line),
            order,
            duration: Duration { least: seconds, likely: seconds, most: seconds },
            earliest: earliest(case, Node::Line(line.line))
                .max(line.parts_expected_at.map_or(0, ticks)),
            bay: Some(line.bay.clone().unwrap_or_default()),
            people: if nobody { Vec::new() } else { vec![people.clone()] },
            pause: fixed.is_none().then(|| hours::pause(&self.model.technicians, &people, seconds)),
            pin: Pin {
                bay: line.worked_in.filter(|_| fixed.is_none()).and_then(|bay| self.bay(bay)),
                ..Pin::default()
            },
            fixed,
            ..Job::default()
        }
    }

    /// Work of another business: the vehicle is away; no bay and nobody of the shop is planned for it.
    fn sublet_job(
        &self,
        case: &Case,
        line: &LineRow,
        order: usize,
        back_at: Option<i64>,
        seconds: i64,
    ) -> Job {
        let gone = line.started_at.filter(|_| line.state == LineState::Started).map(ticks);
        let earliest = earliest(case, Node::Line(line.line))
            .max(line.parts_expected_at.map_or(0, ticks))
            .max(back_at.map_or(0, |back| back - seconds));
        Job {
            name: format!("Line {}", line.line),
            order,
            duration: Duration::sure(seconds),
            earliest,
            fixed: gone.map(|start| Placement {
                start,
                end: hours::goes_on_until(self.shop, back_at.unwrap_or(start + seconds), None),
                bay: None,
                technicians: Vec::new(),
            }),
            ..Job::default()
        }
    }

    /// A task that was taken keeps its person and bay; beyond that, what the dispatcher pinned.
    fn pin(&self, task: &TaskRow, fixed: bool) -> Pin {
        if fixed {
            return Pin::default();
        }
        if task.state == TaskState::Taken {
            return Pin {
                bay: task.bay.and_then(|bay| self.bay(bay)),
                technician: task.technician.and_then(|person| self.person(person)),
                start: None,
            };
        }
        let pin = self.shop.pins.iter().find(|pin| pin.task == task.id);
        pin.map_or_else(Pin::default, |pin| Pin {
            bay: pin.bay.and_then(|bay| self.bay(bay)),
            technician: pin.technician.and_then(|person| self.person(person)),
            start: pin.starts_at.map(ticks).filter(|start| *start >= self.model.now),
        })
    }

    fn relations(&mut self, case: &Case) {
        let of = |node: Node| self.jobs.get(&(case.order.id, node)).copied();
        let mut edges = Vec::new();
        for edge in &case.precedence {
            if let (Some(before), Some(after)) = (of(edge.before), of(edge.then)) {
                edges.push(Edge { before, after, wait: 0 });
            }
        }
        let mut brackets = Vec::new();
        for either in &case.either_or {
            let (Some(leave), Some(outside)) = (of(Node::Task(either.leave)), of(either.node))
            else {
                continue;
            };
            let enter = of(Node::Task(either.enter));
            let mut inside: Vec<usize> = enter.into_iter().chain([leave]).collect();
            let lines = case.tasks.iter().find(|t| t.id == either.enter).map(|t| t.lines.clone());
            inside.extend(
                lines.unwrap_or_default().into_iter().filter_map(|line| of(Node::Line(line))),
            );
            brackets.push(Bracket { inside, entered: enter.is_none(), outside });
        }
        let mut immobile = Vec::new();
        for task in
            case.live().filter(|t| t.definition.opens.as_ref().is_some_and(|o| o.must_not_move))
        {
            let opens = task.definition.opens.as_ref();
            let mode = opens.map(|o| o.mode.as_str());
            let leave =
                case.live().find(|t| t.definition.closes.as_deref() == mode && !t.state.is_over());
            if let Some(until) = leave.and_then(|t| of(Node::Task(t.id))) {
                immobile.push(Immobile { from: of(Node::Task(task.id)), until });
            }
        }
        self.model.edges.extend(edges);
        self.model.brackets.extend(brackets);
        self.model.immobile.extend(immobile);
    }

    fn in_force(&mut self) {
        let mut in_force = vec![None; self.model.jobs.len()];
        for item in &self.shop.items {
            let Some(job) = item.node().and_then(|node| self.jobs.get(&(item.order_id, node)))
            else {
                continue;
            };
            let technicians: Option<Vec<usize>> =
                item.technicians.iter().map(|id| self.person(*id)).collect();
            let bay = item.bay.map(|id| self.bay(id));
            if let (Some(technicians), None | Some(Some(_))) = (technicians, bay) {
                in_force[*job] = Some(Placement {
                    start: ticks(item.starts_at),
                    end: ticks(item.ends_at),
                    bay: bay.flatten(),
                    technicians,
                });
            }
        }
        if in_force.iter().any(Option::is_some) {
            self.model.in_force = in_force;
        }
    }

    /// What the plan began some minutes ago and nobody has begun yet keeps its place for now, or else everything would slide by
    /// seconds with every event, and nothing would be left to keep to. Only that may lie in the past.
    fn wait_for_what_is_due(&mut self) {
        let now = self.model.now;
        let since = now - PATIENCE.num_seconds();
        let due = |job: &Job, placed: &Option<Placement>| {
            let start = placed.as_ref().map(|placed| placed.start);
            start.filter(|start| job.fixed.is_none() && (since..now).contains(start))
        };
        let dues: Vec<Option<i64>> = self
            .model
            .jobs
            .iter()
            .zip(&self.model.in_force)
            .map(|(job, at)| due(job, at))
            .collect();
        let Some(first) = dues.iter().flatten().min() else { return };
        self.model.now = *first;
        for (job, due) in self.model.jobs.iter_mut().zip(dues) {
            job.earliest = job.earliest.max(due.unwrap_or(now));
        }
    }

    /// A unit that comes back is in use until then, by work that belongs to no order.
    fn units_out(&mut self) {
        for away in &self.shop.away {
            let unit = self.shop.units.iter().find(|unit| Some(unit.id) == away.equipment);
            let (Some(unit), false) = (unit, away.is_open_end(self.shop.now)) else { continue };
            let until = away.until_at.map_or(self.model.horizon, ticks).min(self.model.horizon);
            let from = ticks(away.from_at).max(self.model.now);
            if from >= until {
                continue;
            }
            self.model.vehicles.push(Vehicle::default());
            self.model.orders.push(Order {
                name: unit.name.clone(),
                vehicle: self.model.vehicles.len() - 1,
                ..Order::default()
            });
            self.model.jobs.push(Job {
                name: format!("{} out of service", unit.name),
                order: self.model.orders.len() - 1,
                duration: Duration::sure(until - from),
                equipment: vec![(unit.kind.clone(), 1)],
                fixed: Some(Placement { start: from, end: until, bay: None, technicians: vec![] }),
                ..Job::default()
            });
            if !self.model.in_force.is_empty() {
                self.model.in_force.push(None);
            }
        }
    }

    fn bay(&self, id: Uuid) -> Option<usize> {
        self.shop.bays.iter().position(|bay| bay.id == id)
    }

    fn person(&self, id: Uuid) -> Option<usize> {
        self.shop.people.iter().position(|person| person.id == id)
    }
}

/// What nobody can say when it goes on: lines on hold without an expected end, what is done for them alone, and all that comes
/// after either.
fn open_end(case: &Case) -> BTreeSet<Node> {
    let on_hold = |line: &&LineRow| is_on_hold(line) && hold_ends(line).is_none();
    let lines: Vec<i32> = case.lines.iter().filter(on_hold).map(|line| line.line).collect();
    let with_them = |task: &&TaskRow| case.held_with(task).iter().any(|line| lines.contains(line));
    let tasks = case.live().filter(with_them).map(|task| Node::Task(task.id));
    let mut next: Vec<Node> = lines.iter().map(|line| Node::Line(*line)).chain(tasks).collect();
    let mut found: BTreeSet<Node> = next.iter().copied().collect();
    while let Some(node) = next.pop() {
        for edge in case.precedence.iter().filter(|edge| edge.before == node) {
            if found.insert(edge.then) {
                next.push(edge.then);
            }
        }
    }
    found
}

/// Not before the lines that a task is done for may go on.
fn hold_ends_for(case: &Case, task: &TaskRow) -> i64 {
    let held = case.held_with(task);
    let lines = case.lines.iter().filter(|line| held.contains(&line.line));
    lines.filter_map(hold_ends).map(ticks).min().unwrap_or(0)
}

/// Not before the waits that run have ended.
fn earliest(case: &Case, node: Node) -> i64 {
    case.waits(node).into_iter().map(|(_, until)| ticks(until) + 1).max().unwrap_or(0)
}
