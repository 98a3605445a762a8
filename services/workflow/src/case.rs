//! An order with all that bears on it: what a step loads before it decides.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use domain::lifecycle::{LineState, OrderState, TaskEvent, TaskState};
use domain::operation::Operation;
use domain::procedure::{Ends, PlaceOfWork};
use evidence::intake::CLOCK_TOLERANCE;
use evidence::sample::Sample;
use serde_json::json;
use store::attempts::{AcknowledgementRow, AttemptRow, Needed};
use store::departures::DepartureRow;
use store::limits::LimitRow;
use store::lines::LineRow;
use store::orders::{Locked, OrderRow};
use store::plans::PlanItemRow;
use store::questions::QuestionRow;
use store::tasks::{EitherOrRow, Node, PrecedenceRow, TaskRow};
use store::vehicles::{BracketRow, HoldRow, OccupancyRow, VehicleRow};
use store::waivers::WaiverRow;
use uuid::Uuid;

use crate::flow::Step;
use crate::recent::{Left, Recent};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::standing;

/// An order with all that bears on it.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) order: OrderRow,
    pub(crate) vehicle: VehicleRow,
    pub(crate) lines: Vec<LineRow>,
    pub(crate) questions: Vec<QuestionRow>,
    pub(crate) tasks: Vec<TaskRow>,
    pub(crate) precedence: Vec<PrecedenceRow>,
    pub(crate) either_or: Vec<EitherOrRow>,
    pub(crate) brackets: Vec<BracketRow>,
    pub(crate) holds: Vec<HoldRow>,
    pub(crate) occupancy: Vec<OccupancyRow>,
    pub(crate) other_open: Vec<Uuid>,
    /// Tasks of the vehicle's other open orders: a vehicle is in one place.
    pub(crate) beside: Vec<TaskRow>,
    pub(crate) plan: Vec<PlanItemRow>,
    pub(crate) waivers: Vec<WaiverRow>,
    /// Limits by the manufacturer, in force or waiting for an approval.
    pub(crate) limits: Vec<LimitRow>,
    pub(crate) attempts: Vec<AttemptRow>,
    pub(crate) acknowledged: Vec<AcknowledgementRow>,
    /// What the evidence of attempts that go on says, as far as it bears on now.
    pub(crate) samples: BTreeMap<Uuid, Vec<Sample>>,
    /// The vehicle left the premises and has not come back.
    pub(crate) away: Option<DepartureRow>,
    pub(crate) now: DateTime<Utc>,
}

impl Case {
    /// The task of this id.
    pub(crate) fn task(&self, id: Uuid) -> Result<&TaskRow, Refusal> {
        self.tasks.iter().find(|task| task.id == id).ok_or_else(|| Refusal::not_found("task"))
    }

    /// The line of this number.
    pub(crate) fn line(&self, number: i32) -> Result<&LineRow, Refusal> {
        self.lines.iter().find(|line| line.line == number).ok_or_else(|| Refusal::not_found("line"))
    }

    /// Puts a changed task in its place.
    pub(crate) fn keep_task(&mut self, task: TaskRow) {
        if let Some(place) = self.tasks.iter_mut().find(|old| old.id == task.id) {
            *place = task;
        }
    }

    /// Puts a new or changed line in its place.
    pub(crate) fn keep_line(&mut self, line: LineRow) {
        self.lines.retain(|old| old.line != line.line);
        self.lines.push(line);
        self.lines.sort_by_key(|line| line.line);
    }

    /// The present or last attempt at a task.
    pub(crate) fn attempt(&self, task: &TaskRow) -> Option<&AttemptRow> {
        self.attempts.iter().find(|a| a.task == task.id && a.number == task.attempt)
    }

