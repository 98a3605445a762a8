//! The mechanical work of a line: started, laid aside, finished, or not done after all.

use contract::orders::{LineProgress, OrderView, Progress};
use contract::problem::ProblemKind;
use domain::catalogue::Catalogue;
use domain::lifecycle::LineState;
use domain::order::Authorisation;
use domain::role::Role;
use domain::start::Obstacle;
use serde_json::json;
use store::lines::LineRow;
use store::tasks::Node;
use store::vehicles::OccupancyRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::{Case, is_on_hold};
use crate::disturbance::{disturbed_brackets, line_inside, operations_of_line};
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::sublet::told;
use crate::{departures, view};

/// Reports how the work of a line goes on.
pub async fn progress(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    number: i32,
    new: &LineProgress,
) -> Result<OrderView, Refusal> {
    flow.write(call, "lines.progress", async |step| {
        let mut case = step.lock_open(call, order).await?;
        let line = case.line(number)?.clone();
        let allowed = match new.progress {
            Progress::Started => matches!(line.state, LineState::Open | LineState::Paused),
            Progress::Paused => line.state == LineState::Started,
            Progress::Finished => matches!(line.state, LineState::Started | LineState::Paused),
            Progress::NotDone => matches!(line.state, LineState::Open | LineState::Paused),
        };
        if !allowed {
            let instead = match line.state {
                LineState::Open | LineState::Paused => "it is started first",
                LineState::Started => "it is paused or finished",
                LineState::Finished | LineState::NotDone | LineState::Removed => {
                    "nothing more is reported of it"
                }
            };
            let detail = format!("line {number} is {}: {instead}", line.state.word());
            return Err(
                Refusal::new(ProblemKind::WrongState, detail).with("state", line.state.word())
            );
        }
        match new.progress {
            Progress::Started => step.begin_line(flow, &mut case, &line, new).await?,
            Progress::Finished if line.sublet.is_some() => {
                step.take_back(flow, &mut case, &line, new).await?;
            }
            Progress::Paused => step.end_line(&mut case, &line, LineState::Paused).await?,
            Progress::Finished => step.finish_line(&mut case, &line, new).await?,
            Progress::NotDone => step.end_line(&mut case, &line, LineState::NotDone).await?,
        }
        step.record(Happening {
            kind: match new.progress {
                Progress::Started => "line.started",
                Progress::Paused => "line.paused",
                Progress::Finished => "line.finished",
                Progress::NotDone => "line.not_done",
            },
            order: Some(order),
            subject: ("line", format!("{order}/{number}")),
            data: json!({ "line": number, "report": told(new), "sublet": line.sublet }),
        })
        .await?;
        let changes = step.derive_again(flow, &mut case).await?;
        step.save_order(&mut case).await?;
        let mut order = view::order(&case);
        order.changes = Some(changes);
        Ok(order)
    })
    .await
}

impl Step {
    async fn begin_line(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        line: &LineRow,
        new: &LineProgress,
    ) -> Result<(), Refusal> {
        let compiled = self.catalogue_of(flow, case).await?;
        let operations = operations_of_line(line);
        let mut obstacles = view::obstacles_before(case, Node::Line(line.line));
        let foreign = disturbed_brackets(compiled.catalogue(), case, &operations, |b| {
            line_inside(case, line, b)
        });
        obstacles.extend(foreign.into_iter().map(|bracket| Obstacle {
            task: Some(bracket.entered_by),
            ..Obstacle::new(
                "bracket_open",
                format!("`{}` stands open and would be disturbed", bracket.mode),
                format!("finish `{}` first", bracket.left_by),
            )
        }));
        for hold in case.holds.iter().filter(|h| h.kind == "undecided") {
            obstacles.push(Obstacle::new("vehicle_held", hold.reason.clone(), "have it decided"));
        }
        let busy = case.occupancy.iter().any(|o| o.kind == "vehicle");
        if busy {
            obstacles.push(Obstacle::new(
                "vehicle_busy",
                "something else runs on this vehicle",
                "finish it first",
            ));
        }
        if is_on_hold(line) {
            obstacles.push(view::on_hold(case, line.line));
        }
        if line.sublet.is_some() {
            obstacles.extend(departures::keeps_from_moving(case));
        }
        if line.authorisation != Authorisation::Approved {
            obstacles.push(Obstacle::new(
                "not_authorised",
                "the customer has not agreed to this line",
                "have it approved",
            ));
        }
        if !obstacles.is_empty() {
            return Err(Refusal::obstacles(obstacles));
        }
        let (bay, technician) = if line.sublet.is_some() {
            (None, None) // the vehicle is away: no bay and nobody of the shop is in use
        } else {
            let bay = self.bay_for(line, new).await?;
            (Some(bay), self.caller.technician.or(new.technician))
        };
        let things = [("vehicle", Some(case.vehicle.id)), ("bay", bay), ("technician", technician)];
        for (kind, thing) in things {
            let Some(thing) = thing else { continue };
            let row = OccupancyRow {
                kind: kind.to_owned(),
                thing,
                order_id: case.order.id,
                task: None,
                line: Some(line.line),
                from_at: case.now,
            };
            self.put_in_use(&row).await?;
            case.occupancy.push(row);
        }
        let row = LineRow {
            state: LineState::Started,
            worked_in: bay,
            worked_by: technician,
            started_at: line.started_at.or(Some(case.now)),
            ..line.clone()
        };
        self.keep_line(case, row).await?;
        if line.sublet.is_none() {
            self.disturb_by_line(flow, case, compiled.catalogue(), line).await?;
        }
        Ok(())
    }

