//! Split: lines go over to an order of their own, with their tasks and what was proven.

use std::collections::BTreeSet;

use contract::orders::{NewSplit, OrderView, SplitView};
use contract::problem::{FieldFault, ProblemKind};
use derivation::derive;
use derivation::index::Compiled;
use domain::lifecycle::{LineState, OrderState, TaskState};
use domain::start::Obstacle;
use serde_json::json;
use sha2::{Digest as _, Sha256};
use store::StoreError;
use store::lines::LineRow;
use store::orders::OrderRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::checks;
use crate::derive::Stated;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::view;

/// Splits lines off. Refused while something of them is being worked, and when a task that was tried is required by lines of
/// both orders: what was proven once stands on one record.
pub async fn split(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    new: &NewSplit,
) -> Result<SplitView, Refusal> {
    flow.write(call, "orders.split", async |step| {
        let case = step.lock_open(call, order).await?;
        let shop = step.shop();
        if let Some(there) = store::orders::numbered(step.conn(), shop, &new.number).await? {
            let detail = format!("there is an order {}", new.number);
            let refusal = Refusal::new(ProblemKind::NumberTaken, detail);
            return Err(refusal.with("order", there.to_string()));
        }
        let faults = faults(&case, new);
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let compiled = step.catalogue_of(flow, &case).await?;
        let share = Share::of(&compiled, &case, &new.lines);
        if !share.obstacles.is_empty() {
            return Err(Refusal::obstacles(share.obstacles));
        }
        let into = step.split_off(&case, new, &share.tasks).await?;
        Ok(SplitView {
            from: step.derived_again(flow, order).await?,
            into: step.derived_again(flow, into).await?,
        })
    })
    .await
}

fn faults(case: &Case, new: &NewSplit) -> Vec<FieldFault> {
    let there = |number: &i32| {
        case.lines.iter().any(|line| line.line == *number && line.state != LineState::Removed)
    };
    let mut faults: Vec<FieldFault> = new
        .lines
        .iter()
        .enumerate()
        .filter(|(_, number)| !there(number))
        .map(|(at, number)| {
            checks::fault(&format!("/lines/{at}"), format!("the order has no line {number}"))
        })
        .collect();
    let stay = case.lines.iter().filter(|line| line.state != LineState::Removed);
    if stay.filter(|line| !new.lines.contains(&line.line)).count() == 0 {
        faults.push(checks::fault("/lines", "at least one line stays on the order"));
    }
    faults
}

/// Procedure and place.
type Key = (String, String);

/// The tasks that go over with some lines, and what stands in the way.
struct Share {
    tasks: Vec<Uuid>,
    obstacles: Vec<Obstacle>,
}

impl Share {
    fn of(compiled: &Compiled, case: &Case, lines: &[i32]) -> Self {
        let goes = |line: &&LineRow| lines.contains(&line.line);
        let (gone, left): (Vec<&LineRow>, Vec<&LineRow>) =
            case.lines.iter().partition(|line| goes(line));
        let required = |order: &OrderRow, lines: Vec<&LineRow>, by_lines: bool| -> BTreeSet<Key> {
            let lines: Vec<LineRow> = lines.into_iter().cloned().collect();
            let stated = Stated::of(order, &lines);
            let derivation = derive::derive(compiled, &stated.repair(&order.facts));
            let key = |task: &derive::DerivedTask<'_>| {
                (task.procedure.id.clone(), task.place.unwrap_or_default().to_owned())
            };
            // What every order asks for, whatever its lines are, each of the two does for itself.
            let beside = |task: &&derive::DerivedTask<'_>| {
                !by_lines || task.because.iter().any(|reason| reason.line.is_some())
            };
            derivation.tasks.iter().filter(beside).map(key).collect()
        };
        let mut share = Self { tasks: Vec::new(), obstacles: Vec::new() };
        for line in gone.iter().filter(|line| line.state == LineState::Started) {
            share.obstacles.push(Obstacle {
                line: Some(line.line),
                ..Obstacle::new(
                    "line_started",
                    format!("line {} is being worked", line.line),
                    "report it paused or finished first",
                )
            });
        }
        let stays = required(&case.order, left, false);
        let goes = required(&bare(&case.order), gone, true);
        for task in &case.tasks {
            let key = (task.definition.id.clone(), task.place.clone());
            let own = !task.lines.is_empty() && task.lines.iter().all(|line| lines.contains(line));
            let lives = !matches!(task.state, TaskState::Withdrawn | TaskState::Disturbed);
            let moves = match (stays.contains(&key), goes.contains(&key)) {
                _ if !lives => own,
                (true, true) if task.attempt > 0 => {
                    share.obstacles.push(shared(task, lines));
                    false
                }
                (true, _) => false,
                (false, true) => true,
                (false, false) => own,
            };
            if moves {
                share.obstacles.extend(in_the_works(case, task));
                share.tasks.push(task.id);
            }
        }
        share
    }
}