    /// Cautions of the present attempt that whoever holds the task has read; what another acknowledged before a handover is
    /// theirs.
    pub(crate) fn acknowledged_by_holder(&self, task: &TaskRow) -> BTreeSet<String> {
        let holder = task.technician.map(|id| id.to_string());
        let of_attempt = |a: &&AcknowledgementRow| {
            let by_now = a.at <= self.now + CLOCK_TOLERANCE;
            a.task == task.id && a.attempt == task.attempt && by_now
        };
        let read = self.acknowledged.iter().filter(of_attempt);
        let theirs = read.filter(|a| holder.as_ref().is_none_or(|holder| a.by_person == *holder));
        theirs.map(|a| a.caution.clone()).collect()
    }

    /// Whether work on a task may go on: while the order is open, and after its release for what ends after hand-over.
    pub(crate) fn goes_on(&self, task: &TaskRow) -> bool {
        match self.order.state {
            OrderState::Open => true,
            OrderState::Released => task.definition.ends == Ends::AfterHandover,
            OrderState::Closed | OrderState::Cancelled => false,
        }
    }

    /// Tasks that count: neither withdrawn nor disturbed.
    pub(crate) fn live(&self) -> impl Iterator<Item = &TaskRow> {
        self.tasks
            .iter()
            .filter(|task| !matches!(task.state, TaskState::Withdrawn | TaskState::Disturbed))
    }

    /// Whether a node is done, or need not be done.
    fn is_over(&self, node: Node) -> bool {
        match node {
            Node::Task(id) => {
                self.tasks.iter().any(|t| t.id == id && domain::start::ends_the_wait(t.state))
            }
            Node::Line(line) => self.lines.iter().any(|l| l.line == line && line_is_over(l)),
        }
    }

    /// Lines on hold that a task is done for, when it is done for no other: it waits with them. What a service mode that
    /// was entered asks for does not wait.
    pub(crate) fn held_with(&self, task: &TaskRow) -> Vec<i32> {
        let on_hold =
            |number: &i32| self.lines.iter().any(|line| line.line == *number && is_on_hold(line));
        if task.lines.iter().all(on_hold) && !self.is_bound_by_bracket(task) {
            return task.lines.clone();
        }
        Vec::new()
    }

    /// Nodes that come before this one and are open.
    pub(crate) fn open_before(&self, node: Node) -> Vec<Node> {
        let shut_out = self.shut_out();
        let mut open: Vec<Node> = self
            .precedence
            .iter()
            .filter(|edge| edge.then == node && !self.is_over(edge.before))
            .filter(|edge| !self.came_too_late(edge, &shut_out))
            .map(|edge| edge.before)
            .collect();
        // What must not fall inside a service mode waits for its leaving once it was entered.
        for either in self.either_or.iter().filter(|either| either.node == node) {
            let entered = self.tasks.iter().any(|t| t.id == either.enter && was_entered(t));
            if entered && !self.is_over(Node::Task(either.leave)) {
                open.push(Node::Task(either.leave));
            }
        }
        let task = node.task().and_then(|id| self.tasks.iter().find(|t| t.id == id));
        open.extend(task.into_iter().flat_map(|t| self.held_with(t)).map(Node::Line));
        open.sort_unstable();
        open.dedup();
        open
    }

    /// What should have come before a service mode that stands open by now, with what comes after that: it was put on the
    /// order too late, and none of it can begin until the mode is left.
    fn shut_out(&self) -> BTreeSet<Node> {
        let entered: Vec<Node> =
            self.brackets.iter().flat_map(|b| self.enters(b)).map(|t| Node::Task(t.id)).collect();
        let missed = self.precedence.iter().filter(|e| entered.contains(&e.then));
        let mut found: BTreeSet<Node> =
            missed.map(|edge| edge.before).filter(|node| !self.is_over(*node)).collect();
        let mut next: Vec<Node> = found.iter().copied().collect();
        while let Some(node) = next.pop() {
            for edge in self.precedence.iter().filter(|edge| edge.before == node) {
                if !entered.contains(&edge.then) && found.insert(edge.then) {
                    next.push(edge.then);
                }
            }
        }
        found
    }

