//! Amend: the order's own facts, its lines one by one, or the whole order again.

use contract::orders::{NewLine, NewOrder, OrderPatch, OrderView};
use contract::problem::ProblemKind;
use domain::lifecycle::{LineState, OrderState, TaskEvent, TaskState};
use domain::vehicle::FactValue;
use serde_json::json;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::intake::{digest, line_row};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{checks, intake, view};

/// Changes the order's own facts (JSON Merge Patch, RFC 7396).
pub async fn amend(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    patch: &OrderPatch,
) -> Result<OrderView, Refusal> {
    flow.write(call, "orders.amend", async |step| {
        let mut case = step.lock_open(call, order).await?;
        if patch.state.is_some() {
            return step.cancel(&mut case).await;
        }
        let faults: Vec<_> = patch
            .trouble_codes
            .iter()
            .flatten()
            .enumerate()
            .filter_map(|(at, code)| checks::trouble_code(code, &format!("/trouble_codes/{at}")))
            .collect();
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        apply(&mut case, patch);
        step.amended(flow, case, "order.amended", json!(patch)).await
    })
    .await
}

/// Adds a line or changes it whole.
pub async fn put_line(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    number: i32,
    new: &NewLine,
) -> Result<OrderView, Refusal> {
    flow.write(call, "lines.put", async |step| {
        let mut case = step.lock_open(call, order).await?;
        if new.line != number {
            return Err(Refusal::unprocessable(vec![checks::fault(
                "/line",
                "the path names another line",
            )]));
        }
        step.change_line(flow, &mut case, new, "").await?;
        step.amended(flow, case, "line.put", json!(new)).await
    })
    .await
}

/// Takes a line off the order; one that was begun stays.
pub async fn remove_line(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    number: i32,
) -> Result<OrderView, Refusal> {
    flow.write(call, "lines.remove", async |step| {
        let mut case = step.lock_open(call, order).await?;
        step.take_off(&mut case, number).await?;
        step.amended(flow, case, "line.removed", json!({ "line": number })).await
    })
    .await
}

/// Takes the whole order again: for systems that know no single changes. Takes it in when it is new.
pub async fn put_whole(
    flow: &Flow,
    call: &Call,
    number: &str,
    new: &NewOrder,
) -> Result<(OrderView, bool), Refusal> {
    if new.number != number {
        return Err(Refusal::unprocessable(vec![checks::fault(
            "/number",
            "the path names another order",
        )]));
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
            if case.order.intake_digest == digest(new)? {
                return view::order(&case);
            }
            let compiled = step.catalogue_of(flow, &case).await?;
            let faults = checks::order(&compiled, new);
            if !faults.is_empty() {
                return Err(Refusal::unprocessable(faults));
            }
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
            }
            for (at, line) in new.lines.iter().enumerate() {
                step.change_line(flow, &mut case, line, &format!("/lines/{at}")).await?;
            }
            let vin = case.order.facts.vin.clone();
            case.order.facts = domain::vehicle::VehicleFacts { vin, ..new.vehicle.clone() };
            case.order.trouble_codes.clone_from(&new.trouble_codes);
            case.order.complaints.clone_from(&new.complaints);
            case.order.arrives_at = new.arrives_at;
            case.order.promised_at = new.promised_at;
            case.order.weight = new.weight.unwrap_or(case.order.weight);
            step.amended(flow, case, "order.put", json!(new)).await
        })
        .await?;
    Ok((changed, false))
}

fn apply(case: &mut Case, patch: &OrderPatch) {
    let order = &mut case.order;
    if let Some(vehicle) = &patch.vehicle {
        for (name, value) in &vehicle.features {
            if *value == FactValue::Unknown {
                order.facts.features.remove(name);
            } else {
                order.facts.features.insert(name.clone(), value.clone());
            }
        }
        let facts = &mut order.facts;
        facts.powertrain = vehicle.powertrain.or(facts.powertrain);
        facts.model_year = vehicle.model_year.or(facts.model_year);
        facts.make = vehicle.make.clone().or(facts.make.take());
        facts.model = vehicle.model.clone().or(facts.model.take());
    }
    if let Some(codes) = &patch.trouble_codes {
        order.trouble_codes.clone_from(codes);
    }
    if let Some(complaints) = &patch.complaints {
        order.complaints.clone_from(complaints);
    }
    order.arrives_at = patch.arrives_at.unwrap_or(order.arrives_at);
    order.promised_at = patch.promised_at.unwrap_or(order.promised_at);
    order.weight = patch.weight.unwrap_or(order.weight);
    order.odometer_out = patch.odometer_out.or(order.odometer_out);
}

