//! Orders, vehicles and tasks as they are read.

use contract::list::Page;
use contract::orders::{OrderQuery, OrderSummary, OrderView};
use contract::tasks::{TaskQuery, TaskView};
use contract::vehicles::{LockView, VehicleView};
use domain::start::{OpenBracket, VehicleHold};
use store::orders::OrderFilter;
use store::tasks::TaskFilter;
use uuid::Uuid;

use crate::caller::Caller;
use crate::disturbance::recovered_by;
use crate::flow::Flow;
use crate::refusal::Refusal;
use crate::{departures, list, view};

/// One order.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<OrderView, Refusal> {
    flow.read(caller, async |step| Ok(view::order(&step.see_case(id).await?))).await
}

/// A page of orders, oldest first.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &OrderQuery,
) -> Result<Page<OrderSummary>, Refusal> {
    let limit = list::limit(query.limit)?;
    let filter = OrderFilter {
        state: query.state,
        number: query.number.clone(),
        vin: query.vin.clone(),
        after: list::cursor(query.cursor.as_deref())?,
    };
    flow.read(caller, async |step| {
        let shop = step.shop();
        let found = store::orders::page(step.conn(), shop, &filter, limit + 1).await?;
        let Page { items: ids, next } = list::cut(found, limit, Uuid::to_string);
        let items = step.see_cases(&ids).await?.iter().map(view::summary).collect();
        Ok(Page { items, next })
    })
    .await
}

/// One task.
pub async fn get_task(flow: &Flow, caller: &Caller, id: Uuid) -> Result<TaskView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let order = store::tasks::order_of(step.conn(), shop, id).await?;
        let case = step.see_case(order.ok_or_else(|| Refusal::not_found("task"))?).await?;
        Ok(view::task(&case, case.task(id)?))
    })
    .await
}

/// A page of tasks, oldest first.
pub async fn list_tasks(
    flow: &Flow,
    caller: &Caller,
    query: &TaskQuery,
) -> Result<Page<TaskView>, Refusal> {
    let limit = list::limit(query.limit)?;
    let filter = TaskFilter {
        order: query.order,
        state: query.state,
        after: list::cursor(query.cursor.as_deref())?,
    };
    flow.read(caller, async |step| {
        let shop = step.shop();
        let found = store::tasks::page(step.conn(), shop, &filter, limit + 1).await?;
        let Page { items: found, next } = list::cut(found, limit, |(id, _)| id.to_string());
        let mut orders: Vec<Uuid> = found.iter().map(|(_, order)| *order).collect();
        orders.sort_unstable();
        orders.dedup();
        let cases = step.see_cases(&orders).await?;
        let mut items = Vec::with_capacity(found.len());
        for (id, order) in found {
            if let Some(case) = cases.iter().find(|case| case.order.id == order) {
                items.push(view::task(case, case.task(id)?));
            }
        }
        Ok(Page { items, next })
    })
    .await
}

/// One vehicle, across its orders.
pub async fn get_vehicle(flow: &Flow, caller: &Caller, id: Uuid) -> Result<VehicleView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let now = step.now().await?;
        let vehicle = store::vehicles::find(step.conn(), shop, id).await?;
        let vehicle = vehicle.ok_or_else(|| Refusal::not_found("vehicle"))?;
        let orders = store::orders::of_vehicle(step.conn(), shop, id).await?;
        let mut cases = step.see_cases(&orders).await?;
        cases.sort_by_key(|case| std::cmp::Reverse(case.order.id));
        let occupancy = store::vehicles::occupancy(step.conn(), shop, id).await?;
        let brackets = store::vehicles::open_brackets(step.conn(), shop, id).await?;
        let holds = store::vehicles::open_holds(step.conn(), shop, id, now).await?;
        let departures = store::departures::of_vehicle(step.conn(), shop, id).await?;
        let lock = |b: &store::vehicles::BracketRow| {
            b.holder.map(|holder| LockView {
                mode: b.mode.clone(),
                holder,
                offered_to: b.offered_to,
            })
        };
        let locks = brackets.iter().filter_map(lock).collect();
        Ok(VehicleView {
            id,
            vin: vehicle.vin,
            identity: vehicle.identity,
            plate: vehicle.plate,
            busy_with: occupancy
                .into_iter()
                .filter(|o| o.kind == "vehicle")
                .map(|o| {
                    o.task.map_or_else(
                        || format!("line {}", o.line.unwrap_or(0)),
                        |t| format!("task {t}"),
                    )
                })
                .collect(),
            open_brackets: brackets
                .into_iter()
                .map(|b| OpenBracket {
                    recovered_by: cases.iter().find_map(|case| recovered_by(case, &b)),
                    mode: b.mode,
                    entered_by: b.entered_by,
                    order: b.order_id,
                    left_by: b.left_by,
                })
                .collect(),
            holds: holds
                .into_iter()
                .map(|h| VehicleHold {
                    id: h.id,
                    kind: h.kind,
                    reason: h.reason,
                    until: h.until_at,
                })
                .collect(),
            locks,
            away: departures
                .into_iter()
                .find(|row| row.returned_at.is_none())
                .map(departures::view),
            orders: cases.iter().map(view::summary).collect(),
        })
    })
    .await
}

/// The service's time.
pub async fn clock(flow: &Flow, caller: &Caller) -> Result<chrono::DateTime<chrono::Utc>, Refusal> {
    flow.read(caller, async |step| step.now().await).await
}