    /// What leaves a service mode does not wait for what can begin only when it is left; whatever it needs it waits for.
    fn came_too_late(&self, edge: &PrecedenceRow, shut_out: &BTreeSet<Node>) -> bool {
        let leaves = |mode: &str| {
            self.tasks.iter().any(|task| {
                edge.then == Node::Task(task.id) && task.definition.closes.as_deref() == Some(mode)
            })
        };
        matches!(edge.kind.as_str(), "after" | "disturbs")
            && shut_out.contains(&edge.before)
            && self.brackets.iter().any(|bracket| leaves(&bracket.mode))
    }

    /// Waits that still run for a node: of what comes before it, and of what blocks the whole vehicle.
    pub(crate) fn waits(&self, node: Node) -> Vec<(&TaskRow, DateTime<Utc>)> {
        let comes_before = |task: &TaskRow| {
            self.precedence.iter().any(|e| e.then == node && e.before == Node::Task(task.id))
        };
        let blocks_vehicle = |task: &TaskRow| {
            task.definition.settle.blocks == domain::procedure::SettleBlocks::Vehicle
        };
        self.tasks
            .iter()
            .chain(&self.beside)
            .filter(|task| matches!(task.state, TaskState::Passed | TaskState::Disturbed))
            .filter(|task| Node::Task(task.id) != node)
            .filter_map(|task| {
                task.settled_at.filter(|until| *until > self.now).map(|until| (task, until))
            })
            .filter(|(task, _)| blocks_vehicle(task) || comes_before(task))
            .collect()
    }

    /// A service mode was entered by this task or stands open that it would leave: it can be neither withdrawn nor waived.
    pub(crate) fn is_bound_by_bracket(&self, task: &TaskRow) -> bool {
        let modes = self.brackets.iter().map(|b| b.mode.as_str());
        modes.into_iter().any(|mode| {
            task.definition.closes.as_deref() == Some(mode)
                || task.definition.opens.as_ref().is_some_and(|opens| opens.mode == mode)
                || self.follows_leaving(task, mode)
        })
    }

    /// The task comes after the one that leaves the mode (its tests).
    fn follows_leaving(&self, task: &TaskRow, mode: &str) -> bool {
        self.precedence
            .iter()
            .filter(|edge| edge.then == Node::Task(task.id) && edge.kind == "needs")
            .any(|edge| {
                self.tasks.iter().any(|t| {
                    Node::Task(t.id) == edge.before && t.definition.closes.as_deref() == Some(mode)
                })
            })
    }

    /// The task that entered a service mode, and those of this order that took its place since.
    pub(crate) fn enters<'a>(
        &'a self,
        bracket: &'a BracketRow,
    ) -> impl Iterator<Item = &'a TaskRow> {
        let mode = bracket.mode.as_str();
        self.tasks.iter().filter(move |task| {
            task.id == bracket.entered_by
                || (bracket.order_id == self.order.id
                    && task.definition.opens.as_ref().is_some_and(|opens| opens.mode == mode))
        })
    }

    /// The task entered a service mode that was left since, and one of these lines is still to be worked in it.
    pub(crate) fn is_spent(&self, task: &TaskRow, lines: &[i32]) -> bool {
        let Some(opens) = &task.definition.opens else { return false };
        task.state == TaskState::Passed
            && !self.brackets.iter().any(|bracket| bracket.mode == opens.mode)
            && self.lines.iter().any(|line| lines.contains(&line.line) && !line_is_over(line))
    }

    /// Passed tasks that leave a service mode, or follow its leaving: entering it again undoes them.
    pub(crate) fn left(&self, mode: &str) -> Vec<TaskRow> {
        let leaves = |task: &&TaskRow| {
            task.definition.closes.as_deref() == Some(mode) || self.follows_leaving(task, mode)
        };
        let passed = self.tasks.iter().filter(|task| task.state == TaskState::Passed);
        passed.filter(leaves).cloned().collect()
    }

    /// What a task does, as operations.
    pub(crate) fn operations_of(task: &TaskRow) -> Vec<Operation> {
        task.definition.emits.clone()
    }
}

