//! The manufacturer's figure in place of the catalogue's: within what the catalogue allows, and by a second person where
//! it says so.

use std::borrow::Cow;

use contract::limits::{LimitOverrideView, NewLimitOverride};
use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use domain::lifecycle::TaskState;
use domain::limit::{Bound, Limit};
use domain::precondition::Precondition;
use domain::quantity::Decimal;
use serde_json::json;
use store::limits::LimitRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::checks::fault;
use crate::flow::Flow;
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Gives a limit for a task that was not started.
pub async fn give(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewLimitOverride,
) -> Result<LimitOverrideView, Refusal> {
    flow.write(call, "tasks.limit", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?.clone();
        if row.state.is_over() || matches!(row.state, TaskState::Running | TaskState::Held) {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "a limit is given before the task is started",
            )
            .with("state", row.state.word()));
        }
        let (bound, people) = fits(&row, new).map_err(|fault| Refusal::unprocessable(vec![fault]))?;
        let shop = step.shop();
        if store::means::person(step.conn(), shop, new.by).await?.is_none() {
            return Err(Refusal::field("/by", "no technician of this shop"));
        }
        let limit = LimitRow {
            id: step.new_id().await?,
            task,
            precondition: new.precondition.clone(),
            bound: bound.word().to_owned(),
            value: new.value.to_string(),
            unit: new.unit.clone(),
            document: new.document.clone(),
            page: new.page.clone(),
            read_by: new.by.to_string(),
            people: i32::from(people),
            given_by: step.caller.subject.clone(),
            given_at: case.now,
            approved_by: None,
            approved_at: None,
        };
        store::limits::insert(step.conn(), shop, &limit).await?;
        let view = view(&row, &limit);
        step.record(Happening {
            kind: "limit.given",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "limit": limit.id, "precondition": limit.precondition, "bound": bound, "value": new.value,
                "unit": limit.unit, "instead_of": view.instead_of, "document": limit.document, "page": limit.page,
                "read_by": new.by, "people": people }),
        })
        .await?;
        case.limits.push(limit);
        Ok(view)
    })
    .await
}

/// Approves a limit: neither the person who gave it nor the one who read it does.
pub async fn approve(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    id: Uuid,
) -> Result<LimitOverrideView, Refusal> {
    flow.write(call, "tasks.limit.approve", async |step| {
        let case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?;
        let found = case.limits.iter().find(|limit| limit.id == id && limit.task == task);
        let mut limit = found.cloned().ok_or_else(|| Refusal::not_found("limit of this task"))?;
        let by = step.caller.subject.clone();
        let reader = step.caller.technician.is_some_and(|me| me.to_string() == limit.read_by);
        if by == limit.given_by || reader || by == limit.read_by {
            return Err(Refusal::new(
                ProblemKind::SecondPersonRequired,
                "another person approves than who gave the limit and who read it",
            ));
        }
        let nothing = || Refusal::new(ProblemKind::WrongState, "the limit waits for no approval");
        let shop = step.shop();
        if limit.people < 2 || !store::limits::approve(step.conn(), shop, id, &by, case.now).await?
        {
            return Err(nothing());
        }
        step.record(Happening {
            kind: "limit.approved",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "limit": id, "precondition": limit.precondition }),
        })
        .await?;
        limit.approved_by = Some(by);
        limit.approved_at = Some(case.now);
        Ok(view(row, &limit))
    })
    .await
}

/// Every limit given for a task.
pub async fn list(
    flow: &Flow,
    caller: &crate::caller::Caller,
    task: Uuid,
    query: &PageQuery,
) -> Result<Page<LimitOverrideView>, Refusal> {
    flow.read(caller, async |step| {
        let case = step.see_case_of_task(task).await?;
        let row = case.task(task)?;
        let given = case.limits.iter().filter(|limit| limit.task == task);
        let all = given.map(|limit| view(row, limit)).collect();
        list::page(all, query, |limit: &LimitOverrideView| limit.id.to_string())
    })
    .await
}

/// The conditions as they are judged: with the manufacturer's limits that are in force.
pub(crate) fn in_force<'a>(
    case: &Case,
    task: &TaskRow,
    conditions: &'a [Precondition],
) -> Cow<'a, [Precondition]> {
    let limits: Vec<&LimitRow> = of(case, task).filter(|limit| limit.is_in_force()).collect();
    if limits.is_empty() {
        return Cow::Borrowed(conditions);
    }
    let mut changed = conditions.to_vec();
    for limit in limits {
        for one in changed.iter_mut().filter(|one| one.id == limit.precondition) {
            apply(one, limit);
        }
    }
    Cow::Owned(changed)
}

