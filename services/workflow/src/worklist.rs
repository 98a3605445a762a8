//! The worklist: what is left of an order, grouped by set-up, in an order that works.
//!
//! A battery swap requires a dozen small things; who does those together that want the ignition on, then those that want
//! the engine warm, walks less. Groups are made greedily: of everything that can be begun next, the set-up that carries
//! farthest is taken, and everything that fits it and gets free meanwhile.

use contract::worklist::{SetUp, WorkGroup, WorkItem, WorklistView};
use domain::lifecycle::TaskState;
use domain::precondition::Condition;
use domain::procedure::{Ends, PlaceOfWork, Procedure};
use domain::quantity::Decimal;
use domain::unit::Unit;
use store::bays::BayRow;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use crate::caller::Caller;
use crate::case::{Case, line_is_over};
use crate::flow::Flow;
use crate::refusal::Refusal;

/// From here on, in Cel, coolant is that of a warm engine: common practice, no source.
const WARM: Decimal = Decimal::whole(60);

/// What is left to do on an order.
pub async fn worklist(flow: &Flow, caller: &Caller, order: Uuid) -> Result<WorklistView, Refusal> {
    flow.read(caller, async |step| {
        let case = step.see_case(order).await?;
        let shop = step.shop();
        let mut bays = store::bays::list(step.conn(), shop).await?;
        bays.retain(|bay| !bay.retired);
        let groups = groups(&case, &bays);
        let minutes = groups.iter().map(|group| group.minutes).sum();
        Ok(WorklistView { order, groups, minutes })
    })
    .await
}

/// What a task wants to stand ready, and what a group has.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Wants {
    bay: Option<Vec<String>>,
    ignition: Option<String>,
    engine: Option<String>,
    warm: bool,
}

impl Wants {
    fn of(procedure: &Procedure) -> Self {
        let state = |signal: &str| {
            procedure.preconditions.iter().find_map(|one| match &one.condition {
                Condition::State { signal: of, is } if of == signal => Some(is.clone()),
                _ => None,
            })
        };
        let warm = |condition: &Condition| match condition {
            Condition::Range(range) if range.signal == "engine_coolant_temperature" => {
                let unit = Unit::of_code(&range.unit);
                range
                    .at_least
                    .zip(unit)
                    .is_some_and(|(least, unit)| unit.to_base(least.ratio()) >= WARM.ratio())
            }
            _ => false,
        };
        Self {
            bay: match &procedure.place_of_work {
                PlaceOfWork::Bay(capabilities) => Some(capabilities.clone()),
                PlaceOfWork::Road => None,
            },
            ignition: state("ignition"),
            engine: state("engine"),
            warm: procedure.preconditions.iter().any(|one| warm(&one.condition)),
        }
    }

    /// Both at once, if one bay can carry it.
    fn with(&self, other: &Self, bays: &[BayRow]) -> Option<Self> {
        let both = |one: &Option<String>, other: &Option<String>| match (one, other) {
            (Some(one), Some(other)) if one != other => None,
            (one, other) => Some(one.clone().or(other.clone())),
        };
        let bay = match (&self.bay, &other.bay) {
            (None, None) => None,
            (Some(one), Some(other)) => {
                let mut needed: Vec<String> = one.iter().chain(other).cloned().collect();
                needed.sort_unstable();
                needed.dedup();
                // Alone each may be impossible here; together they must not become so.
                let same = needed.len() == one.len() || needed.len() == other.len();
                if !same && able(&needed, bays).is_empty() {
                    return None;
                }
                Some(needed)
            }
            _ => return None,
        };
        let engine = both(&self.engine, &other.engine)?;
        // A cold engine is learned cold; a warm one stays warm for what does not ask.
        let running = engine.as_deref() == Some("running");
        if self.warm != other.warm && !running && (self.engine.is_some() || other.engine.is_some())
        {
            return None;
        }
        let ignition = both(&self.ignition, &other.ignition)?;
        Some(Self { bay, ignition, engine, warm: self.warm || other.warm })
    }
}

fn able(needed: &[String], bays: &[BayRow]) -> Vec<Uuid> {
    let fits = |bay: &&BayRow| needed.iter().all(|need| bay.capabilities.contains(need));
    bays.iter().filter(fits).map(|bay| bay.id).collect()
}

