//! Trials: what if? Two plans side by side; nothing changes.

use chrono::{DateTime, Utc};
use contract::plan::{NewTrial, TrialView};
use planner::model::Model;
use store::plans::PlanItemRow;
use uuid::Uuid;

use super::picture::{Shop, draw};
use super::round::{cost, items, moved, think, unplanned};
use crate::caller::Caller;
use crate::checks::fault;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Plans as if, and compares with planning as it is.
pub async fn trial(flow: &Flow, caller: &Caller, new: &NewTrial) -> Result<TrialView, Refusal> {
    let shop = flow.read(caller, async |step| step.shop_picture().await).await?;
    let picture = draw(&shop);
    let mut model = picture.model.clone();
    change(&shop, &picture.nodes, &mut model, new)?;
    let as_it_is = picture.model.clone();
    let tried = model.clone();
    let thought = tokio::task::spawn_blocking(move || (think(&as_it_is), think(&tried))).await;
    let (now, then) = thought.map_err(|error| {
        Refusal::new(
            contract::problem::ProblemKind::Internal,
            format!("planning broke off: {error}"),
        )
    })?;
    let (old, new) = (items(&shop, &picture, &now), items(&shop, &picture, &then));
    Ok(TrialView {
        in_force: cost(&picture.model, &now),
        trial: cost(&picture.model, &then),
        late_in_force: late(&shop, &old),
        late_in_trial: late(&shop, &new),
        moved: moved(&shop, &old, &new),
        unplanned: unplanned(&picture, &then),
    })
}

fn change(
    shop: &Shop,
    nodes: &[(Uuid, store::tasks::Node)],
    model: &mut Model,
    new: &NewTrial,
) -> Result<(), Refusal> {
    let mut faults = Vec::new();
    let whole = (model.now, model.horizon);
    for (at, id) in new.bays_out.iter().enumerate() {
        match shop.bays.iter().position(|bay| bay.id == *id) {
            Some(bay) => model.bays[bay].closed.push(whole),
            None => faults.push(fault(&format!("/bays_out/{at}"), "there is no such bay")),
        }
    }
    for (at, id) in new.technicians_out.iter().enumerate() {
        match shop.people.iter().position(|person| person.id == *id) {
            Some(person) => model.technicians[person].shifts.clear(),
            None => {
                faults
                    .push(fault(&format!("/technicians_out/{at}"), "there is no such technician"));
            }
        }
    }
    if let Some(first) = new.order_first {
        match nodes.iter().position(|(order, _)| *order == first) {
            // Weighed so that nothing else outweighs it, and promised for now.
            Some(job) => {
                let order = model.jobs[job].order;
                model.orders[order].weight = 10_000;
                model.orders[order].promised = Some(model.now);
            }
            None => faults.push(fault("/order_first", "there is no such open order")),
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}

/// Orders whose last item ends after their promise.
fn late(shop: &Shop, items: &[PlanItemRow]) -> Vec<Uuid> {
    let end = |order: Uuid| -> Option<DateTime<Utc>> {
        items.iter().filter(|i| i.order_id == order).map(|i| i.ends_at).max()
    };
    shop.cases
        .iter()
        .filter(|case| {
            case.order
                .promised_at
                .zip(end(case.order.id))
                .is_some_and(|(promised, ends)| ends > promised)
        })
        .map(|case| case.order.id)
        .collect()
}
