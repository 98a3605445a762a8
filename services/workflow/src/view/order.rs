//! An order as everybody sees it.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use contract::orders::{
    EarlierOrder, EarlierTask, LineView, OrderSummary, OrderView, ProgressView, PromiseRisk,
    QuestionView, SubletDocumentView,
};
use domain::lifecycle::{LineState, TaskState};
use domain::order::Authorisation;
use domain::procedure::{Ends, Phase};
use store::lines::LineRow;
use store::plans::PlanItemRow;
use store::questions::QuestionRow;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use super::{leaving, task};
use crate::case::{Case, is_on_hold, line_is_over};
use crate::record::hex;

/// A whole order.
pub(crate) fn order(case: &Case) -> OrderView {
    let order = &case.order;
    let (ready_at, promise) = promise(case);
    let tasks = workable(case).into_iter().map(|row| task(case, row)).collect();
    OrderView {
        id: order.id,
        number: order.number.clone(),
        state: order.state,
        version: order.version,
        catalogue_version: order.catalogue_version.clone(),
        vehicle_id: order.vehicle,
        vehicle: order.facts.clone(),
        created_at: order.created_at,
        arrives_at: order.arrives_at,
        promised_at: order.promised_at,
        weight: order.weight,
        follows: order.follows,
        split_from: order.split_from,
        trouble_codes: order.trouble_codes.clone(),
        complaints: order.complaints.clone(),
        findings: serde_json::from_value(order.findings.clone()).unwrap_or_default(),
        lines: case.lines.iter().map(line).collect(),
        questions: case.questions.iter().map(question).collect(),
        tasks,
        progress: progress(case),
        ready_at,
        promise,
        leaving: leaving(case, ready_at),
        other_open_orders: case.other_open.clone(),
        released_at: order.released_at,
        changes: None,
        left_behind: Vec::new(),
    }
}

/// What an earlier order left behind on the vehicle; none: nothing.
pub(crate) fn left_behind(case: &Case) -> Option<EarlierOrder> {
    let replaced = |row: &TaskRow| {
        let same = |other: &&TaskRow| {
            other.definition.id == row.definition.id
                && other.place == row.place
                && other.id > row.id
        };
        case.tasks.iter().any(|other| same(&other) && other.state != TaskState::Withdrawn)
    };
    let left = case.tasks.iter().filter(|row| match row.state {
        TaskState::Passed | TaskState::Withdrawn => false,
        TaskState::Disturbed => !replaced(row),
        _ => true,
    });
    let tasks: Vec<EarlierTask> = left
        .map(|row| EarlierTask {
            task: row.id,
            procedure: row.definition.id.clone(),
            title: row.definition.title.clone(),
            place: (!row.place.is_empty()).then(|| row.place.clone()),
            state: row.state,
        })
        .collect();
    let declined = case.lines.iter().filter(|l| l.authorisation == Authorisation::Declined);
    let declined_lines: Vec<i32> =
        declined.filter(|l| l.state != LineState::Removed).map(|l| l.line).collect();
    let order = &case.order;
    (!tasks.is_empty() || !declined_lines.is_empty()).then(|| EarlierOrder {
        order: order.id,
        number: order.number.clone(),
        state: order.state,
        released_at: order.released_at,
        tasks,
        declined_lines,
    })
}

/// An order in a list.
pub(crate) fn summary(case: &Case) -> OrderSummary {
    let (ready_at, promise) = promise(case);
    OrderSummary {
        id: case.order.id,
        number: case.order.number.clone(),
        state: case.order.state,
        vehicle_id: case.order.vehicle,
        created_at: case.order.created_at,
        promised_at: case.order.promised_at,
        ready_at,
        promise,
        progress: progress(case),
    }
}

/// When the order may be ready by the plan, and how its promise stands. Lateness is told before it happens: a plan that
/// keeps the promise only if nothing takes its most minutes is at risk.
fn promise(case: &Case) -> (Option<DateTime<Utc>>, PromiseRisk) {
    promise_with(case, &case.plan, case.now)
}

/// The same by another plan, or at another moment.
pub(crate) fn promise_with(
    case: &Case,
    plan: &[PlanItemRow],
    now: DateTime<Utc>,
) -> (Option<DateTime<Utc>>, PromiseRisk) {
    let Some((ready, slip)) = ready_with(case, plan, now) else {
        return (None, PromiseRisk::Unknown);
    };
    let risk = match case.order.promised_at {
        None => PromiseRisk::Unknown,
        Some(promised) if ready > promised => PromiseRisk::Late,
        Some(promised) if ready + slip > promised => PromiseRisk::AtRisk,
        Some(_) => PromiseRisk::OnTime,
    };
    (Some(ready), risk)
}