fn groups(case: &Case, bays: &[BayRow]) -> Vec<WorkGroup> {
    let open = |task: &&TaskRow| !task.state.is_over() && task.state != TaskState::Failed;
    let mut left: Vec<&TaskRow> = case.live().filter(open).collect();
    left.sort_by_key(|t| (t.definition.ends == Ends::AfterHandover, t.definition.phase, t.id));
    let mut lines: Vec<i32> =
        case.lines.iter().filter(|l| !line_is_over(l)).map(|l| l.line).collect();
    let mut groups = Vec::new();
    while !left.is_empty() || !lines.is_empty() {
        let best = (0..left.len())
            .filter(|at| is_free(case, Node::Task(left[*at].id), &left, &lines))
            .map(|at| carried(case, bays, at, &left, &lines))
            // Of equal ones the first, so that the order stays that of the derivation.
            .rev()
            .max_by_key(|(_, taken)| taken.len());
        if let Some((wants, taken)) = best {
            groups.push(group(&wants, &taken, bays));
            left.retain(|task| !taken.iter().any(|t| t.id == task.id));
            continue;
        }
        let free: Vec<i32> = lines
            .iter()
            .copied()
            .filter(|line| is_free(case, Node::Line(*line), &left, &lines))
            .collect();
        // A conflict of order is a finding of the order; what is left is shown all the same.
        let now = if free.is_empty() { lines.clone() } else { free };
        if now.is_empty() {
            for task in left.drain(..) {
                groups.push(group(&Wants::of(&task.definition), &[task], bays));
            }
            break;
        }
        lines.retain(|line| !now.contains(line));
        groups.push(WorkGroup { set_up: None, tasks: Vec::new(), lines: now, minutes: 0 });
    }
    groups
}

/// How far the set-up of one task carries: everything that fits it and gets free meanwhile.
fn carried<'a>(
    case: &Case,
    bays: &[BayRow],
    seed: usize,
    left: &[&'a TaskRow],
    lines: &[i32],
) -> (Wants, Vec<&'a TaskRow>) {
    let mut wants = Wants::of(&left[seed].definition);
    let mut taken = vec![left[seed]];
    let mut rest: Vec<&TaskRow> = left.to_vec();
    rest.remove(seed);
    loop {
        let next = rest.iter().position(|task| {
            is_free(case, Node::Task(task.id), &rest, lines)
                && wants.with(&Wants::of(&task.definition), bays).is_some()
        });
        let Some(at) = next else { return (wants, taken) };
        let task = rest.remove(at);
        wants = wants.with(&Wants::of(&task.definition), bays).unwrap_or(wants);
        taken.push(task);
    }
}

/// Nothing that is still left comes before it, and it does not fall into a service mode that shuts it out.
fn is_free(case: &Case, node: Node, left: &[&TaskRow], lines: &[i32]) -> bool {
    let is_left = |node: Node| match node {
        Node::Task(id) => left.iter().any(|task| task.id == id),
        Node::Line(line) => lines.contains(&line),
    };
    let waits = case.precedence.iter().any(|e| e.then == node && is_left(e.before));
    let shut_out = case.either_or.iter().any(|either| {
        let entered = !is_left(Node::Task(either.enter));
        either.node == node && entered && is_left(Node::Task(either.leave))
    });
    !waits && !shut_out
}

fn group(wants: &Wants, taken: &[&TaskRow], bays: &[BayRow]) -> WorkGroup {
    let tasks: Vec<WorkItem> = taken.iter().map(|task| item(task)).collect();
    WorkGroup {
        set_up: Some(SetUp {
            bays: wants.bay.as_deref().map(|needed| able(needed, bays)).unwrap_or_default(),
            bay: wants.bay.clone(),
            ignition: wants.ignition.clone(),
            engine: wants.engine.clone(),
            warm_engine: wants.warm,
        }),
        minutes: tasks.iter().map(|task| task.minutes).sum(),
        tasks,
        lines: Vec::new(),
    }
}

fn item(task: &TaskRow) -> WorkItem {
    let definition = &task.definition;
    WorkItem {
        task: task.id,
        procedure: definition.id.clone(),
        title: definition.title.clone(),
        place: (!task.place.is_empty()).then(|| task.place.clone()),
        state: task.state,
        quick_check: definition.quick_check.as_ref().map(|check| check.text.clone()),
        wait_seconds: (definition.settle.seconds > 0).then_some(definition.settle.seconds),
        after_handover: definition.ends == Ends::AfterHandover,
        minutes: definition.minutes.likely,
    }
}