impl Step {
    /// The order, locked, open, and of the version that the request expects.
    pub(crate) async fn lock_open(&mut self, call: &Call, order: Uuid) -> Result<Case, Refusal> {
        let case = self.lock_case(order).await?;
        if call.expects.is_some_and(|version| version != case.order.version) {
            return Err(Refusal::new(
                ProblemKind::VersionStale,
                format!("the order is at version {} now", case.order.version),
            ));
        }
        if case.order.state != OrderState::Open {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!("the order is {}; open a new one that follows it", case.order.state.word()),
            )
            .with("state", case.order.state.word()));
        }
        Ok(case)
    }

    /// Records an amendment, derives again, and shows what it did.
    pub(crate) async fn amended(
        &mut self,
        flow: &Flow,
        mut case: Case,
        kind: &'static str,
        data: serde_json::Value,
    ) -> Result<OrderView, Refusal> {
        self.record(Happening {
            kind,
            order: Some(case.order.id),
            subject: ("order", case.order.id.to_string()),
            data,
        })
        .await?;
        let changes = self.derive_again(flow, &mut case).await?;
        self.save_order(&mut case).await?;
        let mut order = view::order(&case)?;
        order.changes = Some(changes);
        Ok(order)
    }

    async fn change_line(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        new: &NewLine,
        at: &str,
    ) -> Result<(), Refusal> {
        let compiled = self.catalogue_of(flow, case).await?;
        let faults = checks::line(&compiled, new, at);
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let reader = self.reader().await?;
        let mut row = line_row(case.order.id, new, &reader);
        if let Some(old) =
            case.lines.iter().find(|l| l.line == new.line && l.state != LineState::Removed)
        {
            row.state = old.state;
            row.worked_in = old.worked_in;
            row.worked_by = old.worked_by;
            row.started_at = old.started_at;
            row.finished_at = old.finished_at;
            // Words that were answered before keep their answer.
            if old.text == row.text
                && old.labour_code == row.labour_code
                && new.operations.is_empty()
            {
                row.operations.clone_from(&old.operations);
                row.reading = old.reading.clone();
            }
        }
        let shop = self.shop();
        store::lines::put(self.conn(), shop, &row).await?;
        case.lines.retain(|l| l.line != row.line);
        case.lines.push(row);
        case.lines.sort_by_key(|l| l.line);
        Ok(())
    }

    async fn take_off(&mut self, case: &mut Case, number: i32) -> Result<(), Refusal> {
        let mut line = case.line(number)?.clone();
        if line.state.was_begun() {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!("work on line {number} was begun; it stays on the order"),
            )
            .with("state", line.state.word()));
        }
        line.state = LineState::Removed;
        let shop = self.shop();
        store::lines::put(self.conn(), shop, &line).await?;
        case.lines.retain(|l| l.line != number);
        case.lines.push(line);
        case.lines.sort_by_key(|l| l.line);
        Ok(())
    }

    /// The visit does not happen: only while nothing was begun and no service mode stands open.
    async fn cancel(&mut self, case: &mut Case) -> Result<OrderView, Refusal> {
        let begun = case.lines.iter().any(|l| l.state.was_begun())
            || case.live().any(|t| matches!(t.state, TaskState::Running | TaskState::Held));
        let bracket = case.brackets.iter().any(|b| b.order_id == case.order.id);
        if begun || bracket {
            let why = if bracket { "a service mode stands open" } else { "work was begun" };
            let kind = if bracket { ProblemKind::BracketOpen } else { ProblemKind::WrongState };
            return Err(Refusal::new(kind, format!("{why}; the order cannot be cancelled")));
        }
        let open: Vec<_> = case.live().filter(|t| !t.state.is_over()).cloned().collect();
        for task in open {
            let taken = task.state == TaskState::Taken;
            self.change_task(case, task.id, TaskEvent::Withdraw, |t| {
                t.fence += i64::from(taken);
                t.technician = None;
                t.bay = None;
            })
            .await?;
            if taken {
                self.end_attempt(case, &task, "withdrawn", json!({})).await?;
            }
        }
        case.order.state = OrderState::Cancelled;
        self.save_order(case).await?;
        self.record(Happening {
            kind: "order.cancelled",
            order: Some(case.order.id),
            subject: ("order", case.order.id.to_string()),
            data: json!({ "number": case.order.number }),
        })
        .await?;
        view::order(case)
    }
}
