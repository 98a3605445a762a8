//! Trials: what if? Two plans side by side; nothing changes unless the trial is adopted.

use chrono::{DateTime, Utc};
use contract::plan::{NewTrial, TrialView};
use contract::resources::NewAbsence;
use planner::model::Model;
use serde_json::json;
use store::plans::PlanItemRow;
use uuid::Uuid;

use super::picture::{Picture, Shop, draw};
use super::round::{aside, cost, items, moved, think, unplanned};
use crate::caller::Call;
use crate::checks::fault;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// The weight of an order that comes first: the highest that one can have.
const FIRST: i32 = 100;

/// Plans as if, and compares with planning as it is.
pub async fn trial(flow: &Flow, call: &Call, new: &NewTrial) -> Result<TrialView, Refusal> {
    let shop = flow.read(&call.caller, async |step| step.shop_picture().await).await?;
    let picture = draw(&shop);
    let mut model = picture.model.clone();
    change(&shop, &picture.nodes, &mut model, new)?;
    let as_it_is = picture.model.clone();
    let tried = model.clone();
    let (now, then) = aside(move || (think(&as_it_is), think(&tried))).await?;
    if new.adopt {
        adopt(flow, call, new).await?;
    }
    let (old, later) = (items(&shop, &picture, &now), items(&shop, &picture, &then));
    Ok(TrialView {
        in_force: cost(&picture.model, &now),
        trial: cost(&picture.model, &then),
        late_in_force: late(&shop, &old),
        late_in_trial: late(&shop, &later),
        moved: moved(&shop, &Picture { model, ..picture.clone() }, &then, &old, &later),
        unplanned: unplanned(&picture, &then),
        adopted: new.adopt,
    })
}

/// Makes it so: the next round of planning sees what the trial saw.
async fn adopt(flow: &Flow, call: &Call, new: &NewTrial) -> Result<(), Refusal> {
    let out = |technician: Option<Uuid>, bay: Option<Uuid>| NewAbsence {
        technician,
        bay,
        equipment: None,
        from_at: None,
        until_at: None,
        reason: "a trial was adopted".to_owned(),
    };
    flow.write(call, "plan.adopt", async |step| {
        if let Some(order) = new.order_first {
            let mut case = step.lock_open(call, order).await?;
            case.order.weight = FIRST;
            step.amended(flow, case, "order.put_first", json!({ "weight": FIRST })).await?;
        }
        for bay in &new.bays_out {
            step.add_absence(&out(None, Some(*bay))).await?;
        }
        for person in &new.technicians_out {
            step.add_absence(&out(Some(*person), None)).await?;
        }
        Ok(())
    })
    .await
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
            Some(job) => {
                let order = model.jobs[job].order;
                model.orders[order].weight = i64::from(FIRST);
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
