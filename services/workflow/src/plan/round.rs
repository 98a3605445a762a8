//! One round of planning: read the shop, plan beside the database, put the new plan in force.

use chrono::{DateTime, Utc};
use contract::orders::PromiseRisk;
use contract::plan::{Moved, PlanCost, Unplanned};
use domain::lifecycle::OrderState;
use planner::model::{Model, Placement};
use planner::outcome::{Options, Plan};
use serde_json::json;
use store::plans::{PlanItemRow, PlanRow};
use store::tasks::Node;
use uuid::Uuid;

use super::hours::PATIENCE;
use super::picture::{Picture, Shop, draw};
use crate::caller::{Call, Caller};
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::view;

/// Seconds for which a process holds the duty of planning a shop.
const HOLD: f64 = 10.0;
/// Seconds by which work may slide in its bay without being told: no more than the steps by which a plan goes with the clock.
const SLIDE: i64 = PATIENCE.num_seconds();
/// Candidates that one round looks at: a second or so, and the same for the same day.
const ITERATIONS: u64 = 20_000;

/// Plans a shop if anything happened since the plan in force was made; `true`: it was planned. Two processes never plan
/// one shop at once, and no lock is held while the planner thinks.
pub async fn round(flow: &Flow, shop: Uuid, holder: Uuid) -> Result<bool, Refusal> {
    let caller = Caller::duty(shop, "planner");
    let call = Call { caller: caller.clone(), once: None, expects: None };
    let mine = flow
        .write(&call, "plan.hold", async |step| {
            let shop = step.shop();
            Ok(store::shops::hold_duty(step.conn(), shop, "plan", holder, HOLD).await?)
        })
        .await?;
    if !mine {
        return Ok(false);
    }
    let read = flow
        .read(&caller, async |step| {
            let shop = step.shop();
            let newest = store::plans::newest(step.conn(), shop).await?;
            let size = store::journal::size(step.conn(), shop).await?;
            let through = newest.as_ref().map_or(-1, |plan| plan.through);
            let now = step.now().await?;
            let news = store::journal::happened(step.conn(), shop, through, size).await?;
            let lagging = store::plans::lagging(step.conn(), shop, now, now - PATIENCE).await?;
            if newest.is_some() && !news && !lagging {
                return Ok(None);
            }
            Ok(Some((newest, size, step.shop_picture().await?)))
        })
        .await?;
    let Some((newest, size, shop_now)) = read else { return Ok(false) };
    let picture = draw(&shop_now);
    let model = picture.model.clone();
    let plan = aside(move || think(&model)).await?;
    let made = Made {
        newest,
        size,
        items: items(&shop_now, &picture, &plan),
        picture,
        plan,
        shop: shop_now,
    };
    flow.write(&call, "plan.put", async |step| step.put_plan(holder, &made).await).await
}

/// What a round came to.
struct Made {
    newest: Option<PlanRow>,
    size: i64,
    items: Vec<PlanItemRow>,
    picture: Picture,
    plan: Plan,
    shop: Shop,
}

/// Thinks beside the requests.
pub(super) async fn aside<T: Send + 'static>(
    think: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(think).await.map_err(|error| {
        Refusal::new(
            contract::problem::ProblemKind::Internal,
            format!("planning broke off: {error}"),
        )
    })
}

/// Plans. Iterations alone end the search, so that the same day gives the same plan.
pub(super) fn think(model: &Model) -> Plan {
    let per_job = u64::try_from(model.jobs.len()).unwrap_or(1).max(1);
    let iterations = (ITERATIONS * 50 / per_job.max(50)).max(200);
    let options = Options { iterations: Some(iterations), seed: 1, threads: 1 };
    planner::improve::plan(model, &options, &|| 0.0)
}

/// A plan as rows, by start.
pub(super) fn items(shop: &Shop, picture: &Picture, plan: &Plan) -> Vec<PlanItemRow> {
    let at = |ticks: i64| DateTime::<Utc>::from_timestamp(ticks, 0).unwrap_or(shop.now);
    let mut rows: Vec<PlanItemRow> = plan
        .placements
        .iter()
        .zip(&picture.nodes)
        .zip(&picture.model.jobs)
        .filter_map(|((placement, (order, node)), job)| {
            let placed: &Placement = placement.as_ref()?;
            Some(PlanItemRow {
                order_id: *order,
                task: node.task(),
                line: node.line(),
                bay: placed.bay.and_then(|bay| shop.bays.get(bay)).map(|bay| bay.id),
                technicians: placed
                    .technicians
                    .iter()
                    .filter_map(|t| shop.people.get(*t))
                    .map(|p| p.id)
                    .collect(),
                equipment: json!(
                    job.equipment.iter().cloned().collect::<std::collections::BTreeMap<_, _>>()
                ),
                starts_at: at(placed.start),
                ends_at: at(placed.end),
            })
        })
        .collect();
    rows.sort_by_key(|row| (row.starts_at, row.order_id, row.node()));
    rows
}