/// Whether nothing more is expected of a line's mechanical work.
pub(crate) fn line_is_over(line: &LineRow) -> bool {
    line.state.is_over() || (line.state == LineState::Open && requires_nothing(line))
}

/// Whether a line waits for something outside the shop's work.
pub(crate) fn is_on_hold(line: &LineRow) -> bool {
    line.on_hold.is_some() && matches!(line.state, LineState::Open | LineState::Paused)
}

/// When a line that is on hold may go on; none: nobody knows.
pub(crate) fn hold_ends(line: &LineRow) -> Option<DateTime<Utc>> {
    line.parts_expected_at.filter(|_| line.on_hold == Some(domain::order::OnHold::Parts))
}

/// A line that was declined asks for nothing more, unless work on it has begun.
pub(crate) fn requires_nothing(line: &LineRow) -> bool {
    line.authorisation == domain::order::Authorisation::Declined && !line.state.was_begun()
}

/// Whether a task that enters a service mode has done so.
pub(crate) fn was_entered(task: &TaskRow) -> bool {
    matches!(
        task.state,
        TaskState::Running | TaskState::Held | TaskState::Passed | TaskState::Failed
    )
}

/// Whether a procedure is done on the road.
pub(crate) fn on_road(task: &TaskRow) -> bool {
    task.definition.place_of_work == PlaceOfWork::Road
}

impl Step {
    /// Locks an order, and its vehicle before it.
    pub(crate) async fn lock_order(&mut self, order: Uuid) -> Result<Locked, Refusal> {
        let shop = self.shop();
        let locked = store::orders::lock(self.conn(), shop, order).await?;
        let locked = locked.ok_or_else(|| Refusal::not_found("order"))?;
        self.next_seqs.insert(order, locked.next_seq);
        Ok(locked)
    }

    /// Locks the vehicle and the order, ends leases that ran out, and loads.
    pub(crate) async fn lock_case(&mut self, order: Uuid) -> Result<Case, Refusal> {
        self.lock_order(order).await?;
        let mut case = self.see_case(order).await?;
        self.end_leases(&mut case).await?;
        self.end_waivers(&mut case).await?;
        Ok(case)
    }

    /// The same, found by one of the order's tasks.
    pub(crate) async fn lock_case_of_task(&mut self, task: Uuid) -> Result<Case, Refusal> {
        let order = self.order_of(task).await?;
        self.lock_case(order).await
    }

    /// Locks as [`Self::lock_case`], but has only what evidence of this task is judged by, because evidence comes often:
    /// the task with its attempts and samples, as the last batch left them or loaded. Everything else of the order is
    /// left out.
    pub(crate) async fn lock_task(&mut self, recent: &Recent, task: Uuid) -> Result<Case, Refusal> {
        let mut case = match recent.take(task) {
            Some(left) => self.take_up(left).await?,
            None => None,
        };
        if case.is_none() {
            case = Some(self.load_task(task).await?);
        }
        let mut case = case.ok_or_else(|| Refusal::not_found("task"))?;
        self.end_leases(&mut case).await?;
        self.know_the_bay(&mut case, task).await?;
        Ok(case)
    }

    /// What the last batch left, if nothing else was written of the order since.
    async fn take_up(&mut self, left: Left) -> Result<Option<Case>, Refusal> {
        let locked = self.lock_order(left.case.order.id).await?;
        if locked.next_seq != left.next_seq {
            return Ok(None);
        }
        let now = self.now().await?;
        let Some(mut case) = left.at(now) else { return Ok(None) };
        case.vehicle = locked.vehicle;
        Ok(Some(case))
    }

