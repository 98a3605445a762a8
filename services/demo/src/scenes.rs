//! What happens on some orders of the day beside the plain course of work. Each scene checks what the service says.

use contract::orders::{OrderView, PromiseRisk, ReleaseKind};
use contract::tasks::{Decision, NewWaiver, TaskView, WaiverView};
use domain::lifecycle::{LineState, TaskState};
use domain::order::Authorisation;
use domain::role::Role;

use crate::client::Failure;
use crate::orders::Scene;
use crate::proof;
use crate::report::Story;
use crate::shop::Hands;
use crate::technician::Job;
use crate::visit::{Visit, reasons, report};

/// Plays what happens on this order until only the plain course is left.
pub async fn play(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    match visit.plot.scene {
        Scene::Plain | Scene::PromiseAtRisk => Ok(()),
        Scene::ColdEngine => cold_engine(visit, story).await,
        Scene::WrongVehicle => wrong_vehicle(visit, story).await,
        Scene::Handover => handover(visit, story).await,
        Scene::BrokenThenResumed => broken(visit, story, Decision::Resume).await,
        Scene::BrokenThenRetried => broken(visit, story, Decision::Retry).await,
        Scene::FailsOnce => fails_once(visit, story).await,
        Scene::Waived => waived(visit, story).await,
        Scene::CalipersOpen => calipers_open(visit, story).await,
        Scene::AskedTooEarly => asked_too_early(visit, story).await,
        Scene::Declined => declined(visit, story).await,
    }
}

/// The promise is told to be at risk before work begins. False if the plan does not say yet.
pub fn promise_is_told(order: &OrderView) -> bool {
    order.ready_at.is_some() && matches!(order.promise, PromiseRisk::AtRisk | PromiseRisk::Late)
}

async fn cold_engine(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let task = visit.until_ready("idle_relearn").await?;
    let (hands, mut job) = take(visit, &task).await?;
    let one = &hands.technician;
    one.acknowledge(&job).await?;
    one.identify(&job, &visit.vehicle.vin).await?;
    one.prepare(&job, &visit.vehicle, None).await?;
    let now = one.client.now().await?;
    one.send(&job, vec![proof::reading("engine_coolant_temperature", "68", "Cel", now)]).await?;
    let refused = one.start(&mut job).await;
    story.refused(&refused, "precondition-not-met", "the idle relearn at 68 Cel");
    let told = refused.err().and_then(|failure| failure.problem().map(reasons)).unwrap_or_default();
    story.expect(told.contains("coolant"), "the refusal names the coolant");
    one.prepare_and_start(&mut job, &visit.vehicle, None).await?;
    one.finish(&job, &visit.vehicle, None).await?;
    story.tell("warmed up, started, learned");
    Ok(())
}

async fn wrong_vehicle(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let task = visit.until_any_ready(|task| !task.preconditions.is_empty()).await?;
    let (hands, mut job) = take(visit, &task).await?;
    let one = &hands.technician;
    let second = visit.shop.other(one, &job.task.needs.skills);
    one.acknowledge(&job).await?;
    one.identify(&job, &visit.plot.vin(999_999)).await?;
    let refused = one.start(&mut job).await;
    story.refused(&refused, "vehicle-mismatch", "a start on another vehicle");
    one.prepare_and_start(&mut job, &visit.vehicle, second).await?;
    one.finish(&job, &visit.vehicle, second).await?;
    story.tell("the right vehicle was brought in");
    Ok(())
}

async fn handover(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let task = visit.until_ready("restraint_verification").await?;
    let (hands, job) = take(visit, &task).await?;
    let first = hands.technician.clone();
    let able = |one: &crate::technician::Technician| one.id != first.id && one.can(&task);
    let other = visit.shop.hands(able).await;
    first.acknowledge(&job).await?;
    first.offer(&job, &other.technician, "cautions read, nothing started").await?;
    let mut job = other.technician.accept(&job).await?;
    let refused = first.identify(&job, &visit.vehicle.vin).await;
    story.expect(refused.is_err(), "who handed a task over no longer works on it");
    drop(hands);
    other.technician.prepare_and_start(&mut job, &visit.vehicle, None).await?;
    other.technician.finish(&job, &visit.vehicle, None).await?;
    story.tell(&format!("handed over from {} to {}", first.name, other.technician.name));
    Ok(())
}

