//! Departures: the vehicle leaves the premises without being released, and comes back.

use contract::problem::ProblemKind;
use contract::vehicles::{DepartureKind, DepartureView, NewDeparture, NewReturn};
use domain::lifecycle::OrderState;
use domain::start::Obstacle;
use serde_json::json;
use store::departures::DepartureRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::disturbance::operations_of_line;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;

/// The skill of whoever drives on the road.
const LICENSED: &str = "licensed_driver";

/// Lets the vehicle leave, or refuses with all that keeps it where it stands.
pub async fn depart(
    flow: &Flow,
    call: &Call,
    vehicle: Uuid,
    new: &NewDeparture,
) -> Result<DepartureView, Refusal> {
    flow.write(call, "vehicles.depart", async |step| {
        let case = step.lock_case(new.order).await?;
        if case.vehicle.id != vehicle {
            return Err(Refusal::field("/order", "an order of another vehicle"));
        }
        if case.order.state != OrderState::Open {
            return Err(Refusal::new(ProblemKind::WrongState, "the order is not open")
                .with("state", case.order.state.word()));
        }
        if new.due_at.is_some_and(|due| due <= case.now) {
            return Err(Refusal::field("/due_at", "it comes back after it has left"));
        }
        step.driver(new).await?;
        if new.kind == DepartureKind::Sublet && new.provider.is_none() {
            return Err(Refusal::field("/provider", "say who works on it elsewhere"));
        }
        let obstacles = keeps_in_place(&case);
        if !obstacles.is_empty() {
            return Err(Refusal::obstacles(obstacles));
        }
        let row = DepartureRow {
            id: step.new_id().await?,
            vehicle,
            order_id: new.order,
            kind: new.kind.word().to_owned(),
            reason: new.reason.clone(),
            driver: new.driver,
            provider: new.provider.clone(),
            odometer_out: new.odometer_out,
            left_at: case.now,
            due_at: new.due_at,
            returned_at: None,
            odometer_in: None,
            condition: None,
        };
        let shop = step.shop();
        store::departures::insert(step.conn(), shop, &row).await?;
        step.record(Happening {
            kind: "vehicle.departed",
            order: Some(new.order),
            subject: ("vehicle", vehicle.to_string()),
            data: json!({ "departure": row.id, "kind": row.kind, "reason": row.reason, "driver": row.driver,
                "odometer_out": row.odometer_out, "due_at": row.due_at }),
        })
        .await?;
        Ok(view(row))
    })
    .await
}

/// The vehicle is back. Work done elsewhere undoes, from now on, what such work undoes.
pub async fn come_back(
    flow: &Flow,
    call: &Call,
    vehicle: Uuid,
    new: &NewReturn,
) -> Result<DepartureView, Refusal> {
    flow.write(call, "vehicles.return", async |step| {
        let shop = step.shop();
        store::vehicles::lock(step.conn(), shop, vehicle).await?;
        let all = store::departures::of_vehicle(step.conn(), shop, vehicle).await?;
        let away = all.into_iter().find(|row| row.returned_at.is_none());
        let mut row =
            away.ok_or_else(|| Refusal::new(ProblemKind::WrongState, "the vehicle is not away"))?;
        let mut case = step.lock_case(row.order_id).await?;
        row.returned_at = Some(case.now);
        row.odometer_in = new.odometer_in;
        row.condition.clone_from(&new.condition);
        if !store::departures::end(step.conn(), shop, &row).await? {
            return Err(Refusal::new(ProblemKind::WrongState, "its return was reported meanwhile"));
        }
        case.away = None;
        step.record(Happening {
            kind: "vehicle.returned",
            order: Some(row.order_id),
            subject: ("vehicle", vehicle.to_string()),
            data: json!({ "departure": row.id, "kind": row.kind, "odometer_in": row.odometer_in,
                "condition": row.condition }),
        })
        .await?;
        if case.order.state == OrderState::Open {
            step.note_return(flow, &mut case, &row).await?;
        }
        Ok(view(row))
    })
    .await
}

/// What keeps the vehicle where it stands: it runs, it is held, it stands open, its brakes were not tried, it is away.
pub(crate) fn keeps_in_place(case: &Case) -> Vec<Obstacle> {
    let mut found = keeps_from_moving(case);
    found.extend(case.occupancy.iter().filter(|row| row.kind == "vehicle").map(|row| Obstacle {
        task: row.task,
        line: row.line,
        ..Obstacle::new(
            "vehicle_busy",
            "something runs on this vehicle",
            "finish or interrupt it first",
        )
    }));
    found.extend(case.holds.iter().filter(|hold| hold.kind != "must_not_move").map(|hold| {
        Obstacle {
            task: hold.task,
            ..Obstacle::new("vehicle_held", hold.reason.clone(), "have it decided")
        }
    }));
    if let Some(away) = away(case) {
        found.push(Obstacle::new("vehicle_away", away, "report its return first"));
    }
    found
}