/// The limits given for a task, or for one whose place it takes.
pub(crate) fn of<'a>(case: &'a Case, task: &'a TaskRow) -> impl Iterator<Item = &'a LimitRow> {
    let mut ids = vec![task.id];
    let mut replaced = task.replaces;
    while let Some(id) = replaced.filter(|id| !ids.contains(id)) {
        ids.push(id);
        replaced = case.tasks.iter().find(|t| t.id == id).and_then(|t| t.replaces);
    }
    case.limits.iter().filter(move |limit| ids.contains(&limit.task))
}

/// A limit in words, as the report prints it.
pub(crate) fn words(task: &TaskRow, limit: &LimitRow) -> String {
    let view = view(task, limit);
    format!(
        "{} {} {} instead of {}, by {}, page {}",
        view.bound.phrase(),
        view.value,
        view.unit,
        view.instead_of,
        view.document,
        view.page
    )
}

fn apply(one: &mut Precondition, limit: &LimitRow) {
    let Some(bound) = Bound::of_word(&limit.bound) else { return };
    let Ok(value) = limit.value.parse::<Decimal>() else { return };
    if one.condition.set_limit(bound, value, &limit.unit) {
        let words = format!("{} {} {}", bound.phrase(), limit.value, limit.unit);
        one.text = format!(
            "{} (manufacturer: {words}, {}, page {})",
            one.text, limit.document, limit.page
        );
    }
    // What is allowed at the start is not forbidden a moment later.
    if let Some(running) = &mut one.while_running {
        running.widen(bound, value, &limit.unit);
    }
}

/// Which end is meant and how many people must agree, or what does not fit.
fn fits(task: &TaskRow, new: &NewLimitOverride) -> Result<(Bound, u8), FieldFault> {
    let definition = &task.definition;
    let checks = definition.quick_check.iter().flat_map(|check| &check.proof);
    let mut all = definition.preconditions.iter().chain(&definition.proof).chain(checks);
    let one = all.find(|one| one.id == new.precondition).ok_or_else(|| {
        fault("/precondition", "this task has no precondition or proof of that name")
    })?;
    let rule = one.may_differ.as_ref().ok_or_else(|| {
        fault("/precondition", "the catalogue lets no other figure stand in for its limits")
    })?;
    let limits = one.condition.limits();
    let bound = match (new.bound, limits.as_slice()) {
        (Some(bound), _) => bound,
        (None, [only]) => only.bound,
        (None, _) => return Err(fault("/bound", "it has two limits; say which one is meant")),
    };
    let old = limits
        .iter()
        .find(|limit| limit.bound == bound)
        .ok_or_else(|| fault("/bound", "it has no such limit"))?;
    let value = old.in_its_unit(new.value, &new.unit).ok_or_else(|| {
        fault("/unit", format!("`{}` does not measure what `{}` does", new.unit, old.unit))
    })?;
    let unit = &old.unit;
    let low = rule.at_least.filter(|low| value < low.ratio());
    let high = rule.at_most.filter(|high| value > high.ratio());
    if let Some(end) = low.or(high) {
        let side = if low.is_some() { "less" } else { "more" };
        let detail = format!("the catalogue allows no limit of {side} than {end} {unit}");
        return Err(fault("/value", detail));
    }
    let mut tried = one.condition.clone();
    tried.set_limit(bound, new.value, &new.unit);
    if tried.is_empty_range() {
        return Err(fault("/value", "nothing lies between this limit and the other one"));
    }
    Ok((bound, rule.people))
}

fn view(task: &TaskRow, row: &LimitRow) -> LimitOverrideView {
    let bound = Bound::of_word(&row.bound).unwrap_or(Bound::AtLeast);
    let definition = &task.definition;
    let checks = definition.quick_check.iter().flat_map(|check| &check.proof);
    let old: Option<Limit> = definition
        .preconditions
        .iter()
        .chain(&definition.proof)
        .chain(checks)
        .find(|one| one.id == row.precondition)
        .and_then(|one| one.condition.limits().into_iter().find(|limit| limit.bound == bound));
    LimitOverrideView {
        id: row.id,
        task: row.task,
        precondition: row.precondition.clone(),
        bound,
        value: row.value.parse().unwrap_or_default(),
        unit: row.unit.clone(),
        instead_of: old.map(|old| format!("{} {}", old.value, old.unit)).unwrap_or_default(),
        document: row.document.clone(),
        page: row.page.clone(),
        by: row.read_by.parse().unwrap_or_default(),
        given_at: row.given_at,
        approved_by: row.approved_by.clone(),
        approval_needed: row.people > 1 && row.approved_by.is_none(),
    }
}
