//! The whole day: orders come in, the plan is made and repaired, technicians work, vehicles leave.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use chrono::{SubsecRound as _, TimeDelta};
use contract::leases::ReturnLease;
use contract::orders::{OrderSummary, OrderView, Progress};
use contract::plan::{PlanItem, PlanView};
use contract::resources::{AbsenceView, EndAbsence, NewAbsence};
use contract::tasks::{Decision, NewDecision, TaskView};
use domain::lifecycle::{LineState, OrderState, TaskState};
use futures::future::join_all;
use uuid::Uuid;

use crate::client::Failure;
use crate::orders::{DAY, Plot, Scene};
use crate::report::{Ended, Report, Say, Story};
use crate::scenes;
use crate::service::Service;
use crate::shop::Shop;
use crate::technician::Vehicle;
use crate::visit::{Visit, report};

/// Tenths of a second that the plan may take to answer to something, on a busy machine.
const PLAN_PATIENCE: u32 = 900;
/// Hours that the technician who goes home is away. Work that only they can do is planned for when they are back.
const AWAY: TimeDelta = TimeDelta::hours(36);

/// Plays the day on a running service. Progress lines go to `say`.
pub async fn play(service: &Service, say: Arc<Say>) -> Result<Report, Failure> {
    let story = Story::new("shop", &say);
    let shop = Shop::open(service).await?;
    story.tell(&format!(
        "{} bays, {} technicians, equipment and shifts stand ready",
        shop.bays.len(),
        shop.technicians().count()
    ));
    let left = take_up(&shop, &story).await?;
    let day = take_in(&shop, left, &story).await?;
    look_ahead(&shop, &day, &story).await?;
    surprise(&shop, &story).await?;
    join_all(day.iter().map(|visit| spend(visit, story.of(&visit.number)))).await;
    close(&day, &story).await
}

/// What an earlier day that broke off left behind is laid down, so that its bays and tools are free. Gives how many
/// orders there were.
async fn take_up(shop: &Shop, story: &Story) -> Result<usize, Failure> {
    let orders: Vec<OrderSummary> = shop.desk.list("/v1/orders").await?;
    for summary in orders.iter().filter(|order| order.state == OrderState::Open) {
        let order: OrderView = shop.desk.get(&format!("/v1/orders/{}", summary.id)).await?;
        for task in &order.tasks {
            lay_down(shop, task).await?;
        }
        for line in order.lines.iter().filter(|line| line.state == LineState::Started) {
            let path = format!("/v1/orders/{}/lines/{}/progress", order.id, line.line);
            let body = report(Progress::Paused, None, Vec::new());
            shop.desk.post::<_, OrderView>(&path, &body).await?;
        }
        story.tell(&format!("{} is left from an earlier day", order.number));
    }
    Ok(orders.len())
}

async fn lay_down(shop: &Shop, task: &TaskView) -> Result<(), Failure> {
    let path = |what: &str| format!("/v1/tasks/{}/{what}", task.id);
    let holder = shop.technicians().find(|one| Some(one.id) == task.technician);
    if let Some(holder) = holder
        && task.state == TaskState::Taken
    {
        let body = ReturnLease { fence: task.fence, note: "laid down overnight".to_owned() };
        return holder.client.post::<_, TaskView>(&path("return"), &body).await.map(drop);
    }
    let retry = NewDecision {
        decision: Decision::Retry,
        reason: "the day broke off; it is begun anew".to_owned(),
    };
    match (task.state, holder) {
        (TaskState::Running, Some(holder)) => {
            let body = contract::tasks::NewInterruption {
                fence: task.fence,
                vehicle_condition: "as it stood when the day broke off".to_owned(),
                safe: true,
            };
            holder.client.post::<_, TaskView>(&path("interruptions"), &body).await?;
        }
        (TaskState::Held, _) => {}
        _ => return Ok(()),
    }
    shop.dispatcher.post::<_, TaskView>(&path("decisions"), &retry).await.map(drop)
}

/// The shop's system posts the orders of the day.
async fn take_in<'a>(
    shop: &'a Shop,
    earlier: usize,
    story: &Story,
) -> Result<Vec<Visit<'a>>, Failure> {
    let now = shop.desk.now().await?;
    // Orders are never removed, so their count begins a series of numbers that was not used.
    let first = u32::try_from(earlier).unwrap_or(0) + 1;
    let mut visits = Vec::new();
    for (serial, plot) in (first..).zip(DAY) {
        let number = format!("RO-{serial:05}");
        let vin = plot.vin(serial);
        let order: OrderView =
            shop.desk.post("/v1/orders", &plot.order(&number, &vin, now)).await?;
        story.of(&number).tell(&format!(
            "taken in: {}; {} tasks, {} questions",
            plot.about,
            order.tasks.len(),
            order.progress.questions
        ));
        let vehicle = Vehicle { vin, codes: codes(plot) };
        visits.push(Visit { shop, plot, order: order.id, number, vehicle });
    }
    Ok(visits)
}

/// The vehicle's codes as an OBD answer carries them (SAE J1979 service 03): how many, then two bytes each.
fn codes(plot: &Plot) -> String {
    let bytes: Vec<String> = plot.codes().iter().filter_map(|code| bytes_of(code)).collect();
    format!("{:02x}{}", bytes.len(), bytes.concat())
}