/// An order's facts without what it says beside its lines: trouble codes, complaints and observations stay where they are.
fn bare(order: &OrderRow) -> OrderRow {
    OrderRow {
        trouble_codes: Vec::new(),
        complaints: Vec::new(),
        observations: json!([]),
        ..order.clone()
    }
}

fn shared(task: &TaskRow, lines: &[i32]) -> Obstacle {
    let mut others: Vec<i32> = task.lines.clone();
    others.retain(|line| !lines.contains(line));
    let with = match others.as_slice() {
        [] => "what the order says beside its lines".to_owned(),
        some => format!("line {}", some.iter().map(i32::to_string).collect::<Vec<_>>().join(", ")),
    };
    Obstacle {
        task: Some(task.id),
        ..Obstacle::new(
            "task_shared",
            format!(
                "`{}` was tried for these lines and for {with}; its evidence stands on one record",
                task.definition.title
            ),
            "split all the lines that share it, or none of them",
        )
    }
}

fn in_the_works(case: &Case, task: &TaskRow) -> Option<Obstacle> {
    let title = &task.definition.title;
    let (code, detail, how) = if case.brackets.iter().any(|b| b.entered_by == task.id)
        || case.is_bound_by_bracket(task)
    {
        (
            "bracket_open",
            format!("`{title}` belongs to a service mode that stands open"),
            "leave it first",
        )
    } else if matches!(task.state, TaskState::Taken | TaskState::Running | TaskState::Held) {
        ("task_busy", format!("`{title}` is {}", task.state.word()), "return it or finish it first")
    } else {
        return None;
    };
    Some(Obstacle { task: Some(task.id), ..Obstacle::new(code, detail, how) })
}

impl Step {
    /// Makes the new order and moves lines and tasks to it. Both journals tell.
    async fn split_off(
        &mut self,
        case: &Case,
        new: &NewSplit,
        tasks: &[Uuid],
    ) -> Result<Uuid, Refusal> {
        let shop = self.shop();
        let old = &case.order;
        let said = json!({ "split": new, "from": old.id });
        let into = OrderRow {
            id: self.new_id().await?,
            number: new.number.clone(),
            state: OrderState::Open,
            version: 1,
            intake_digest: Sha256::digest(said.to_string()).to_vec(),
            findings: json!([]),
            follows: None,
            split_from: Some(old.id),
            promised_at: new.promised_at.or(old.promised_at),
            created_at: case.now,
            ..bare(old)
        };
        match store::orders::insert(self.conn(), shop, &into).await {
            Err(StoreError::Duplicate { .. }) => return Err(StoreError::Collision.into()),
            done => done?,
        }
        store::lines::go_over(self.conn(), shop, (old.id, into.id), &new.lines).await?;
        if !store::tasks::go_over(self.conn(), shop, (old.id, into.id), tasks).await? {
            return Err(StoreError::Collision.into());
        }
        self.record(Happening {
            kind: "order.split",
            order: Some(old.id),
            subject: ("order", old.id.to_string()),
            data: json!({ "number": old.number, "into": into.id, "into_number": into.number, "lines": new.lines,
                "tasks": tasks }),
        })
        .await?;
        self.record(Happening {
            kind: "order.split_off",
            order: Some(into.id),
            subject: ("order", into.id.to_string()),
            data: json!({ "number": into.number, "from": old.id, "from_number": old.number, "lines": new.lines,
                "tasks": tasks, "vehicle": into.vehicle, "facts": into.facts, "catalogue": into.catalogue_version }),
        })
        .await?;
        Ok(into.id)
    }

    async fn derived_again(&mut self, flow: &Flow, order: Uuid) -> Result<OrderView, Refusal> {
        let mut case = self.see_case(order).await?;
        let changes = self.derive_again(flow, &mut case).await?;
        self.save_order(&mut case).await?;
        let mut shown = view::order(&case);
        shown.changes = Some(changes);
        Ok(shown)
    }
}