    /// Locks and loads what evidence of a task is judged by.
    async fn load_task(&mut self, task: Uuid) -> Result<Case, Refusal> {
        let id = self.order_of(task).await?;
        let locked = self.lock_order(id).await?;
        let now = self.now().await?;
        let shop = self.shop();
        let conn = self.conn();
        let mut tasks = store::tasks::load(&mut *conn, shop, &[task]).await?;
        let order = store::orders::load(&mut *conn, shop, &[id]).await?.pop();
        let order = order.ok_or_else(|| Refusal::not_found("order"))?;
        let attempts = store::attempts::load(&mut *conn, shop, &[task]).await?;
        let samples = self.samples(&tasks, &attempts, now).await?;
        // A task takes over the limits that were given for the one whose place it takes.
        let conn = self.conn();
        while let Some(replaced) = tasks.last().and_then(|t| t.replaces) {
            tasks.extend(store::tasks::load(&mut *conn, shop, &[replaced]).await?);
        }
        let ids: Vec<Uuid> = tasks.iter().map(|t| t.id).collect();
        let limits = store::limits::load(&mut *conn, shop, &ids).await?;
        let waivers = store::waivers::load(&mut *conn, shop, &[task]).await?;
        Ok(Case {
            order,
            vehicle: locked.vehicle,
            tasks,
            attempts,
            samples,
            now,
            lines: Vec::new(),
            questions: Vec::new(),
            precedence: Vec::new(),
            either_or: Vec::new(),
            brackets: Vec::new(),
            holds: Vec::new(),
            occupancy: Vec::new(),
            other_open: Vec::new(),
            beside: Vec::new(),
            plan: Vec::new(),
            waivers,
            limits,
            away: None,
            acknowledged: Vec::new(),
        })
    }

    /// The order that a task belongs to.
    async fn order_of(&mut self, task: Uuid) -> Result<Uuid, Refusal> {
        let shop = self.shop();
        let order = store::tasks::order_of(self.conn(), shop, task).await?;
        order.ok_or_else(|| Refusal::not_found("task"))
    }

    /// What the evidence of attempts that go on says, as far as it bears on now.
    async fn samples(
        &mut self,
        tasks: &[TaskRow],
        attempts: &[AttemptRow],
        now: DateTime<Utc>,
    ) -> Result<BTreeMap<Uuid, Vec<Sample>>, Refusal> {
        let needed: Vec<Needed> = tasks
            .iter()
            .filter(|t| t.state.is_leased() || t.state == TaskState::Held)
            .map(|t| standing::needed(t, attempts, now))
            .collect();
        let mut samples: BTreeMap<Uuid, Vec<Sample>> = BTreeMap::new();
        if !needed.is_empty() {
            let shop = self.shop();
            for (task, content) in store::attempts::recent(self.conn(), shop, &needed).await? {
                samples.entry(task).or_default().extend(standing::decoded(content)?);
            }
        }
        Ok(samples)
    }

    /// Loads without locking.
    pub(crate) async fn see_case(&mut self, order: Uuid) -> Result<Case, Refusal> {
        let mut cases = self.see_cases(&[order]).await?;
        cases.pop().ok_or_else(|| Refusal::not_found("order"))
    }

    /// The same, found by one of the order's tasks.
    pub(crate) async fn see_case_of_task(&mut self, task: Uuid) -> Result<Case, Refusal> {
        let order = self.order_of(task).await?;
        self.see_case(order).await
    }

