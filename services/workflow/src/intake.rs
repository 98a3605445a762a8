//! Intake: a repair order comes in and leaves with its tasks and questions; and the same without storing.

use contract::orders::{
    DerivationView, EarlierOrder, FindingView, NewLine, NewOrder, OrderView, QuestionView,
};
use contract::problem::ProblemKind;
use derivation::derive;
use domain::lifecycle::{LineState, OrderState};
use serde_json::json;
use sha2::{Digest as _, Sha256};
use store::StoreError;
use store::lines::LineRow;
use store::orders::OrderRow;
use store::vehicles::VehicleRow;
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::case::Case;
use crate::derive::{Stated, because, because_asked, choices, findings, repair_line};
use crate::flow::{Flow, Step};
use crate::reading::{self, Reader};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{checks, vehicle_identity, view};

/// How many earlier orders of a vehicle are looked at for what they left behind.
const LOOKED_BACK: usize = 20;

/// Takes an order in. The same number with the same body gives the order that is there, and `false`.
pub async fn intake(
    flow: &Flow,
    call: &Call,
    new: &NewOrder,
) -> Result<(OrderView, bool), Refusal> {
    flow.write(call, "orders.intake", async |step| step.intake(flow, new).await).await
}

/// The same derivation for an order that is not stored.
pub async fn dry_run(
    flow: &Flow,
    caller: &Caller,
    new: &NewOrder,
) -> Result<DerivationView, Refusal> {
    flow.read(caller, async |step| {
        let (version, compiled) = step.catalogue_in_force(flow).await?;
        let reader = step.reader(flow).await?;
        let mut faults = checks::order(&compiled, new);
        let (vin, vin_faults) = vehicle_identity::check(&new.vehicle, step.now().await?);
        faults.extend(vin_faults);
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        Ok(preview(&version, &compiled, &reader, new, vin))
    })
    .await
}

/// Derives an order without a database; ids are of the nil kind, numbered.
pub fn preview(
    version: &str,
    compiled: &derivation::index::Compiled,
    reader: &Reader,
    new: &NewOrder,
    mut found: Vec<FindingView>,
) -> DerivationView {
    let rows: Vec<LineRow> =
        new.lines.iter().map(|line| line_row(Uuid::nil(), line, reader)).collect();
    let stated = Stated {
        lines: rows.iter().map(repair_line).collect(),
        trouble_codes: new.trouble_codes.clone(),
        complaints: reading::complaints(&new.complaints),
        observed: Vec::new(),
    };
    let derivation = derive::derive(compiled, &stated.repair(&new.vehicle));
    let id = |kind: u128, at: usize| Uuid::from_u128(kind << 64 | (at as u128 + 1));
    found.extend(findings(&derivation));
    DerivationView {
        catalogue_version: version.to_owned(),
        findings: found,
        questions: derivation
            .questions
            .iter()
            .enumerate()
            .map(|(at, asked)| QuestionView {
                id: id(2, at),
                asks: asked.asks.clone(),
                text: asked.text.clone(),
                choices: choices(&asked.answers),
                decides: asked.decides.iter().map(|&p| p.to_owned()).collect(),
                because: because_asked(&derivation, asked, &rows),
                state: "open".to_owned(),
            })
            .collect(),
        lines: rows.iter().map(|row| row.reading.clone()).collect(),
        tasks: derivation
            .tasks
            .iter()
            .enumerate()
            .filter(|(_, task)| task.required)
            .map(|(at, task)| {
                let mut shown = view::dry_task(
                    id(1, at),
                    task.procedure,
                    task.place.unwrap_or_default(),
                    because(task),
                );
                shown.waits_for = derivation
                    .edges
                    .iter()
                    .filter(|edge| edge.then == derive::Node::Task(at))
                    .filter_map(|edge| match edge.before {
                        derive::Node::Task(before) if derivation.tasks[before].required => {
                            Some(contract::tasks::WaitsFor {
                                task: Some(id(1, before)),
                                line: None,
                                until: None,
                            })
                        }
                        derive::Node::Task(_) => None,
                        derive::Node::Line(line) => Some(contract::tasks::WaitsFor {
                            task: None,
                            line: Some(line),
                            until: None,
                        }),
                    })
                    .collect();
                shown
            })
            .collect(),
    }
}

/// A line as it is stored, read.
pub(crate) fn line_row(order_id: Uuid, new: &NewLine, reader: &Reader) -> LineRow {
    LineRow {
        order_id,
        line: new.line,
        state: LineState::Open,
        authorisation: new.authorisation,
        text: new.text.clone(),
        labour_code: new.labour_code.clone(),
        operations: new.operations.clone(),
        reading: reader.read(new),
        minutes: new.minutes,
        bay: new.bay.clone(),
        skills: new.skills.clone(),
        parts_expected_at: new.parts_expected_at,
        on_hold: new.on_hold,
        sublet: new.sublet.clone(),
        document: None,
        worked_in: None,
        worked_by: None,
        started_at: None,
        finished_at: None,
    }
}

/// SHA-256 of an intake in the order of its members: the same body gives the same digest.
pub(crate) fn digest(new: &NewOrder) -> Result<[u8; 32], Refusal> {
    let value = serde_json::to_value(new).map_err(StoreError::from)?;
    Ok(Sha256::digest(value.to_string()).into())
}

