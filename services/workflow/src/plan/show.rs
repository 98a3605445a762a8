//! The plan as it is shown: JSON, the board, and a calendar for a bay or a technician.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use contract::plan::{PlanCost, PlanItem, PlanQuery, PlanView};
use domain::lifecycle::{LineState, TaskState};
use paper::board::{Bar, BarState, Bay, Board, Closed, svg};
use paper::calendar::{Calendar, Entry, ics};
use store::plans::PlanItemRow;
use store::tasks::Node;
use uuid::Uuid;

use super::picture::Shop;
use super::round::title;
use crate::caller::Caller;
use crate::case::Case;
use crate::checks::fault;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Hours that the board shows at the least.
const BOARD_HOURS: i64 = 9;

/// The plan in force.
pub async fn get(flow: &Flow, caller: &Caller) -> Result<PlanView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop_picture().await?;
        let id = step.shop();
        let newest = store::plans::newest(step.conn(), id).await?;
        let items = shop.items.iter().filter_map(|item| view(&shop, item)).collect();
        let read = |value: Option<&serde_json::Value>| value.cloned().unwrap_or_default();
        let cost: PlanCost =
            serde_json::from_value(read(newest.as_ref().map(|p| &p.cost))).unwrap_or_default();
        Ok(PlanView {
            version: newest.as_ref().map_or(0, |p| p.version),
            made_at: newest.as_ref().map(|p| p.made_at),
            cost,
            items,
            unplanned: serde_json::from_value(read(newest.as_ref().map(|p| &p.unplanned)))
                .unwrap_or_default(),
            moved: serde_json::from_value(read(newest.as_ref().map(|p| &p.moved)))
                .unwrap_or_default(),
        })
    })
    .await
}

/// The plan as a picture (SVG).
pub async fn board(flow: &Flow, caller: &Caller) -> Result<String, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop_picture().await?;
        let id = step.shop();
        let row =
            store::shops::find(step.conn(), id).await?.ok_or_else(|| Refusal::not_found("shop"))?;
        let newest = store::plans::newest(step.conn(), id).await?;
        let left: Vec<contract::plan::Unplanned> = newest
            .map(|plan| serde_json::from_value(plan.unplanned).unwrap_or_default())
            .unwrap_or_default();
        Ok(svg(&picture(&shop, &row.name, &left)))
    })
    .await
}

/// The plan of one bay or one technician as a calendar (RFC 5545).
pub async fn calendar(flow: &Flow, caller: &Caller, query: &PlanQuery) -> Result<String, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop_picture().await?;
        let bay = query.bay.and_then(|id| shop.bays.iter().find(|b| b.id == id));
        let person = query.technician.and_then(|id| shop.people.iter().find(|p| p.id == id));
        let name = match (bay, person) {
            (Some(bay), None) => bay.name.clone(),
            (None, Some(person)) => person.name.clone(),
            _ => {
                return Err(Refusal::unprocessable(vec![fault(
                    "query",
                    "name one bay or one technician of this shop",
                )]));
            }
        };
        let mine = |item: &&PlanItemRow| match (bay, person) {
            (Some(bay), _) => item.bay == Some(bay.id),
            (_, Some(person)) => item.technicians.contains(&person.id),
            _ => false,
        };
        let entries =
            shop.items.iter().filter(mine).filter_map(|item| view(&shop, item)).map(|item| Entry {
                id: item.task.map_or_else(
                    || format!("{}-line-{}", item.order, item.line.unwrap_or(0)),
                    |t| t.to_string(),
                ),
                summary: format!("{} {}", item.number, item.title),
                description: people(&shop, &item.technicians).unwrap_or_default(),
                location: item
                    .bay
                    .and_then(|id| shop.bays.iter().find(|b| b.id == id))
                    .map(|b| b.name.clone()),
                from: item.starts_at,
                until: item.ends_at,
            });
        Ok(ics(&Calendar { name, as_of: shop.now, entries: entries.collect() }))
    })
    .await
}

/// The order's case.
pub(super) fn case_of(shop: &Shop, order: Uuid) -> Option<&Case> {
    shop.cases.iter().find(|case| case.order.id == order)
}

/// A planned item as everybody sees it.
pub(super) fn view(shop: &Shop, item: &PlanItemRow) -> Option<PlanItem> {
    let case = case_of(shop, item.order_id)?;
    Some(PlanItem {
        order: item.order_id,
        number: case.order.number.clone(),
        task: item.task,
        line: item.line,
        title: title(case, item.node()?),
        bay: item.bay,
        technicians: item.technicians.clone(),
        equipment: serde_json::from_value(item.equipment.clone()).unwrap_or_default(),
        starts_at: item.starts_at,
        ends_at: item.ends_at,
    })
}

