//! Start: only if the right vehicle stands there and everything is proven now.

use chrono::TimeDelta;
use contract::problem::ProblemKind;
use contract::tasks::{NewStart, TaskView};
use domain::lifecycle::TaskEvent;
use domain::start::{
    Earlier, EarlierLine, Identity, Obstacle, SECOND_PERSON, Snapshot, VehicleHold, Wait, may_start,
};
use evidence::judge::Phase;
use evidence::sample::Kind;
use serde_json::json;
use store::StoreError;
use store::tasks::{Node, TaskRow};
use store::vehicles::{BracketRow, OccupancyRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::{Case, on_road};
use crate::disturbance::{disturbed_brackets, task_inside};
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::refused::{Asked, last_refused};
use crate::reported::{Done, done};
use crate::take::GRACE;
use crate::{departures, measured_bay, verdicts, view};

/// What is asked for here.
const START: &str = "start";

/// Starts a task, or refuses with every reason at once.
pub async fn start(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewStart,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.start", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.technician()?;
        let catalogue = step.catalogue_of(flow, &case).await?;
        let now = case.now;
        let held = case.task(task)?.clone();
        let as_held = case.attempt(&held).cloned();
        step.note_what_is_used(&mut case, &held, new).await?;
        let before = case.task(task)?.clone();
        let from = as_held.as_ref().map_or(now, |a| last_refused(a, START).unwrap_or(a.taken_at));
        let done = done(new.at, from, now)?;
        if done.late {
            step.look_back(&mut case, task).await?;
        }
        // What was done without a network is judged as of then, and held against what is known of the time since.
        case.now = done.at;
        let mut snapshot = step.snapshot(&case, catalogue.catalogue(), task, new.fence).await?;
        case.now = now;
        if let seen @ Identity::Mismatch(..) = verdicts::identity(&case, &before) {
            snapshot.identity = seen; // whatever was seen before
        }
        case.now = done.at;
        let mut obstacles = may_start(&snapshot, done.at);
        if done.late {
            step.held_lease(&case, task, new.fence)?;
            obstacles.extend(step.in_the_way_at(&case, &before, done.at).await?);
        }
        if !obstacles.is_empty() {
            let obstacles = with_hazards(obstacles, &before);
            case.now = now;
            let asked = Asked { what: START, as_of: done.at };
            let holds = step.held_lease(&case, task, new.fence).is_ok();
            return Err(match as_held.filter(|_| holds) {
                Some(attempt) => step.refuse(&mut case, &held, attempt, asked, obstacles).await?,
                None => Refusal::obstacles(obstacles),
            });
        }
        let findings = verdicts::of(&case, &before, &before.definition.preconditions, Phase::Starting);
        case.now = now;
        step.occupy(&case, &before).await?;
        let most = TimeDelta::minutes(i64::from(before.definition.minutes.most) + GRACE);
        let row = step
            .change_task(&mut case, task, TaskEvent::Start, |t| {
                t.bay = before.bay;
                t.started_at = Some(done.at);
                t.lease_until = t.lease_until.max(Some(now + most));
            })
            .await?;
        let measured = step.bay_as_measured(&case, &row).await?;
        let certified = step.certified(&case, &row).await?;
        let detail = json!({ "start": findings, "bay_measured": measured, "certified": certified });
        step.begin_attempt(&mut case, &row, detail, done).await?;
        let mut undone = step.enter_bracket(&mut case, &row).await?;
        step.record(Happening {
            kind: "task.started",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "fence": row.fence,
                "technician": row.technician, "bay": row.bay, "preconditions": findings,
                "people": new.people, "equipment": case.attempt(&row).map(|a| a.equipment.clone()),
                "target_set": new.target_set, "routine": new.routine, "lease_until": row.lease_until, "started_at": done.at, "late_seconds": done.late_seconds(now) }),
        })
        .await?;
        // What leaves a service mode does not undo what was made safe for it: that has served its purpose.
        let leaves = row.definition.closes.is_some();
        let disturbed = step
            .disturb(flow, &mut case, catalogue.catalogue(), &Case::operations_of(&row), &row.definition.id, |t| {
                let safe = leaves && t.definition.phase == domain::procedure::Phase::Before;
                t.id == row.id || (safe && t.lines.iter().any(|line| row.lines.contains(line)))
            })
            .await?;
        undone.extend(disturbed);
        if !undone.is_empty() {
            step.derive_again(flow, &mut case).await?;
        }
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