async fn broken(visit: &Visit<'_>, story: &Story, decision: Decision) -> Result<(), Failure> {
    let needs_tool = |task: &TaskView| task.needs.equipment.iter().any(|kind| kind == "scan_tool");
    let after = |task: &TaskView| task.phase == domain::procedure::Phase::After;
    let task = visit.until_any_ready(|task| needs_tool(task) && after(task)).await?;
    let (hands, mut job) = take(visit, &task).await?;
    let one = &hands.technician;
    let second = visit.shop.other(one, &job.task.needs.skills);
    one.prepare_and_start(&mut job, &visit.vehicle, second).await?;
    let held = one.interrupt(&job, "connection lost, ignition on, nothing moves", true).await?;
    story.expect(held.state == TaskState::Held, "a task that broke off is held");
    let lines = visit.ask_release(ReleaseKind::Complete).await;
    story.refused(&lines, "not-releasable", "a release while a task is held");
    let decided = one.decide(task.id, decision, "cable seated again, battery at 12.9 V").await?;
    if decision == Decision::Resume {
        let job = Job { fence: decided.fence, ..job };
        one.finish(&job, &visit.vehicle, second).await?;
        story.tell(&format!("`{}` broke off and was resumed", task.title));
    } else {
        story.expect(decided.state == TaskState::Ready, "a task to be retried may be taken again");
        drop(hands);
        let again = do_again(visit, &task).await?;
        story.expect(again.attempt == 2, "a retry is a second attempt");
        story.tell(&format!("`{}` broke off and was begun anew", task.title));
    }
    Ok(())
}

async fn fails_once(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let task = visit.until_ready("window_one_touch_initialisation").await?;
    let (hands, mut job) = take(visit, &task).await?;
    let one = &hands.technician;
    one.prepare_and_start(&mut job, &visit.vehicle, None).await?;
    let failed = one.fail(&job, "the window stopped halfway; the seal was twisted").await?;
    if failed.state == TaskState::Failed {
        one.decide(task.id, Decision::Retry, "seal seated").await?;
    }
    drop(hands);
    let again = do_again(visit, &task).await?;
    story.expect(again.state == TaskState::Passed, "the second attempt passes");
    story.expect(again.attempt == 2, "the failed attempt stays on record");
    story.tell(&format!("`{}` failed, then passed", task.title));
    Ok(())
}

async fn waived(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let task = visit.until_ready("driver_assistance_road_check").await?;
    let path = format!("/v1/tasks/{}/waiver", task.id);
    let body = NewWaiver {
        reason: "ice on every road around; the customer brings it back tomorrow".to_owned(),
        customer_told: Some("adaptive cruise control stays off until the road check".to_owned()),
        restriction: Some("do not use adaptive cruise control".to_owned()),
        place: None,
        precondition: None,
        expires_at: None,
    };
    let given: WaiverView = visit.shop.dispatcher.post(&path, &body).await?;
    story.expect(given.approval_needed, "this waiver needs two people");
    let approve = format!("{path}/approvals");
    let alone = visit.shop.dispatcher.post::<_, WaiverView>(&approve, &()).await;
    story.refused(&alone, "second-person-required", "an approval by the giver");
    let owner = visit.shop.service.as_person("owner", Role::Owner);
    let approved: WaiverView = owner.post(&approve, &()).await?;
    story.expect(approved.task_state == TaskState::Waived, "an approved waiver takes effect");
    story.tell(&format!("`{}` waived by two people", task.title));
    Ok(())
}

