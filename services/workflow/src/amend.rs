//! Amend: the order's own facts, or its lines one by one.

use contract::orders::{NewLine, OrderPatch, OrderView};
use contract::problem::ProblemKind;
use domain::catalogue::Catalogue;
use domain::lifecycle::{LineState, OrderState, TaskEvent, TaskState};
use domain::operation::Operation;
use domain::order::{Done, Reading};
use domain::procedure::Phase;
use domain::vehicle::FactValue;
use serde_json::json;
use store::lines::LineRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::disturbance::operations_of_line;
use crate::flow::{Flow, Step};
use crate::intake::line_row;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{checks, view};

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
            if *patch != (OrderPatch { state: patch.state, ..OrderPatch::default() }) {
                let detail = "an order is cancelled by itself; leave the other members out";
                return Err(Refusal::field("/state", detail));
            }
            return step.cancel(&mut case).await;
        }
        let mut faults: Vec<_> = patch
            .trouble_codes
            .iter()
            .flatten()
            .flatten()
            .enumerate()
            .filter_map(|(at, code)| checks::trouble_code(code, &format!("/trouble_codes/{at}")))
            .collect();
        if patch.vehicle == Some(None) {
            faults.push(checks::fault("/vehicle", "no order is without a vehicle"));
        }
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
            return Err(Refusal::field("/line", "the path names another line"));
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

fn apply(case: &mut Case, patch: &OrderPatch) {
    let order = &mut case.order;
    if let Some(Some(vehicle)) = &patch.vehicle {
        for (name, value) in &vehicle.features {
            if *value == FactValue::Unknown {
                order.facts.features.remove(name);
            } else {
                order.facts.features.insert(name.clone(), value.clone());
            }
        }
        let facts = &mut order.facts;
        facts.powertrain = vehicle.powertrain.unwrap_or(facts.powertrain);
        facts.model_year = vehicle.model_year.unwrap_or(facts.model_year);
        facts.make = vehicle.make.clone().unwrap_or(facts.make.take());
        facts.model = vehicle.model.clone().unwrap_or(facts.model.take());
    }
    if let Some(codes) = &patch.trouble_codes {
        order.trouble_codes = codes.clone().unwrap_or_default();
    }
    if let Some(complaints) = &patch.complaints {
        order.complaints = complaints.clone().unwrap_or_default();
    }
    order.arrives_at = patch.arrives_at.unwrap_or(order.arrives_at);
    order.promised_at = patch.promised_at.unwrap_or(order.promised_at);
    order.weight = patch.weight.map_or(order.weight, |weight| weight.unwrap_or(1));
    order.odometer_out = patch.odometer_out.unwrap_or(order.odometer_out);
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
        let mut order = view::order(&case);
        order.changes = Some(changes);
        Ok(order)
    }

    /// Adds a line or changes it whole; `false`: it was so already.
    pub(crate) async fn change_line(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        new: &NewLine,
        at: &str,
    ) -> Result<bool, Refusal> {
        let compiled = self.catalogue_of(flow, case).await?;
        let faults = checks::line(&compiled, new, at);
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let reader = self.reader(flow).await?;
        let mut row = line_row(case.order.id, new, &reader);
        if let Some(old) =
            case.lines.iter().find(|l| l.line == new.line && l.state != LineState::Removed)
        {
            row.state = old.state;
            row.worked_in = old.worked_in;
            row.worked_by = old.worked_by;
            row.started_at = old.started_at;
            row.finished_at = old.finished_at;
            row.document.clone_from(&old.document);
            // Words that were understood or answered before keep their reading; open ones are read anew.
            if old.text == row.text
                && old.labour_code == row.labour_code
                && new.operations.is_empty()
                && matches!(old.reading.reading, Reading::Sure | Reading::None)
            {
                row.operations.clone_from(&old.operations);
                row.reading = old.reading.clone();
            }
            if row == *old {
                return Ok(false);
            }
            if old.state.was_begun() {
                let old = old.clone();
                self.change_begun(flow, case, compiled.catalogue(), &old, &row, at).await?;
            }
        }
        let shop = self.shop();
        store::lines::put(self.conn(), shop, &row).await?;
        case.keep_line(row);
        Ok(true)
    }

    /// A line that was begun says more or less than before: what it says in addition happened, and undoes what had passed;
    /// what it no longer says may have happened too, and stays until somebody says that it was not done.
    pub(crate) async fn change_begun(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        catalogue: &Catalogue,
        old: &LineRow,
        new: &LineRow,
        at: &str,
    ) -> Result<(), Refusal> {
        let (before, after) = (operations_of_line(old), operations_of_line(new));
        let provider = |line: &LineRow| line.sublet.as_ref().map(|sublet| sublet.provider.clone());
        if provider(old) != provider(new) {
            let detail = format!("work on line {} was begun; who does it stays", old.line);
            let mut refusal = Refusal::new(ProblemKind::WrongState, detail.clone());
            refusal.0.errors = vec![checks::fault(&format!("{at}/sublet"), detail)];
            return Err(refusal.with("state", old.state.word()));
        }
        let denied = |operation: &Operation| {
            new.operations.iter().any(|o| o.operation() == *operation && o.done == Done::NotDone)
        };
        let gone = before.iter().filter(|o| !after.contains(o) && !denied(o));
        let faults: Vec<_> = gone
            .filter(|_| old.reading.reading == Reading::Sure)
            .map(|o| {
                let words = format!("{} {}", o.action, o.component);
                let detail = format!(
                    "work on line {} was begun; say `\"done\": \"not_done\"` of `{words}` if it was not done",
                    old.line
                );
                checks::fault(&format!("{at}/operations"), detail)
            })
            .collect();
        if !faults.is_empty() {
            let detail = format!("work on line {} was begun; what it was stays on it", old.line);
            let mut refusal = Refusal::new(ProblemKind::WrongState, detail);
            refusal.0.errors = faults;
            return Err(refusal.with("state", old.state.word()));
        }
        // Candidates of a question undo nothing before its answer, another business's work nothing before its return.
        let away = new.sublet.is_some() && !new.state.is_over();
        if new.reading.reading != Reading::Sure || away {
            return Ok(());
        }
        let known_before =
            |o: &Operation| old.reading.reading == Reading::Sure && before.contains(o);
        let more: Vec<Operation> = after.into_iter().filter(|o| !known_before(o)).collect();
        let by = format!("line {}, as it is told now", old.line);
        self.disturb(flow, case, catalogue, &more, &by, |task| {
            task.lines.contains(&old.line) && task.definition.phase == Phase::Before
        })
        .await
        .map(drop)
    }

    pub(crate) async fn take_off(&mut self, case: &mut Case, number: i32) -> Result<(), Refusal> {
        let mut line = case.line(number)?.clone();
        if line.state == LineState::Removed {
            return Err(Refusal::not_found("line"));
        }
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
        case.keep_line(line);
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
        Ok(view::order(case))
    }
}