impl Step {
    /// Everything that bears on the start.
    pub(crate) async fn snapshot(
        &mut self,
        case: &Case,
        catalogue: &domain::catalogue::Catalogue,
        id: Uuid,
        fence: i64,
    ) -> Result<Snapshot, Refusal> {
        let task = case.task(id)?;
        let node = Node::Task(id);
        let open = case.open_before(node);
        let operations = Case::operations_of(task);
        let foreign =
            disturbed_brackets(catalogue, case, &operations, |b| task_inside(case, task, b));
        let closes = task.definition.closes.as_ref();
        Ok(Snapshot {
            state: task.state,
            lease_held: task.fence == fence && task.technician == self.caller.technician,
            lease_until: task.lease_until,
            order_open: case.goes_on(task),
            cautions: task.definition.cautions.iter().map(|c| c.id.clone()).collect(),
            acknowledged: case.acknowledged_by_holder(task),
            preconditions: verdicts::of(
                case,
                task,
                &task.definition.preconditions,
                Phase::Starting,
            ),
            earlier: open
                .iter()
                .filter_map(|n| n.task())
                .filter_map(|t| case.tasks.iter().find(|row| row.id == t))
                .map(|t| Earlier { task: t.id, title: t.definition.title.clone(), state: t.state })
                .collect(),
            lines: open
                .iter()
                .filter_map(|n| n.line())
                .filter_map(|l| case.lines.iter().find(|row| row.line == l))
                .map(|l| EarlierLine { line: l.line, state: l.state })
                .collect(),
            waits: case
                .waits(node)
                .into_iter()
                .map(|(t, until)| Wait { after: t.definition.title.clone(), until })
                .collect(),
            vehicle_busy_with: busy(case, task),
            foreign_brackets: foreign,
            bracket_not_open: closes
                .filter(|mode| !case.brackets.iter().any(|b| b.mode == **mode))
                .cloned(),
            lock_held_by: self.lock_held_by(case, task).await?,
            away: departures::away(case),
            identity: if on_road(task) && task.definition.preconditions.is_empty() {
                Identity::Matches
            } else {
                verdicts::identity(case, task)
            },
            second_person_missing: task.definition.people > 1 && !second_person(case, task),
            holds: holds(case, task),
            resources: self.resources(case, task).await?,
        })
    }

    /// What was measured of the bay, as it counted at the start.
    async fn bay_as_measured(
        &mut self,
        case: &Case,
        task: &TaskRow,
    ) -> Result<Vec<contract::resources::BayMeasurement>, Refusal> {
        let Some(bay) = task.bay else { return Ok(Vec::new()) };
        let shop = self.shop();
        let bay = store::bays::find(self.conn(), shop, bay).await?;
        let mut measured = bay.as_ref().map(measured_bay::measured).unwrap_or_default();
        measured.retain(|one| one.valid_until > case.now);
        Ok(measured)
    }

    /// What the task is bound to and somebody else uses.
    async fn resources(&mut self, case: &Case, task: &TaskRow) -> Result<Vec<String>, Refusal> {
        let Some(attempt) = case.attempt(task) else { return Ok(Vec::new()) };
        let mut things: Vec<Uuid> =
            attempt.equipment.as_array().into_iter().flatten().filter_map(uuid_of).collect();
        things.extend(attempt.bay);
        things.extend(task.technician);
        things.extend(others(case, task));
        let shop = self.shop();
        let used = store::vehicles::in_use(self.conn(), shop, &things).await?;
        Ok(used
            .into_iter()
            .filter(|row| row.task != Some(task.id))
            .map(|row| format!("the {} is in use for another task or line", row.kind))
            .collect())
    }