    /// Loads several orders.
    pub(crate) async fn see_cases(&mut self, ids: &[Uuid]) -> Result<Vec<Case>, Refusal> {
        let now = self.now().await?;
        let shop = self.shop();
        let conn = self.conn();
        let orders = store::orders::load(&mut *conn, shop, ids).await?;
        let mut lines = store::lines::load(&mut *conn, shop, ids).await?;
        let mut questions = store::questions::load(&mut *conn, shop, ids).await?;
        let mut tasks = store::tasks::of_orders(&mut *conn, shop, ids).await?;
        let mut precedence = store::tasks::precedence(&mut *conn, shop, ids).await?;
        let mut either_or = store::tasks::either_or(&mut *conn, shop, ids).await?;
        let mut plan = store::plans::of_orders(&mut *conn, shop, ids).await?;
        let task_ids: Vec<Uuid> = tasks.iter().map(|t| t.id).collect();
        let mut waivers = store::waivers::load(&mut *conn, shop, &task_ids).await?;
        let mut limits = store::limits::load(&mut *conn, shop, &task_ids).await?;
        let mut attempts = store::attempts::load(&mut *conn, shop, &task_ids).await?;
        let mut acknowledged =
            store::attempts::acknowledgements(&mut *conn, shop, &task_ids).await?;
        let mut samples = self.samples(&tasks, &attempts, now).await?;
        let conn = self.conn();
        let mut cases = Vec::with_capacity(orders.len());
        for order in orders {
            let id = order.id;
            let vehicle = store::vehicles::find(&mut *conn, shop, order.vehicle).await?;
            let vehicle = vehicle.ok_or_else(|| Refusal::not_found("vehicle"))?;
            let mut other_open =
                store::orders::open_of_vehicle(&mut *conn, shop, vehicle.id).await?;
            other_open.retain(|other| *other != id);
            let departures = store::departures::of_vehicle(&mut *conn, shop, vehicle.id).await?;
            let own: Vec<TaskRow> = take(&mut tasks, |t| t.order_id == id);
            let mine: Vec<Uuid> = own.iter().map(|t| t.id).collect();
            cases.push(Case {
                lines: take(&mut lines, |l| l.order_id == id),
                questions: take(&mut questions, |q| q.order_id == id),
                precedence: take(&mut precedence, |p| p.order_id == id),
                either_or: take(&mut either_or, |e| e.order_id == id),
                brackets: store::vehicles::open_brackets(&mut *conn, shop, vehicle.id).await?,
                holds: store::vehicles::open_holds(&mut *conn, shop, vehicle.id, now).await?,
                occupancy: store::vehicles::occupancy(&mut *conn, shop, vehicle.id).await?,
                beside: if other_open.is_empty() {
                    Vec::new()
                } else {
                    store::tasks::of_orders(&mut *conn, shop, &other_open).await?
                },
                plan: take(&mut plan, |p| p.order_id == id),
                waivers: take(&mut waivers, |w| mine.contains(&w.task)),
                limits: take(&mut limits, |l| mine.contains(&l.task)),
                attempts: take(&mut attempts, |a| mine.contains(&a.task)),
                acknowledged: take(&mut acknowledged, |a| mine.contains(&a.task)),
                samples: mine.iter().filter_map(|id| samples.remove_entry(id)).collect(),
                tasks: own,
                away: departures.into_iter().find(|row| row.returned_at.is_none()),
                other_open,
                vehicle,
                order,
                now,
            });
        }
        for case in &mut cases {
            let open: Vec<Uuid> =
                case.tasks.iter().filter(|t| t.state.is_leased()).map(|t| t.id).collect();
            for task in open {
                self.know_the_bay(case, task).await?;
            }
        }
        Ok(cases)
    }

    /// Carries out a transition, or refuses it; the row must still have the state and fence it was read with.
    pub(crate) async fn change_task(
        &mut self,
        case: &mut Case,
        id: Uuid,
        event: TaskEvent,
        edit: impl FnOnce(&mut TaskRow),
    ) -> Result<TaskRow, Refusal> {
        let mut task = case.task(id)?.clone();
        let expects = (task.state, task.fence);
        task.state = task.state.after(event).ok_or_else(|| wrong_state(&task, event))?;
        edit(&mut task);
        if !task.state.is_leased() {
            task.lease_until = None;
        }
        let shop = self.shop();
        if !store::tasks::update(self.conn(), shop, expects, &task).await? {
            return Err(Refusal::new(
                contract::problem::ProblemKind::LeaseLost,
                "the task changed meanwhile",
            ));
        }
        task.version += 1;
        case.keep_task(task.clone());
        Ok(task)
    }