/// What could not be planned, with the reason in words.
pub(super) fn unplanned(picture: &Picture, plan: &Plan) -> Vec<Unplanned> {
    plan.unplanned
        .iter()
        .filter_map(|left| {
            let (order, node) = picture.nodes.get(left.job)?;
            Some(Unplanned {
                order: *order,
                task: node.task(),
                line: node.line(),
                reason: left.reason.to_string(),
            })
        })
        .collect()
}

/// What moved from one plan to another, in words; `old` is where the jobs were, by number. What only slid by less than
/// [`SLIDE`] in its bay is left out: a minute is no news, and would bury what is.
pub(super) fn moved(
    shop: &Shop,
    picture: &Picture,
    plan: &Plan,
    old: &[Option<Placement>],
) -> Vec<Moved> {
    let model = &picture.model;
    let bay = |bay: Option<usize>| {
        bay.and_then(|bay| shop.bays.get(bay)).map_or("the road", |bay| bay.name.as_str())
    };
    let time = |ticks: i64| {
        let at = DateTime::<Utc>::from_timestamp(ticks, 0).unwrap_or(shop.now);
        at.with_timezone(&shop.zone).format("%d %b %H:%M").to_string()
    };
    let names = |people: &[usize]| {
        let names = people.iter().filter_map(|who| shop.people.get(*who));
        names.map(|person| person.name.as_str()).collect::<Vec<_>>().join(" and ")
    };
    let mut moved: Vec<(i64, Moved)> = Vec::new();
    for (job, (order, node)) in picture.nodes.iter().enumerate() {
        let placed = |places: &[Option<Placement>]| places.get(job).cloned().flatten();
        let (Some(before), Some(after)) = (placed(old), placed(&plan.placements)) else { continue };
        let same = before.bay == after.bay && before.technicians == after.technicians;
        if same && (before.start - after.start).abs() < SLIDE {
            continue;
        }
        let people = if before.technicians == after.technicians {
            String::new()
        } else {
            match (names(&after.technicians), names(&before.technicians)) {
                (now, then) if now.is_empty() || then.is_empty() => ", other people".to_owned(),
                (now, then) => format!(", {now} instead of {then}"),
            }
        };
        let because = match planner::upset::upset(model, job, &before) {
            Some(upset) => Some(upset.words(model, time)),
            None => planner::explain::why(model, plan, job).map(|cause| cause.words(model)),
        };
        let detail = format!(
            "from {} {} to {} {}{people}",
            bay(before.bay),
            time(before.start),
            bay(after.bay),
            time(after.start)
        );
        let because = because.unwrap_or_default();
        let (task, line) = (node.task(), node.line());
        moved.push((after.start, Moved { order: *order, task, line, detail, because }));
    }
    moved.sort_by_key(|(start, moved)| (*start, moved.order, moved.task, moved.line));
    moved.into_iter().map(|(_, moved)| moved).collect()
}

/// The parts of the objective by the model's weights, in weighted minutes and counts.
#[expect(clippy::cast_precision_loss, reason = "figures to read, far below 2^52")]
pub(super) fn cost(model: &Model, plan: &Plan) -> PlanCost {
    let part = |cost: i64, weight: i64, unit: f64| {
        if weight == 0 { 0.0 } else { (cost as f64 / weight as f64 / unit * 10.0).round() / 10.0 }
    };
    let (weights, cost) = (model.weights, planner::cost::cost(model, &plan.placements));
    PlanCost {
        tardiness: part(cost.tardiness, weights.tardiness, 60.0),
        flow: part(cost.flow, weights.flow, 60.0),
        moves: part(cost.moving, weights.moving, 1.0),
        changes: part(cost.changes, weights.change, 1.0),
    }
}