/// The two bytes of a code (SAE J2012): the letter and the first digit share the highest four bits.
fn bytes_of(code: &str) -> Option<String> {
    let system = "PCBU".find(code.get(..1)?)?;
    let digits = u32::from_str_radix(code.get(1..5)?, 16).ok()?;
    let high = u32::try_from(system).ok()? << 14;
    Some(format!("{:04x}", high | digits))
}

/// The plan covers the day, and tells of the promise that it can't keep.
async fn look_ahead(shop: &Shop, day: &[Visit<'_>], story: &Story) -> Result<(), Failure> {
    let story = story.of("plan");
    let ids: BTreeSet<Uuid> = day.iter().map(|visit| visit.order).collect();
    let covers = |plan: &PlanView| {
        let planned: BTreeSet<Uuid> = plan.items.iter().map(|item| item.order).collect();
        let not: BTreeSet<Uuid> = plan.unplanned.iter().map(|one| one.order).collect();
        ids.iter().all(|id| planned.contains(id) || not.contains(id))
    };
    let Some(plan) = plan_when(shop, covers).await? else {
        story.expect(false, "the plan covers the day");
        return Ok(());
    };
    story.tell(&format!(
        "version {}: {} items planned, {} not",
        plan.version,
        plan.items.len(),
        plan.unplanned.len()
    ));
    for visit in day.iter().filter(|visit| visit.plot.scene == Scene::PromiseAtRisk) {
        let order = visit.read().await?;
        story.expect(scenes::promise_is_told(&order), "a promise that can't be kept is told");
        if let (Some(ready), Some(promised)) = (order.ready_at, order.promised_at) {
            story.tell(&format!(
                "{} is promised for {}, may be ready at {}: {:?}",
                visit.number,
                promised.format("%H:%M"),
                ready.format("%H:%M"),
                order.promise
            ));
        }
    }
    Ok(())
}

/// A technician goes home and a bay is out: the plan no longer counts on them. Both come back.
async fn surprise(shop: &Shop, story: &Story) -> Result<(), Failure> {
    let story = story.of("plan");
    let plan: PlanView = shop.dispatcher.get("/v1/plan").await?;
    let now = shop.desk.now().await?;
    let person =
        plan.items.iter().filter(|i| i.starts_at > now).find_map(|i| i.technicians.first());
    let bay = plan.items.iter().filter(|i| i.starts_at > now).find_map(|i| i.bay);
    let (Some(person), Some(bay)) = (person.copied(), bay) else {
        story.expect(false, "somebody and some bay are planned");
        return Ok(());
    };
    let back = (now + AWAY).trunc_subsecs(0); // plans go by whole seconds
    let away = NewAbsence {
        technician: Some(person),
        bay: None,
        equipment: None,
        from_at: None,
        until_at: Some(back),
        reason: "unwell, gone home".to_owned(),
    };
    let out = NewAbsence {
        technician: None,
        bay: Some(bay),
        reason: "the lift does not lift".to_owned(),
        until_at: None,
        ..away.clone()
    };
    let mut absences = Vec::new();
    for body in [&away, &out] {
        absences.push(shop.dispatcher.post::<_, AbsenceView>("/v1/absences", body).await?);
    }
    let counts_on_them = |item: &PlanItem| {
        item.starts_at > now
            && (item.bay == Some(bay)
                || (item.technicians.contains(&person) && item.starts_at < back))
    };
    match plan_when(shop, |plan| !plan.items.iter().any(counts_on_them)).await? {
        Some(repaired) => story.tell(&format!(
            "repaired without a technician and a bay: version {} after {}, {} items moved",
            repaired.version,
            plan.version,
            repaired.moved.len()
        )),
        None => story.expect(false, "the plan is repaired when a technician and a bay fall out"),
    }
    let until_at = shop.desk.now().await?;
    for absence in absences {
        let path = format!("/v1/absences/{}/end", absence.id);
        shop.dispatcher.post::<_, AbsenceView>(&path, &EndAbsence { until_at }).await?;
    }
    story.tell("both are back");
    Ok(())
}

/// The plan, once it is as wanted.
async fn plan_when(
    shop: &Shop,
    wanted: impl Fn(&PlanView) -> bool,
) -> Result<Option<PlanView>, Failure> {
    for _ in 0..PLAN_PATIENCE {
        let plan: PlanView = shop.dispatcher.get("/v1/plan").await?;
        if plan.version > 0 && wanted(&plan) {
            return Ok(Some(plan));
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    Ok(None)
}

/// One vehicle's day.
async fn spend(visit: &Visit<'_>, story: Story) {
    let whole = async {
        scenes::play(visit, &story).await?;
        visit.to_the_end().await?;
        visit.release().await
    };
    match whole.await {
        Ok(()) => story.tell("released"),
        Err(Failure::Refused(problem)) => story.expect(false, &crate::visit::reasons(&problem)),
        Err(failure) => story.expect(false, &failure.to_string()),
    }
}

/// Every order must have reached the state that it was to reach.
async fn close(day: &[Visit<'_>], story: &Story) -> Result<Report, Failure> {
    let mut orders = Vec::new();
    for visit in day {
        let order = visit.read().await?;
        let story = story.of(&visit.number);
        let wanted = visit.plot.ends;
        let ended = order.state == wanted;
        let what =
            format!("{} ends {}; it is {}", visit.plot.about, wanted.word(), order.state.word());
        story.expect(ended, &what);
        orders.push(Ended {
            id: order.id,
            number: order.number,
            about: visit.plot.about,
            state: order.state,
            tasks: order.progress.tasks,
        });
    }
    Ok(Report { orders, mismatches: story.mismatches() })
}
