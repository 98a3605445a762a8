//! Put: the whole order again, for systems that know no single changes.

use contract::orders::{NewOrder, OrderView};
use contract::problem::{FieldFault, ProblemKind};
use domain::lifecycle::LineState;
use domain::vehicle::VehicleFacts;
use serde_json::json;
use store::StoreError;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::refusal::Refusal;
use crate::{checks, intake, vehicle_identity, view};

/// Takes the whole order again; takes it in when it is new, and tells so. An order that already says all of it stays
/// as it is. The vehicle stays the same one: another VIN is refused, a first one is kept.
pub async fn put_whole(
    flow: &Flow,
    call: &Call,
    number: &str,
    new: &NewOrder,
) -> Result<(OrderView, bool), Refusal> {
    if new.number != number {
        return Err(Refusal::field("/number", "the path names another order"));
    }
    let there = flow
        .read(&call.caller, async |step| {
            let shop = step.shop();
            Ok(store::orders::numbered(step.conn(), shop, number).await?)
        })
        .await?;
    let Some(order) = there else { return intake::intake(flow, call, new).await };
    let changed = flow
        .write(call, "orders.put", async |step| {
            let mut case = step.lock_open(call, order).await?;
            let compiled = step.catalogue_of(flow, &case).await?;
            let mut faults = checks::order(&compiled, new);
            let (found, vin_faults) = vehicle_identity::check(&new.vehicle, case.now);
            faults.extend(vin_faults);
            if !faults.is_empty() {
                return Err(Refusal::unprocessable(faults));
            }
            let before = case.order.clone();
            let mut changed = step.same_vehicle(&mut case, new).await?;
            let gone: Vec<i32> = case
                .lines
                .iter()
                .filter(|l| {
                    l.state != LineState::Removed && !new.lines.iter().any(|n| n.line == l.line)
                })
                .map(|l| l.line)
                .collect();
            for line in gone {
                step.take_off(&mut case, line).await?;
                changed = true;
            }
            for (at, line) in new.lines.iter().enumerate() {
                changed |= step.change_line(flow, &mut case, line, &format!("/lines/{at}")).await?;
            }
            apply(&mut case, new);
            if !changed && case.order == before {
                return Ok(view::order(&case));
            }
            if new.vehicle.vin.is_some() {
                case.find_of_vehicle(found);
            }
            step.amended(flow, case, "order.put", json!(new)).await
        })
        .await?;
    Ok((changed, false))
}

fn apply(case: &mut Case, new: &NewOrder) {
    let order = &mut case.order;
    let mut known = std::mem::replace(&mut order.facts, new.vehicle.clone());
    order.facts.vin = known.vin.take();
    let answered = case.questions.iter().filter(|question| question.state == "answered");
    for question in answered {
        keep_answer(&question.asks, &known, &mut order.facts);
    }
    order.trouble_codes.clone_from(&new.trouble_codes);
    order.complaints.clone_from(&new.complaints);
    order.arrives_at = new.arrives_at;
    order.promised_at = new.promised_at;
    order.weight = new.weight.unwrap_or(order.weight);
    order.odometer_in = new.odometer_in.or(order.odometer_in);
}

/// What was answered stays known, unless the order says otherwise.
fn keep_answer(asks: &str, known: &VehicleFacts, facts: &mut VehicleFacts) {
    match asks {
        "powertrain" => facts.powertrain = facts.powertrain.or(known.powertrain),
        "make" => facts.make = facts.make.take().or_else(|| known.make.clone()),
        "model" => facts.model = facts.model.take().or_else(|| known.model.clone()),
        "model_year" => facts.model_year = facts.model_year.or(known.model_year),
        feature => {
            let name = feature.strip_prefix("features.").unwrap_or(feature);
            if let Some(fact) = known.features.get(name) {
                facts.features.entry(name.to_owned()).or_insert_with(|| fact.clone());
            }
        }
    }
}

impl Step {
    /// Refuses another VIN than the vehicle's; a vehicle that had none gets it, and that is a change.
    async fn same_vehicle(&mut self, case: &mut Case, new: &NewOrder) -> Result<bool, Refusal> {
        let Some(posted) = &new.vehicle.vin else { return Ok(false) };
        let vin = posted.trim().to_uppercase();
        let Some(known) = &case.vehicle.vin else {
            let shop = self.shop();
            match store::vehicles::identify(self.conn(), shop, case.vehicle.id, &vin).await {
                Err(StoreError::Duplicate { .. }) => {
                    let detail = "the order was taken in without a VIN, and this VIN is that of another vehicle of \
                                  the shop; cancel the order and take it in again for that one";
                    return Err(other_vehicle(case, detail.to_owned()));
                }
                done => done?,
            };
            case.vehicle.vin = Some(vin);
            case.order.facts.vin.clone_from(&new.vehicle.vin);
            return Ok(true);
        };
        if *known == vin {
            return Ok(false);
        }
        let detail = format!("the order was taken in for {known}; an order stays with its vehicle");
        Err(other_vehicle(case, detail))
    }
}

fn other_vehicle(case: &Case, detail: String) -> Refusal {
    let mut refusal = Refusal::new(ProblemKind::VinDiffers, detail.clone())
        .with("order", case.order.id.to_string())
        .with("vin", case.vehicle.vin.clone());
    refusal.0.errors = vec![FieldFault { pointer: "/vehicle/vin".to_owned(), detail }];
    refusal
}