fn people(shop: &Shop, ids: &[Uuid]) -> Option<String> {
    let names: Vec<&str> = ids
        .iter()
        .filter_map(|id| shop.people.iter().find(|p| p.id == *id))
        .map(|p| p.name.as_str())
        .collect();
    (!names.is_empty()).then(|| names.join(", "))
}

fn picture(shop: &Shop, name: &str, left: &[contract::plan::Unplanned]) -> Board {
    let from = shop.now - TimeDelta::hours(1);
    let ends: BTreeMap<Uuid, DateTime<Utc>> =
        shop.items.iter().fold(BTreeMap::new(), |mut ends, item| {
            let end = ends.entry(item.order_id).or_insert(item.ends_at);
            *end = (*end).max(item.ends_at);
            ends
        });
    let bars = |fits: &dyn Fn(&PlanItemRow) -> bool| -> Vec<Bar> {
        shop.items
            .iter()
            .filter(|item| fits(item))
            .filter_map(|item| {
                let case = case_of(shop, item.order_id)?;
                let node = item.node()?;
                let unfinished = left.iter().any(|left| left.order == item.order_id);
                let late = case
                    .order
                    .promised_at
                    .zip(ends.get(&item.order_id))
                    .is_some_and(|(promised, end)| unfinished || *end > promised);
                Some(bar(shop, case, item, node, late))
            })
            .collect()
    };
    // A day; before a weekend as far as into the day on which work goes on.
    let goes_on =
        shop.items.iter().filter(|item| item.ends_at > shop.now).map(|i| i.starts_at).min();
    let day = goes_on.unwrap_or(shop.now) + TimeDelta::hours(BOARD_HOURS);
    let day = day.max(shop.now + TimeDelta::hours(24));
    let until = ends.values().max().copied().unwrap_or(shop.now).min(day);
    Board {
        shop: name.to_owned(),
        time_zone: shop.zone.name().to_owned(),
        now: shop.now,
        from,
        until: until.max(shop.now + TimeDelta::hours(BOARD_HOURS)),
        bays: shop
            .bays
            .iter()
            .filter(|bay| !bay.retired)
            .map(|bay| Bay {
                name: bay.name.clone(),
                offers: bay.capabilities.join(", ").replace('_', " "),
                closed: shop
                    .away
                    .iter()
                    .filter(|away| away.bay == Some(bay.id))
                    .map(|away| Closed {
                        from: away.from_at,
                        until: away.until_at.unwrap_or(shop.now + super::picture::HORIZON),
                        why: "out of service".to_owned(),
                    })
                    .collect(),
                bars: bars(&|item| item.bay == Some(bay.id)),
            })
            .collect(),
        road: bars(&|item| item.bay.is_none()),
        unplanned: left
            .iter()
            .filter_map(|left| {
                let case = case_of(shop, left.order)?;
                let node = left.task.map(Node::Task).or(left.line.map(Node::Line))?;
                Some(paper::board::Unplanned {
                    order: case.order.number.clone(),
                    title: title(case, node),
                    why: left.reason.clone(),
                })
            })
            .collect(),
    }
}

fn bar(shop: &Shop, case: &Case, item: &PlanItemRow, node: Node, late: bool) -> Bar {
    let task = node.task().and_then(|id| case.tasks.iter().find(|t| t.id == id));
    let line = node.line().and_then(|number| case.lines.iter().find(|l| l.line == number));
    let state = match (task.map(|t| t.state), line.map(|l| l.state)) {
        (Some(TaskState::Running), _) | (_, Some(LineState::Started)) => BarState::Running,
        (Some(TaskState::Held | TaskState::Failed), _) => BarState::Held,
        (Some(state), _) if state.is_over() => BarState::Done,
        (_, Some(state)) if state.is_over() => BarState::Done,
        _ => BarState::Planned,
    };
    let settle = task.map_or(0, |t| i64::from(t.definition.settle.seconds));
    Bar {
        order: case.order.number.clone(),
        title: title(case, node),
        technician: people(shop, &item.technicians),
        from: item.starts_at,
        until: item.ends_at,
        settles_until: (settle > 0).then(|| item.ends_at + TimeDelta::seconds(settle)),
        state,
        late,
        pinned: item.task.is_some_and(|id| shop.pins.iter().any(|pin| pin.task == id)),
    }
}