    /// Puts the vehicle, the bay, the units and the person in use.
    pub(crate) async fn occupy(&mut self, case: &Case, task: &TaskRow) -> Result<(), Refusal> {
        let units = case.attempt(task).map(|a| a.equipment.clone()).unwrap_or_default();
        let units: Vec<Uuid> = units.as_array().into_iter().flatten().filter_map(uuid_of).collect();
        let things = std::iter::once(("vehicle", case.vehicle.id))
            .chain(task.bay.map(|bay| ("bay", bay)))
            .chain(task.technician.map(|person| ("technician", person)))
            .chain(others(case, task).into_iter().map(|person| ("technician", person)))
            .chain(units.into_iter().map(|unit| ("equipment", unit)));
        for (kind, thing) in things {
            let row = OccupancyRow {
                kind: kind.to_owned(),
                thing,
                order_id: case.order.id,
                task: Some(task.id),
                line: None,
                from_at: case.now,
            };
            self.put_in_use(&row).await?;
        }
        Ok(())
    }

    /// Puts one thing in use; somebody may have been faster.
    pub(crate) async fn put_in_use(&mut self, row: &OccupancyRow) -> Result<(), Refusal> {
        let id = self.new_id().await?;
        let shop = self.shop();
        match store::vehicles::occupy(self.conn(), shop, id, row).await {
            Err(StoreError::Duplicate { .. }) => {
                let kind = if row.kind == "vehicle" {
                    ProblemKind::VehicleBusy
                } else {
                    ProblemKind::Taken
                };
                Err(Refusal::new(
                    kind,
                    format!("the {} was put in use by somebody else just now", row.kind),
                ))
            }
            done => Ok(done?),
        }
    }

    /// Notes the start in the attempt.
    async fn begin_attempt(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        detail: serde_json::Value,
        done: Done,
    ) -> Result<(), Refusal> {
        let Some(mut attempt) = case.attempt(task).cloned() else { return Ok(()) };
        attempt.started_at = task.started_at;
        done.note(&mut attempt, "start", case.now);
        if let (Some(old), serde_json::Value::Object(new)) =
            (attempt.detail.as_object_mut(), detail)
        {
            old.extend(new);
        }
        self.keep_attempt(case, attempt).await
    }

    /// A task that enters a service mode opens it as it starts: what breaks off leaves it open. Where it was left before,
    /// its leaving and the tests after that are undone.
    async fn enter_bracket(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
    ) -> Result<Vec<Uuid>, Refusal> {
        let Some(opens) = &task.definition.opens else { return Ok(Vec::new()) };
        if case.brackets.iter().any(|b| b.mode == opens.mode) {
            return Ok(Vec::new()); // entered again after a chain was begun anew
        }
        let bracket = BracketRow {
            entered_by: task.id,
            order_id: case.order.id,
            mode: opens.mode.clone(),
            left_by: opens.left_by.clone(),
            must_not_move: opens.must_not_move,
            no_handover: opens.no_handover,
            disturbed_by: store::Json(task.definition.disturbed_by.clone()),
            opened_at: case.now,
            holder: task.technician.filter(|_| opens.personal_lock),
            offered_to: None,
        };
        let shop = self.shop();
        store::vehicles::open_bracket(self.conn(), shop, case.vehicle.id, &bracket).await?;
        self.record(Happening {
            kind: "bracket.entered",
            order: Some(case.order.id),
            subject: ("vehicle", case.vehicle.id.to_string()),
            data: json!({ "mode": bracket.mode, "task": task.id, "left_by": bracket.left_by,
                "holder": bracket.holder }),
        })
        .await?;
        case.brackets.push(bracket);
        let left = case.left(&opens.mode);
        self.mark_disturbed(case, &left, &task.definition.id).await?;
        Ok(left.into_iter().map(|task| task.id).collect())
    }
}