async fn calipers_open(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let open = visit.until_ready("parking_brake_open_for_service").await?;
    while !visit.work_task(&open).await? {}
    let Some(battery) = visit.plot.line(2, Authorisation::Approved) else { return Ok(()) };
    let added = format!("/v1/orders/{}/lines/2", visit.order);
    visit.shop.desk.put::<_, OrderView>(&added, &battery, None).await?;
    story.tell("the customer asks for wiring work as well");
    let hands = visit.shop.hands(|one| one.skills.iter().any(|skill| skill == "brakes")).await;
    let one = &hands.technician;
    let path = format!("/v1/orders/{}/lines/2/progress", visit.order);
    let bay = visit.shop.bays.first().map(|bay| bay.id);
    let body = report(contract::orders::Progress::Started, bay, Vec::new());
    let refused = visit.shop.desk.post::<_, OrderView>(&path, &body).await;
    story.refused(
        &refused,
        "bracket-open",
        "to disconnect the battery while the calipers stand open",
    );
    let settled = one.client.now().await? + chrono::TimeDelta::seconds(32);
    one.client.wait_until(settled).await?;
    while !visit.begin_line(1, &hands).await? {
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    let unbolted = report(contract::orders::Progress::Finished, None, Vec::new());
    let refused = one.report(visit.order, 1, &unbolted).await;
    story.refused(
        &refused,
        "precondition-not-met",
        "to call the pads finished with nobody saying that the calipers are bolted",
    );
    visit.end_line(1, &hands).await?;
    story.tell("pads fitted, calipers bolted; the battery waits until they are closed");
    Ok(())
}

async fn asked_too_early(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let refused = visit.ask_release(ReleaseKind::Complete).await;
    story.refused(&refused, "not-releasable", "a release with everything open");
    let problem = refused.err();
    let members = problem.as_ref().and_then(Failure::problem).map(|problem| &problem.members);
    let listed = members.and_then(|all| all.get("blocked_by")).and_then(|list| list.as_array());
    story.expect(listed.is_some_and(|list| list.len() > 1), "the refusal lists every reason");
    Ok(())
}

async fn declined(visit: &Visit<'_>, story: &Story) -> Result<(), Failure> {
    let Some(line) = visit.plot.line(2, Authorisation::Declined) else { return Ok(()) };
    let before = visit.read().await?;
    let path = format!("/v1/orders/{}/lines/2", visit.order);
    let after: OrderView = visit.shop.desk.put(&path, &line, None).await?;
    story.expect(
        after.progress.tasks < before.progress.tasks,
        "what only a declined line needed falls away",
    );
    let declined = after.lines.iter().find(|line| line.line == 2);
    story.expect(
        declined.is_some_and(|line| line.state != LineState::Finished),
        "a declined line is not worked",
    );
    story.tell(&format!(
        "shock absorbers declined: {} tasks, before {}",
        after.progress.tasks, before.progress.tasks
    ));
    Ok(())
}

/// A new attempt from the beginning.
async fn do_again(visit: &Visit<'_>, task: &TaskView) -> Result<TaskView, Failure> {
    let (hands, job) = take(visit, task).await?;
    let second = visit.shop.other(&hands.technician, &job.task.needs.skills);
    hands.technician.carry_out(job, &visit.vehicle, second).await
}

/// Takes a task with a technician who can do it, as soon as bay and equipment are free.
async fn take(visit: &Visit<'_>, task: &TaskView) -> Result<(Hands, Job), Failure> {
    let mut tried = 0;
    loop {
        tried += 1;
        let hands = visit.shop.hands(|one| one.can(task)).await;
        match hands.technician.take(task.id).await {
            Ok(job) => return Ok((hands, job)),
            Err(Failure::Refused(_)) if tried < 800 => drop(hands),
            Err(failure) => return Err(failure),
        }
        tokio::time::sleep(std::time::Duration::from_millis(150)).await;
    }
}
