//! A vehicle was taken for another one: corrected with a reason and a second person, and what was shown is judged again.

use contract::problem::{FieldFault, ProblemKind};
use contract::vehicles::{IdentityCorrectionView, NewIdentityCorrection};
use domain::lifecycle::{OrderState, TaskState};
use domain::start::Identity;
use serde_json::json;
use store::StoreError;
use store::identity_corrections::{self, CorrectionRow};
use store::tasks::TaskRow;
use store::vehicles::VehicleRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{vehicle_identity, verdicts};

/// Proposes a correction; it is in force with another person's word.
pub async fn propose(
    flow: &Flow,
    call: &Call,
    vehicle: Uuid,
    new: &NewIdentityCorrection,
) -> Result<IdentityCorrectionView, Refusal> {
    flow.write(call, "vehicles.correct", async |step| {
        let known = step.locked_vehicle(vehicle).await?;
        let vin = new.vin.as_ref().map(|vin| vin.trim().to_uppercase());
        let plate = new.plate.as_ref().map(|plate| plate.trim().to_owned());
        if vin.is_none() && plate.is_none() {
            return Err(Refusal::field("", "a VIN or a plate is corrected"));
        }
        let is_known = |new: &Option<String>, known: &Option<String>| new.is_none() || new == known;
        if is_known(&vin, &known.vin) && is_known(&plate, &known.plate) {
            return Err(Refusal::field("/vin", "the vehicle is known so"));
        }
        let faults = step.check(&known, new).await?;
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let row = CorrectionRow {
            id: step.new_id().await?,
            vehicle,
            vin,
            plate,
            old_vin: known.vin,
            old_plate: known.plate,
            reason: new.reason.clone(),
            given_by: step.caller.subject.clone(),
            given_at: step.now().await?,
            approved_by: None,
            approved_at: None,
        };
        let shop = step.shop();
        identity_corrections::insert(step.conn(), shop, &row).await?;
        step.record(Happening {
            kind: "vehicle.correction_proposed",
            order: None,
            subject: ("vehicle", vehicle.to_string()),
            data: json!({ "correction": row.id, "vin": row.vin, "plate": row.plate, "old_vin": row.old_vin,
                "old_plate": row.old_plate, "reason": row.reason }),
        })
        .await?;
        Ok(view(row))
    })
    .await
}

/// Agrees to a correction. Tasks of open orders that passed on what another vehicle showed are undone; evidence stays
/// where it was given.
pub async fn approve(
    flow: &Flow,
    call: &Call,
    vehicle: Uuid,
    id: Uuid,
) -> Result<IdentityCorrectionView, Refusal> {
    flow.write(call, "vehicles.correct.approve", async |step| {
        let mut known = step.locked_vehicle(vehicle).await?;
        let shop = step.shop();
        let all = identity_corrections::of_vehicle(step.conn(), shop, vehicle).await?;
        let mut row = all
            .into_iter()
            .find(|row| row.id == id)
            .ok_or_else(|| Refusal::not_found("correction of this vehicle"))?;
        let by = step.caller.subject.clone();
        if by == row.given_by {
            return Err(Refusal::new(
                ProblemKind::SecondPersonRequired,
                "another person agrees than the one who gave the correction",
            ));
        }
        let now = step.now().await?;
        if !identity_corrections::approve(step.conn(), shop, id, &by, now).await? {
            return Err(Refusal::new(ProblemKind::WrongState, "the correction is in force already"));
        }
        known.vin = row.vin.clone().or(known.vin);
        known.plate = row.plate.clone().or(known.plate);
        match store::vehicles::correct(step.conn(), shop, &known).await {
            Err(StoreError::Duplicate { .. }) => {
                return Err(Refusal::new(
                    ProblemKind::VinDiffers,
                    "this VIN is that of another vehicle of the shop; cancel the order and take it in for that one",
                ));
            }
            done => done?,
        }
        step.record(Happening {
            kind: "vehicle.corrected",
            order: None,
            subject: ("vehicle", vehicle.to_string()),
            data: json!({ "correction": id, "vin": row.vin, "plate": row.plate }),
        })
        .await?;
        let orders = store::orders::open_of_vehicle(step.conn(), shop, vehicle).await?;
        for order in orders {
            let case = step.lock_case(order).await?;
            if case.order.state == OrderState::Open {
                step.judge_again(flow, case, &row).await?;
            }
        }
        row.approved_by = Some(by);
        Ok(view(row))
    })
    .await
}

impl Step {
    async fn locked_vehicle(&mut self, vehicle: Uuid) -> Result<VehicleRow, Refusal> {
        let shop = self.shop();
        store::vehicles::lock(self.conn(), shop, vehicle).await?;
        let known = store::vehicles::find(self.conn(), shop, vehicle).await?;
        known.ok_or_else(|| Refusal::not_found("vehicle"))
    }

    async fn check(
        &mut self,
        known: &VehicleRow,
        new: &NewIdentityCorrection,
    ) -> Result<Vec<FieldFault>, Refusal> {
        let facts = domain::vehicle::VehicleFacts {
            vin: new.vin.clone().or(known.vin.clone()),
            plate: new.plate.clone().or(known.plate.clone()),
            ..Default::default()
        };
        let now = self.now().await?;
        let (_, mut faults) = vehicle_identity::check(&facts, now);
        for fault in &mut faults {
            "/vin".clone_into(&mut fault.pointer);
        }
        Ok(faults)
    }

    async fn judge_again(
        &mut self,
        flow: &Flow,
        mut case: Case,
        row: &CorrectionRow,
    ) -> Result<(), Refusal> {
        case.order.facts.vin = row.vin.clone().or(case.order.facts.vin.take());
        case.order.facts.plate = row.plate.clone().or(case.order.facts.plate.take());
        let (findings, _) = vehicle_identity::check(&case.order.facts, case.now);
        case.find_of_vehicle(findings);
        let passed: Vec<TaskRow> =
            case.tasks.iter().filter(|t| t.state == TaskState::Passed).cloned().collect();
        let mut foreign = Vec::new();
        for task in passed {
            self.look_back(&mut case, task.id).await?;
            let mismatch = matches!(verdicts::identity(&case, &task), Identity::Mismatch(..));
            case.samples.remove(&task.id);
            if mismatch {
                foreign.push(task);
            }
        }
        self.mark_disturbed(&mut case, &foreign, "the vehicle's identity was corrected").await?;
        let undone: Vec<Uuid> = foreign.iter().map(|task| task.id).collect();
        let data = json!({ "correction": row.id, "undone": undone });
        self.amended(flow, case, "order.identity_corrected", data).await.map(drop)
    }
}

fn view(row: CorrectionRow) -> IdentityCorrectionView {
    IdentityCorrectionView {
        id: row.id,
        vehicle: row.vehicle,
        vin: row.vin,
        plate: row.plate,
        old_vin: row.old_vin,
        old_plate: row.old_plate,
        reason: row.reason,
        given_at: row.given_at,
        approved_by: row.approved_by,
    }
}