impl Step {
    /// The shop's open work and means.
    pub(super) async fn shop_picture(&mut self) -> Result<Shop, Refusal> {
        let now = self.now().await?;
        let shop = self.shop();
        let row = store::shops::find(self.conn(), shop)
            .await?
            .ok_or_else(|| Refusal::not_found("shop"))?;
        let open = store::orders::open(self.conn(), shop).await?;
        let mut cases = self.see_cases(&open).await?;
        cases.retain(|case| case.order.state == OrderState::Open);
        Ok(Shop {
            now,
            zone: row.time_zone.parse().unwrap_or(chrono_tz::UTC),
            cases,
            bays: store::bays::list(self.conn(), shop).await?,
            people: store::means::people(self.conn(), shop).await?,
            units: store::means::units(self.conn(), shop).await?,
            shifts: store::means::shift_times(self.conn(), shop).await?,
            away: store::means::away(self.conn(), shop, now).await?,
            pins: store::plans::pins(self.conn(), shop).await?,
            items: store::plans::items(self.conn(), shop).await?,
        })
    }

    /// Puts a plan in force, unless another process took the duty over. A plan that is the same changes nothing.
    async fn put_plan(&mut self, holder: Uuid, made: &Made) -> Result<bool, Refusal> {
        let shop = self.shop();
        if !store::shops::hold_duty(self.conn(), shop, "plan", holder, HOLD).await? {
            return Ok(false);
        }
        let unplanned = unplanned(&made.picture, &made.plan);
        if let Some(newest) = &made.newest
            && made.items == made.shop.items
            && json!(unplanned) == newest.unplanned
        {
            store::plans::read_through(self.conn(), shop, newest.version, made.size).await?;
            return Ok(false);
        }
        let was = &made.picture.model.in_force;
        let moved = moved(&made.shop, &made.picture, &made.plan, was);
        let version = made.newest.as_ref().map_or(1, |plan| plan.version + 1);
        let now = self.now().await?;
        let cost = cost(&made.picture.model, &made.plan);
        let row = PlanRow {
            version,
            made_at: now,
            through: made.size,
            cost: json!(cost),
            unplanned: json!(unplanned),
            moved: json!(moved),
        };
        store::plans::insert(self.conn(), shop, &row).await?;
        store::plans::replace_items(self.conn(), shop, &made.items).await?;
        self.record(Happening {
            kind: "plan.made",
            order: None,
            subject: ("plan", version.to_string()),
            data: json!({ "version": version, "moved": moved, "unplanned": unplanned, "cost": cost }),
        })
        .await?;
        self.tell_risks(made, &unplanned).await?;
        Ok(true)
    }

    /// A promise that the new plan endangers, and that the old one did not when it was made, is told before it is broken; so is
    /// one of an order of which something lost its place.
    async fn tell_risks(&mut self, made: &Made, unplanned: &[Unplanned]) -> Result<(), Refusal> {
        let left = made.newest.as_ref().map(|plan| plan.unplanned.clone()).unwrap_or_default();
        let left: Vec<Unplanned> = serde_json::from_value(left).unwrap_or_default();
        for case in made.shop.cases.iter().filter(|case| case.order.promised_at.is_some()) {
            let order = case.order.id;
            let then = made.newest.as_ref().map_or(case.now, |plan| plan.made_at);
            let (_, before) = view::promise_with(case, &case.plan, then);
            let mine: Vec<PlanItemRow> =
                made.items.iter().filter(|i| i.order_id == order).cloned().collect();
            let (ready_at, after) = view::promise_with(case, &mine, case.now);
            let lost: Vec<&str> = (unplanned.iter().filter(|left| left.order == order))
                .map(|left| left.reason.as_str())
                .collect();
            let told = match after {
                PromiseRisk::AtRisk | PromiseRisk::Late => before != after,
                PromiseRisk::Unknown => {
                    !lost.is_empty() && left.iter().all(|left| left.order != order)
                }
                PromiseRisk::OnTime => false,
            };
            if told {
                self.record(Happening {
                    kind: "plan.promise_endangered",
                    order: Some(order),
                    subject: ("order", order.to_string()),
                    data: json!({ "number": case.order.number, "promise": after, "ready_at": ready_at,
                        "promised_at": case.order.promised_at, "unplanned": lost }),
                })
                .await?;
            }
        }
        Ok(())
    }
}

/// The title of a planned node.
pub(super) fn title(case: &Case, node: Node) -> String {
    match node {
        Node::Task(id) => case
            .tasks
            .iter()
            .find(|t| t.id == id)
            .map_or(String::new(), |t| t.definition.title.clone()),
        Node::Line(line) => {
            let text = case
                .lines
                .iter()
                .find(|l| l.line == line)
                .map(|l| l.text.clone())
                .unwrap_or_default();
            if text.is_empty() { format!("Line {line}") } else { text }
        }
    }
}