/// Technicians who work on it with the holder: those named, and the second person who gave their word.
pub(crate) fn others(case: &Case, task: &TaskRow) -> Vec<Uuid> {
    let named = case.attempt(task).map(|a| a.detail["people"].clone()).unwrap_or_default();
    let mut all: Vec<Uuid> = named.as_array().into_iter().flatten().filter_map(uuid_of).collect();
    if task.definition.people > 1 {
        all.extend(verdicts::samples(case, task).iter().filter_map(|sample| match &sample.kind {
            Kind::Attested { statement, holds: true, second_person: true, by }
                if statement == SECOND_PERSON =>
            {
                by.parse::<Uuid>().ok()
            }
            _ => None,
        }));
    }
    all.sort_unstable();
    all.dedup();
    all.retain(|person| Some(*person) != task.technician);
    all
}

pub(crate) fn uuid_of(value: &serde_json::Value) -> Option<Uuid> {
    value.as_str().and_then(|text| text.parse().ok())
}

/// What else runs on the vehicle.
fn busy(case: &Case, task: &TaskRow) -> Vec<String> {
    case.occupancy
        .iter()
        .filter(|row| row.kind == "vehicle" && row.task != Some(task.id))
        .map(|row| match (row.task, row.line) {
            (Some(other), _) => case
                .tasks
                .iter()
                .chain(&case.beside)
                .find(|t| t.id == other)
                .map_or("another task".to_owned(), |t| format!("`{}`", t.definition.title)),
            (None, Some(line)) => format!("the work of line {line}"),
            (None, None) => "something".to_owned(),
        })
        .collect()
}

/// Holds that concern this start: one that waits for a decision always; one against moving only if the vehicle moves.
fn holds(case: &Case, task: &TaskRow) -> Vec<VehicleHold> {
    let mut holds: Vec<VehicleHold> = case
        .holds
        .iter()
        .filter(|h| h.task != Some(task.id))
        .filter(|h| h.kind != "must_not_move" || on_road(task))
        .map(|h| VehicleHold {
            id: h.id,
            kind: h.kind.clone(),
            reason: h.reason.clone(),
            until: h.until_at,
        })
        .collect();
    if on_road(task) {
        holds.retain(|hold| hold.kind != "must_not_move");
        let stays = departures::keeps_from_moving(case).into_iter();
        holds.extend(stays.filter(|o| o.task != Some(task.id)).map(|obstacle| VehicleHold {
            id: obstacle.task.unwrap_or_default(),
            kind: "must_not_move".to_owned(),
            reason: obstacle.detail,
            until: obstacle.earliest_at,
        }));
    }
    holds
}

fn second_person(case: &Case, task: &TaskRow) -> bool {
    let holder = task.technician.map(|person| person.to_string());
    verdicts::samples(case, task).iter().any(|sample| {
        matches!(&sample.kind, Kind::Attested { statement, holds: true, second_person: true, by }
            if statement == SECOND_PERSON && Some(by) != holder.as_ref())
    })
}

/// Tells what is dangerous while something is proven: what the procedure cautions against.
pub(crate) fn with_hazards(mut obstacles: Vec<Obstacle>, task: &TaskRow) -> Vec<Obstacle> {
    for obstacle in obstacles.iter_mut().filter(|obstacle| obstacle.verdict.is_some()) {
        obstacle.hazards = task.definition.cautions.iter().map(|c| c.text.clone()).collect();
    }
    obstacles
}

/// Reasons as obstacles for what was found unproven.
pub(crate) fn unproven(findings: &[domain::verdict::Finding]) -> Vec<Obstacle> {
    findings
        .iter()
        .filter(|f| f.verdict != domain::verdict::Verdict::Met && !f.waived)
        .map(|f| Obstacle {
            id: Some(f.id.clone()),
            verdict: Some(f.verdict),
            accepts: f.accepts.clone(),
            who: f.who.clone(),
            ..Obstacle::new("result_not_proven", f.detail.clone(), f.text.clone())
        })
        .collect()
}
