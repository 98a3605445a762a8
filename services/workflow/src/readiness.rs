//! Watching a task: what stands between its evidence and its next step, told when that changes.

use std::time::Duration;

use chrono::{DateTime, Utc};
use contract::readiness::{ReadinessQuery, ReadinessView};
use domain::lifecycle::TaskState;
use domain::start::{Obstacle, may_start};
use domain::verdict::Finding;
use serde_json::json;
use sha2::{Digest as _, Sha256};
use store::tasks::TaskRow;
use store::watch::{Pulse, pulse};
use tokio::sync::broadcast::{Receiver, error::RecvError};
use tokio::time::Instant;
use uuid::Uuid;

use crate::caller::Caller;
use crate::case::Case;
use crate::finish::against_passing;
use crate::flow::{Flow, Step};
use crate::record::hex;
use crate::refusal::{Reason, Refusal};
use crate::start::with_hazards;
use crate::verdicts;

/// How often a watcher looks for what another process changed, or for a clock that was set.
const LOOK_AGAIN: Duration = Duration::from_millis(500);
/// How often it looks at everything: a bay or an instrument may have changed for another vehicle's sake.
const LOOK_AT_ALL: Duration = Duration::from_secs(5);

/// The present verdicts and obstacles; with `wait`, as soon as they differ from those that are known. No connection is
/// held while waiting.
pub async fn readiness(
    flow: &Flow,
    caller: &Caller,
    task: Uuid,
    query: &ReadinessQuery,
) -> Result<ReadinessView, Refusal> {
    let patience = Duration::from_secs(u64::from(query.wait.unwrap_or(0).min(30)));
    let deadline = Instant::now() + patience;
    let mut changes = flow.changes.subscribe();
    let mut seen = look(flow, caller, task).await?;
    let known = query.known.clone().unwrap_or_else(|| seen.view.mark.clone());
    while seen.view.mark == known && Instant::now() < deadline && !flow.is_stopping() {
        seen.wait(flow, caller, &mut changes, deadline).await?;
        seen = look(flow, caller, task).await?;
    }
    Ok(seen.view)
}

/// What a look showed.
struct Seen {
    view: ReadinessView,
    vehicle: Uuid,
    /// Orders whose changes concern it.
    orders: Vec<Uuid>,
    pulse: Pulse,
}

impl Seen {
    /// Waits until something may have changed.
    async fn wait(
        &self,
        flow: &Flow,
        caller: &Caller,
        changes: &mut Receiver<Uuid>,
        deadline: Instant,
    ) -> Result<(), Refusal> {
        let all = deadline.min(Instant::now() + LOOK_AT_ALL);
        loop {
            let again = all.min(Instant::now() + self.until_time_changes_it());
            if self.told(flow, changes, again).await || Instant::now() >= all {
                return Ok(());
            }
            let vehicle = self.vehicle;
            let now = flow
                .read(caller, async |step| {
                    let shop = step.shop();
                    Ok(pulse(step.conn(), shop, vehicle).await?)
                })
                .await?;
            let over = self.view.changes_at.is_some_and(|at| at <= now.now);
            if over || now.entries != self.pulse.entries {
                return Ok(());
            }
        }
    }

    /// Whether a change of this vehicle's orders was told before the moment, or the service stops.
    async fn told(&self, flow: &Flow, changes: &mut Receiver<Uuid>, until: Instant) -> bool {
        loop {
            tokio::select! {
                told = changes.recv() => match told {
                    Ok(order) if !self.orders.contains(&order) => {}
                    Ok(_) | Err(RecvError::Lagged(_)) => return true,
                    Err(RecvError::Closed) => {
                        tokio::time::sleep_until(until).await;
                        return false;
                    }
                },
                () = tokio::time::sleep_until(until) => return false,
                () = flow.stopped() => return true,
            }
        }
    }

    fn until_time_changes_it(&self) -> Duration {
        let left = self.view.changes_at.and_then(|at| (at - self.pulse.now).to_std().ok());
        left.map_or(LOOK_AGAIN, |left| left.clamp(Duration::from_millis(10), LOOK_AGAIN))
    }
}

async fn look(flow: &Flow, caller: &Caller, task: Uuid) -> Result<Seen, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let order = store::tasks::order_of(step.conn(), shop, task).await?;
        let case = step.see_case(order.ok_or_else(|| Refusal::not_found("task"))?).await?;
        let vehicle = case.vehicle.id;
        let entries = pulse(step.conn(), shop, vehicle).await?.entries;
        let orders = std::iter::once(case.order.id).chain(case.other_open.iter().copied());
        Ok(Seen {
            view: step.standing(flow, &case, task).await?,
            vehicle,
            orders: orders.collect(),
            pulse: Pulse { entries, now: case.now },
        })
    })
    .await
}

impl Step {
    /// Where a task stands as of now.
    async fn standing(
        &mut self,
        flow: &Flow,
        case: &Case,
        id: Uuid,
    ) -> Result<ReadinessView, Refusal> {
        let task = case.task(id)?;
        let preconditions = verdicts::present(case, task);
        let proof = verdicts::of_proof(case, task);
        let obstacles = if task.state == TaskState::Running {
            against_passing(&preconditions, &proof)
        } else {
            let catalogue = self.catalogue_of(flow, case).await?;
            let mut all = self.snapshot(case, catalogue.catalogue(), id, task.fence).await?;
            // Whoever watches is told what would stop the technician who holds the task.
            all.lease_held = task.state.is_leased();
            may_start(&all, case.now)
        };
        let obstacles = with_hazards(obstacles, task);
        let waits = obstacles.iter().filter_map(|obstacle| obstacle.earliest_at);
        let changes_at = waits
            .chain(task.lease_until.filter(|until| *until > case.now))
            .chain(verdicts::next_change(case, task))
            .min();
        Ok(ReadinessView {
            task: id,
            state: task.state,
            at: case.now,
            ready: obstacles.is_empty(),
            mark: mark(task, &preconditions, &proof, &obstacles),
            earliest_at: Reason::earliest_of(&obstacles),
            changes_at,
            preconditions,
            proof,
            obstacles,
        })
    }
}

/// What must be the same for two answers to say the same; the words tell seconds and differ every time.
fn mark(
    task: &TaskRow,
    preconditions: &[Finding],
    proof: &[Finding],
    obstacles: &[Obstacle],
) -> String {
    let verdicts = |found: &[Finding]| -> Vec<_> {
        found.iter().map(|f| json!([f.id, f.verdict, f.contradiction.is_some()])).collect()
    };
    let moments = |o: &Obstacle| -> Option<DateTime<Utc>> {
        (o.code != "precondition_not_met").then_some(o.earliest_at).flatten()
    };
    let stands: Vec<_> = obstacles
        .iter()
        .map(|o| json!([o.code, o.id, o.verdict, o.task, o.line, moments(o)]))
        .collect();
    let said = json!([
        task.state,
        task.attempt,
        task.fence,
        verdicts(preconditions),
        verdicts(proof),
        stands
    ]);
    hex(&Sha256::digest(said.to_string())[..8])
}