    /// Ends leases that ran out: a taken task is ready again, a running one is held until a person decides.
    async fn end_leases(&mut self, case: &mut Case) -> Result<(), Refusal> {
        let now = case.now;
        let over: Vec<TaskRow> = case
            .tasks
            .iter()
            .filter(|t| t.state.is_leased() && t.lease_until.is_some_and(|until| until <= now))
            .cloned()
            .collect();
        for task in over {
            let was_running = task.state == TaskState::Running;
            self.change_task(case, task.id, TaskEvent::Lapse, |t| {
                if !was_running {
                    t.technician = None;
                    t.bay = None;
                }
            })
            .await?;
            if was_running {
                let reason = format!(
                    "the lease of `{}` ended while it ran; a person decides",
                    task.definition.title
                );
                self.hold_undecided(case, &task, reason).await?;
                self.end_attempt(
                    case,
                    &task,
                    "interrupted",
                    json!({ "vehicle_condition": "unknown", "safe": false }),
                )
                .await?;
            } else {
                self.end_attempt(case, &task, "lapsed", json!({})).await?;
            }
            self.record(Happening {
                kind: if was_running { "task.held" } else { "task.lapsed" },
                order: Some(case.order.id),
                subject: ("task", task.id.to_string()),
                data: json!({ "procedure": task.definition.id, "attempt": task.attempt, "fence": task.fence }),
            })
            .await?;
        }
        Ok(())
    }

    /// A hold until a person decides what becomes of a task that broke off; its people are free.
    pub(crate) async fn hold_undecided(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        reason: String,
    ) -> Result<(), Refusal> {
        let hold = HoldRow {
            id: self.new_id().await?,
            kind: "undecided".to_owned(),
            reason,
            task: Some(task.id),
            until_at: None,
        };
        let shop = self.shop();
        store::vehicles::open_hold(self.conn(), shop, case.vehicle.id, &hold, case.now).await?;
        store::vehicles::free_people(self.conn(), shop, task.id, None, case.now).await?;
        case.holds.push(hold);
        Ok(())
    }

    /// Ends the present attempt at a task.
    pub(crate) async fn end_attempt(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        outcome: &str,
        detail: serde_json::Value,
    ) -> Result<(), Refusal> {
        let Some(mut attempt) = case.attempt(task).cloned() else { return Ok(()) };
        attempt.ended_at = Some(case.now);
        attempt.outcome = Some(outcome.to_owned());
        if let (Some(old), serde_json::Value::Object(new)) =
            (attempt.detail.as_object_mut(), detail)
        {
            old.extend(new);
        }
        self.keep_attempt(case, attempt).await
    }

    /// Stores a changed attempt.
    pub(crate) async fn keep_attempt(
        &mut self,
        case: &mut Case,
        attempt: AttemptRow,
    ) -> Result<(), Refusal> {
        let shop = self.shop();
        store::attempts::update(self.conn(), shop, &attempt).await?;
        if let Some(place) =
            case.attempts.iter_mut().find(|a| a.task == attempt.task && a.number == attempt.number)
        {
            *place = attempt;
        }
        Ok(())
    }
}

/// The refusal of an event that the task's state does not allow.
pub(crate) fn wrong_state(task: &TaskRow, event: TaskEvent) -> Refusal {
    Refusal::new(
        contract::problem::ProblemKind::WrongState,
        format!(
            "`{}` is {}; `{}` is not possible",
            task.definition.title,
            task.state.word(),
            event.word()
        ),
    )
    .with("state", task.state.word())
}

/// Moves what fits out of a list.
fn take<T>(from: &mut Vec<T>, fits: impl Fn(&T) -> bool) -> Vec<T> {
    let (taken, rest) = std::mem::take(from).into_iter().partition(fits);
    *from = rest;
    taken
}