/// When an order is likely ready by a plan, and by how much that may slip if its tasks take as long as they ever should;
/// none: not all of it is planned.
pub(crate) fn ready_with(
    case: &Case,
    plan: &[PlanItemRow],
    now: DateTime<Utc>,
) -> Option<(DateTime<Utc>, TimeDelta)> {
    let open: Vec<&TaskRow> =
        case.live().filter(|t| !t.state.is_over() && t.definition.ends == Ends::InShop).collect();
    let planned: BTreeMap<Node, DateTime<Utc>> =
        plan.iter().filter_map(|item| item.node().map(|node| (node, item.ends_at))).collect();
    let settled = case.live().filter_map(|t| t.settled_at).max();
    let mut ready = settled.filter(|until| *until > now).unwrap_or(now);
    let mut slip = TimeDelta::zero();
    for row in &open {
        let ends = planned.get(&Node::Task(row.id))?;
        ready = ready.max(*ends + TimeDelta::seconds(i64::from(row.definition.settle.seconds)));
        let minutes = row.definition.minutes;
        slip += TimeDelta::minutes(i64::from(minutes.most.saturating_sub(minutes.likely)));
    }
    for row in
        case.lines.iter().filter(|l| !line_is_over(l) && l.authorisation == Authorisation::Approved)
    {
        match planned.get(&Node::Line(row.line)) {
            Some(ends) => ready = ready.max(*ends),
            None if row.minutes.unwrap_or(0) == 0 && !is_on_hold(row) => {}
            None => return None,
        }
    }
    Some((ready, slip))
}

/// Tasks in an order in which they can be worked.
fn workable(case: &Case) -> Vec<&TaskRow> {
    let mut left: Vec<&TaskRow> = case.tasks.iter().collect();
    left.sort_by_key(|t| (t.definition.phase == Phase::After, t.id));
    let mut done: Vec<Uuid> = Vec::new();
    let mut sorted = Vec::with_capacity(left.len());
    while !left.is_empty() {
        let free = left.iter().position(|t| {
            case.precedence
                .iter()
                .filter(|e| e.then == Node::Task(t.id))
                .filter_map(|e| e.before.task())
                .all(|before| {
                    done.contains(&before) || !left.iter().any(|other| other.id == before)
                })
        });
        // A conflict of order is a finding; the tasks are shown all the same.
        let next = left.remove(free.unwrap_or(0));
        done.push(next.id);
        sorted.push(next);
    }
    sorted
}

fn progress(case: &Case) -> ProgressView {
    let count = |fits: fn(&TaskRow) -> bool| {
        u32::try_from(case.live().filter(|t| fits(t)).count()).unwrap_or(u32::MAX)
    };
    ProgressView {
        tasks: count(|_| true),
        passed: count(|t| t.state == TaskState::Passed),
        waived: count(|t| t.state == TaskState::Waived),
        open: count(|t| !t.state.is_over()),
        questions: u32::try_from(case.questions.iter().filter(|q| q.state == "open").count())
            .unwrap_or(u32::MAX),
    }
}

fn line(row: &LineRow) -> LineView {
    LineView {
        line: row.line,
        state: row.state,
        authorisation: row.authorisation,
        text: row.text.clone(),
        labour_code: row.labour_code.clone(),
        reading: row.reading.reading,
        operations: row.reading.operations.clone(),
        posted: row.operations.clone(),
        minutes: row.minutes,
        parts_expected_at: row.parts_expected_at,
        on_hold: row.on_hold,
        sublet: row.sublet.clone(),
        document: row.document.as_ref().map(|document| SubletDocumentView {
            name: document.name.clone(),
            media_type: document.media_type.clone(),
            sha256: hex(&document.sha256),
            attested_by: document.attested_by.clone(),
            at: document.at,
        }),
        started_at: row.started_at,
        finished_at: row.finished_at,
    }
}

fn question(row: &QuestionRow) -> QuestionView {
    QuestionView {
        because: serde_json::from_value(row.because.clone()).unwrap_or_default(),
        id: row.id,
        asks: row.asks.clone(),
        text: row.text.clone(),
        choices: row.choices.as_array().cloned().unwrap_or_default(),
        decides: row.decides.clone(),
        state: row.state.clone(),
    }
}
