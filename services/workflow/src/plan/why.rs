//! Why an order is late.

use chrono::{DateTime, Utc};
use contract::forecast::{ChainLink, WhyLateView};
use contract::plan::Unplanned;
use planner::explain::explain;
use planner::model::Model;
use planner::outcome::Plan;
use uuid::Uuid;

use super::picture::draw;
use super::round::title;
use super::show::case_of;
use crate::caller::Caller;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// The chain that ends an order by the plan in force.
pub async fn why_late(flow: &Flow, caller: &Caller, order: Uuid) -> Result<WhyLateView, Refusal> {
    let (shop, left) = flow
        .read(caller, async |step| {
            let shop = step.shop();
            let newest = store::plans::newest(step.conn(), shop).await?;
            Ok((step.shop_picture().await?, newest.map(|plan| plan.unplanned)))
        })
        .await?;
    let left: Option<Vec<Unplanned>> = left.and_then(|left| serde_json::from_value(left).ok());
    let mut left = left.unwrap_or_default();
    left.retain(|left| left.order == order);
    let case = case_of(&shop, order).ok_or_else(|| Refusal::not_found("open order"))?;
    let picture = draw(&shop);
    let plan = in_force(&picture.model);
    let own = picture.nodes.iter().position(|(id, _)| *id == order);
    let chain = own.map(|job| explain(&picture.model, &plan, picture.model.jobs[job].order));
    let at = |ticks: i64| DateTime::<Utc>::from_timestamp(ticks, 0).unwrap_or(shop.now);
    let ends = (0..picture.nodes.len())
        .filter(|job| picture.nodes[*job].0 == order)
        .filter_map(|job| plan.placements.get(job)?.as_ref().map(|placed| placed.end))
        .max();
    let late = ends.zip(case.order.promised_at).map(|(end, promised)| at(end) - promised);
    Ok(WhyLateView {
        order,
        number: case.order.number.clone(),
        promised_at: case.order.promised_at,
        ends_at: ends.map(at).filter(|_| left.is_empty()),
        late_minutes: late.map_or(0, |late| late.num_minutes().max(0)),
        unplanned: left,
        chain: chain
            .unwrap_or_default()
            .into_iter()
            .filter_map(|link| {
                let (order, node) = picture.nodes.get(link.job)?;
                let case = case_of(&shop, *order)?;
                Some(ChainLink {
                    order: *order,
                    number: case.order.number.clone(),
                    task: node.task(),
                    line: node.line(),
                    title: title(case, *node),
                    starts_at: at(link.start),
                    because: link.cause.words(&picture.model),
                })
            })
            .collect(),
    })
}

fn in_force(model: &Model) -> Plan {
    Plan { placements: model.in_force.clone(), ..Plan::default() }
}