impl Step {
    pub(crate) async fn intake(
        &mut self,
        flow: &Flow,
        new: &NewOrder,
    ) -> Result<(OrderView, bool), Refusal> {
        let shop = self.shop();
        let digest = digest(new)?;
        if let Some(there) = store::orders::numbered(self.conn(), shop, &new.number).await? {
            let case = self.see_case(there).await?;
            if case.order.intake_digest == digest {
                let mut shown = view::order(&case);
                shown.left_behind = self.left_behind(&case).await?;
                return Ok((shown, false));
            }
            return Err(Refusal::new(
                ProblemKind::NumberTaken,
                format!(
                    "the order {} was taken in with another body; amend it instead",
                    new.number
                ),
            )
            .with("order", there.to_string()));
        }
        let (version, compiled) = self.catalogue_in_force(flow).await?;
        let now = self.now().await?;
        let mut faults = checks::order(&compiled, new);
        let (mut found, vin_faults) = vehicle_identity::check(&new.vehicle, now);
        faults.extend(vin_faults);
        let earlier = store::orders::load(self.conn(), shop, new.follows.as_slice()).await?.pop();
        if new.follows.is_some() && earlier.is_none() {
            faults.push(checks::fault("/follows", "there is no such order in this shop"));
        }
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let vehicle = self.vehicle(new).await?;
        if earlier.is_some_and(|earlier| earlier.vehicle != vehicle.id) {
            let detail = "that order is one of another vehicle";
            return Err(Refusal::field("/follows", detail));
        }
        found.extend(self.odometer_went_back(vehicle.id, new.odometer_in).await?);
        let order = OrderRow {
            id: self.new_id().await?,
            number: new.number.clone(),
            vehicle: vehicle.id,
            state: OrderState::Open,
            version: 1,
            catalogue_version: version,
            intake_digest: digest.to_vec(),
            facts: new.vehicle.clone(),
            trouble_codes: new.trouble_codes.clone(),
            complaints: new.complaints.clone(),
            observations: json!([]),
            findings: json!(found),
            follows: new.follows,
            split_from: None,
            odometer_in: new.odometer_in,
            odometer_out: None,
            arrives_at: new.arrives_at,
            promised_at: new.promised_at,
            weight: new.weight.unwrap_or(1),
            created_at: now,
            released_at: None,
            release: None,
        };
        match store::orders::insert(self.conn(), shop, &order).await {
            Err(StoreError::Duplicate { .. }) => {
                // Somebody took the same number in beside us: the step runs again and sees it.
                return Err(StoreError::Collision.into());
            }
            done => done?,
        }
        let reader = self.reader(flow).await?;
        for line in &new.lines {
            store::lines::put(self.conn(), shop, &line_row(order.id, line, &reader)).await?;
        }
        self.record(Happening {
            kind: "order.taken_in",
            order: Some(order.id),
            subject: ("order", order.id.to_string()),
            data: json!({ "intake": new, "vehicle": vehicle.id, "catalogue": order.catalogue_version }),
        })
        .await?;
        let mut case = self.see_case(order.id).await?;
        self.derive_again(flow, &mut case).await?;
        self.save_order(&mut case).await?;
        let mut shown = view::order(&case);
        shown.left_behind = self.left_behind(&case).await?;
        Ok((shown, true))
    }

    /// What the vehicle's earlier orders left behind, newest first.
    async fn left_behind(&mut self, case: &Case) -> Result<Vec<EarlierOrder>, Refusal> {
        let shop = self.shop();
        let mut earlier = store::orders::of_vehicle(self.conn(), shop, case.vehicle.id).await?;
        earlier.retain(|id| *id != case.order.id);
        earlier.truncate(LOOKED_BACK);
        let mut cases = self.see_cases(&earlier).await?;
        cases.sort_by_key(|case| std::cmp::Reverse(case.order.id));
        Ok(cases.iter().filter_map(view::left_behind).collect())
    }

    /// A finding when the vehicle comes with fewer kilometres than it was last seen with.
    async fn odometer_went_back(
        &mut self,
        vehicle: Uuid,
        odometer: Option<i32>,
    ) -> Result<Option<FindingView>, Refusal> {
        let Some(now) = odometer else { return Ok(None) };
        let shop = self.shop();
        let last = store::orders::last_odometer(self.conn(), shop, vehicle).await?;
        Ok(last.filter(|(before, _)| now < *before).map(|(before, number)| FindingView {
            code: "odometer_decreased".to_owned(),
            detail: format!(
                "the odometer reads {now} km and read {before} km on the order {number}"
            ),
        }))
    }

    /// The order's vehicle, locked; a second open order for it must say that it is meant.
    async fn vehicle(&mut self, new: &NewOrder) -> Result<VehicleRow, Refusal> {
        let shop = self.shop();
        let now = self.now().await?;
        let row = VehicleRow {
            id: self.new_id().await?,
            vin: new.vehicle.vin.as_deref().map(|vin| vin.trim().to_uppercase()),
            identity: new.vehicle.identity.clone(),
            plate: new.vehicle.plate.clone(),
        };
        let vehicle = store::vehicles::find_or_add(self.conn(), shop, &row, now).await?;
        let open = store::orders::open_of_vehicle(self.conn(), shop, vehicle.id).await?;
        if !open.is_empty() && !new.beside_open_order {
            return Err(Refusal::new(
                ProblemKind::VehicleHasOpenOrder,
                "this vehicle has an open order; say `beside_open_order` if this one is meant to stand beside it",
            )
            .with("orders", serde_json::to_value(&open).unwrap_or_default()));
        }
        Ok(vehicle)
    }
}