/// What forbids any movement: curing adhesive, moving calipers, open brackets, a pedal that was not tried.
pub(crate) fn keeps_from_moving(case: &Case) -> Vec<Obstacle> {
    let held = |detail: String, how: &str| Obstacle::new("vehicle_held", detail, how);
    let mut found: Vec<Obstacle> = case
        .holds
        .iter()
        .filter(|hold| hold.kind == "must_not_move")
        .map(|hold| Obstacle {
            earliest_at: hold.until_at,
            task: hold.task,
            ..held(hold.reason.clone(), "wait")
        })
        .collect();
    found.extend(case.brackets.iter().filter(|b| b.must_not_move).map(|bracket| Obstacle {
        task: Some(bracket.entered_by),
        ..held(
            format!("`{}` stands open; the vehicle must not move", bracket.mode),
            &format!("finish `{}` first", bracket.left_by),
        )
    }));
    let begun = |line: &i32| case.lines.iter().any(|l| l.line == *line && l.state.was_begun());
    let untried = case.live().chain(case.beside.iter()).filter(|task| {
        task.definition.before_moving && !task.state.is_over() && task.lines.iter().any(begun)
    });
    found.extend(untried.map(|task| Obstacle {
        task: Some(task.id),
        ..held(
            format!(
                "`{}` is {}; the vehicle must not move before",
                task.definition.title,
                task.state.word()
            ),
            "do it first",
        )
    }));
    found
}

/// Where the vehicle is, when it is not here.
pub(crate) fn away(case: &Case) -> Option<String> {
    let away = case.away.as_ref()?;
    let kind = away.kind.replace('_', " ");
    Some(match &away.provider {
        Some(provider) => {
            format!("the vehicle is away since {} ({kind}, {provider})", away.left_at)
        }
        None => format!("the vehicle is away since {} ({kind})", away.left_at),
    })
}

pub(crate) fn view(row: DepartureRow) -> DepartureView {
    DepartureView {
        id: row.id,
        order: row.order_id,
        kind: row.kind,
        reason: row.reason,
        driver: row.driver,
        provider: row.provider,
        odometer_out: row.odometer_out,
        left_at: row.left_at,
        due_at: row.due_at,
        returned_at: row.returned_at,
        odometer_in: row.odometer_in,
        condition: row.condition,
    }
}

impl Step {
    /// Whoever drives works here; on a test drive they are licensed.
    async fn driver(&mut self, new: &NewDeparture) -> Result<(), Refusal> {
        let Some(driver) = new.driver else {
            return match new.kind {
                DepartureKind::TestDrive => Err(Refusal::field("/driver", "say who drives")),
                _ => Ok(()),
            };
        };
        let shop = self.shop();
        let person = store::means::person(self.conn(), shop, driver).await?;
        let person =
            person.ok_or_else(|| Refusal::field("/driver", "no technician of this shop"))?;
        if new.kind == DepartureKind::TestDrive && !person.skills.iter().any(|s| s == LICENSED) {
            return Err(Refusal::new(
                ProblemKind::NotAble,
                "the driver is not licensed for the road",
            ));
        }
        Ok(())
    }

    /// A smaller odometer is a finding; lines that were sublet undo what they undo.
    async fn note_return(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        row: &DepartureRow,
    ) -> Result<(), Refusal> {
        let less = row.odometer_out.zip(row.odometer_in).is_some_and(|(out, back)| back < out);
        if less && let Some(findings) = case.order.findings.as_array_mut() {
            findings.push(json!({ "code": "odometer_decreased",
                "detail": "the odometer reads less at the return than at the departure" }));
        }
        if row.kind == DepartureKind::Sublet.word() {
            let compiled = self.catalogue_of(flow, case).await?;
            let worked: Vec<_> = case
                .lines
                .iter()
                .filter(|line| line.state.was_begun() && !line.state.is_over())
                .flat_map(operations_of_line)
                .collect();
            self.disturb(flow, case, compiled.catalogue(), &worked, "work done elsewhere", |_| {
                false
            })
            .await?;
        }
        self.derive_again(flow, case).await?;
        self.save_order(case).await
    }
}
