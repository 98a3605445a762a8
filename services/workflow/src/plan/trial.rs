//! Trials: what if? Two plans side by side; nothing changes unless the trial is adopted.

use contract::plan::{NewTrial, TrialView};
use contract::resources::NewAbsence;
use planner::compare::{Figures, figures};
use planner::model::{Model, OrderId, Pin};
use serde_json::json;
use uuid::Uuid;

use super::picture::{Picture, Shop, draw, ticks};
use super::pins;
use super::round::{aside, cost, moved, think, unplanned};
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
    let (before, after) = (figures(&picture.model, &now), figures(&picture.model, &then));
    let orders = |numbers: &[OrderId]| -> Vec<Uuid> {
        numbers.iter().filter_map(|number| order_of(&picture, *number)).collect()
    };
    let late = |figures: &Figures| {
        let promised = |order: &&OrderId| picture.model.orders[**order].promised.is_some();
        let mut late = figures.late.clone();
        late.extend(figures.unfinished.iter().filter(promised));
        late.sort_unstable();
        orders(&late)
    };
    Ok(TrialView {
        in_force: cost(&picture.model, &now),
        trial: cost(&picture.model, &then),
        late_in_force: late(&before),
        late_in_trial: late(&after),
        unfinished_in_force: orders(&before.unfinished),
        unfinished_in_trial: orders(&after.unfinished),
        moved: moved(&shop, &Picture { model, ..picture.clone() }, &then, &now.placements),
        unplanned: unplanned(&picture, &then),
        adopted: new.adopt,
    })
}

fn order_of(picture: &Picture, number: OrderId) -> Option<Uuid> {
    let job = picture.model.jobs.iter().position(|job| job.order == number)?;
    Some(picture.nodes[job].0)
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
        for (at, pin) in new.pins.iter().enumerate() {
            step.set_pin(pin, &format!("/pins/{at}")).await?;
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
    for (number, pin) in new.pins.iter().enumerate() {
        let at = format!("/pins/{number}");
        let job = nodes.iter().position(|(_, node)| node.task() == Some(pin.task));
        let bay = |id| shop.bays.iter().position(|bay| bay.id == id && !bay.retired);
        let bay = pin.bay.map(bay);
        let person = pin.technician.map(|id| shop.people.iter().position(|one| one.id == id));
        faults.extend(pins::faults(pin, &at, shop.now));
        if bay == Some(None) {
            faults.push(fault(&format!("{at}/bay"), "there is no such bay"));
        }
        if person == Some(None) {
            faults.push(fault(&format!("{at}/technician"), "there is no such technician"));
        }
        if new.pins[..number].iter().any(|other| other.task == pin.task) {
            faults.push(fault(&format!("{at}/task"), "the task is pinned twice"));
        }
        match job {
            Some(job) if model.jobs[job].fixed.is_some() => {
                faults.push(fault(&format!("{at}/task"), "the task runs already"));
            }
            Some(job) => {
                let start = pin.starts_at.map(ticks);
                let (bay, technician) = (bay.flatten(), person.flatten());
                model.jobs[job].pin = Pin { bay, technician, start };
            }
            None => faults.push(fault(&format!("{at}/task"), "there is no such open task")),
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}