    async fn bay_for(&mut self, line: &LineRow, new: &LineProgress) -> Result<Uuid, Refusal> {
        let bay = new
            .bay
            .or(line.worked_in)
            .ok_or_else(|| Refusal::field("/bay", "name the bay that it is worked in"))?;
        let shop = self.shop();
        let known = store::bays::find(self.conn(), shop, bay).await?;
        known.filter(|b| !b.retired).ok_or_else(|| Refusal::not_found("bay"))?;
        Ok(bay)
    }

    /// What a line's work undoes. Inside its own service mode nothing counts as disturbance: what was done before this
    /// line, for it, stays.
    pub(crate) async fn disturb_by_line(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        catalogue: &Catalogue,
        line: &LineRow,
    ) -> Result<(), Refusal> {
        let own = line.line;
        let by = line.sublet.as_ref().map_or_else(
            || format!("line {own}"),
            |sublet| format!("line {own}, done by {}", sublet.provider),
        );
        self.disturb(flow, case, catalogue, &operations_of_line(line), &by, |task| {
            task.lines.contains(&own) && task.definition.phase == domain::procedure::Phase::Before
        })
        .await
        .map(drop)
    }

    /// Work inside a service mode ends with the statements that the mode asks for.
    async fn finish_line(
        &mut self,
        case: &mut Case,
        line: &LineRow,
        new: &LineProgress,
    ) -> Result<(), Refusal> {
        if !new.attests.is_empty()
            && self.caller.technician.is_none()
            && !self.caller.has(Role::Dispatcher)
        {
            return Err(Refusal::field("/attests", "only a person attests, not a program"));
        }
        let mut obstacles = Vec::new();
        for bracket in case.brackets.iter().filter(|b| line_inside(case, line, b)) {
            let task = case.tasks.iter().find(|t| t.id == bracket.entered_by);
            let asked =
                task.and_then(|t| t.definition.opens.as_ref()).map(|o| o.work_ends_with.as_slice());
            for statement in asked.unwrap_or_default().iter().filter(|s| !new.attests.contains(s)) {
                obstacles.push(Obstacle {
                    id: Some(statement.clone()),
                    verdict: Some(domain::verdict::Verdict::Missing),
                    accepts: vec![format!("`attests: [\"{statement}\"]` in this report")],
                    who: vec!["technician".to_owned()],
                    ..Obstacle::new(
                        "precondition_not_met",
                        format!(
                            "while `{}` stands open, work ends with `{statement}` attested",
                            bracket.mode
                        ),
                        "do it, then attest it with the report",
                    )
                });
            }
        }
        if !obstacles.is_empty() {
            return Err(Refusal::obstacles(obstacles));
        }
        self.end_line(case, line, LineState::Finished).await
    }

    pub(crate) async fn end_line(
        &mut self,
        case: &mut Case,
        line: &LineRow,
        state: LineState,
    ) -> Result<(), Refusal> {
        let shop = self.shop();
        store::vehicles::free(self.conn(), shop, case.order.id, None, Some(line.line), case.now)
            .await?;
        case.occupancy.retain(|o| o.line != Some(line.line) || o.order_id != case.order.id);
        let finished_at = (state == LineState::Finished).then_some(case.now);
        self.keep_line(case, LineRow { state, finished_at, ..line.clone() }).await
    }

    async fn keep_line(&mut self, case: &mut Case, row: LineRow) -> Result<(), Refusal> {
        let shop = self.shop();
        store::lines::put(self.conn(), shop, &row).await?;
        if let Some(place) = case.lines.iter_mut().find(|l| l.line == row.line) {
            *place = row;
        }
        Ok(())
    }
}
