//! A bad Monday: what the dispatcher asks, sees, changes and gets told.

use std::time::Duration;

use chrono::{DateTime, Utc};
use contract::forecast::{GainsView, LoadView, PromiseView, WhyLateView};
use contract::journal::{Event, EventsView};
use contract::orders::{OrderView, PromiseRisk};
use contract::plan::{PlanView, TrialView};
use domain::role::Role;
use serde_json::json;
use uuid::Uuid;

use crate::harness::Client;
use crate::planning::{Monday, monday};
use crate::worker::{order_view, read, rear_pads, taken_in};

const NOON: &str = "2026-11-02T17:00:00Z";

fn at(moment: &str) -> DateTime<Utc> {
    moment.parse().expect("a moment")
}

fn ends(plan: &PlanView, order: Uuid) -> Option<DateTime<Utc>> {
    plan.items.iter().filter(|item| item.order == order).map(|item| item.ends_at).max()
}

#[tokio::test]
async fn somebody_is_ill_a_bay_is_down_and_a_part_is_late() {
    let monday = monday().await;
    let dispatcher = monday.shop.as_role(Role::Dispatcher);
    let quiet = quiet(&monday).await;
    the_load_is_told_by_the_hour(&dispatcher, &quiet).await;

    // The part of one vehicle comes tomorrow: its work moves, its promise is told to be late before it is broken.
    let order = &monday.orders[0];
    let desk = monday.shop.as_role(Role::Integration);
    let mut line = rear_pads("RO-1")["lines"][0].clone();
    line["parts_expected_at"] = json!("2026-11-03T15:00:00Z");
    desk.put(&format!("/v1/orders/{}/lines/1", order.id), line).await.expect(200);
    let waits =
        |plan: &PlanView| ends(plan, order.id).is_some_and(|end| end > at("2026-11-03T15:00:00Z"));
    monday.plan_when(waits).await;
    assert_eq!(order_view(&monday.shop, order.id).await.promise, PromiseRisk::Late);
    let told = events(&desk, "plan.promise_endangered").await;
    assert!(told.iter().any(|e| e.data["data"]["number"] == "RO-1"), "{told:#?}");
    why_it_is_late_is_told(&dispatcher, order).await;

    // The other technician calls in ill, nobody knows for how long; one bay is down until noon.
    let ill = monday.technician(false);
    let body = json!({ "technician": ill, "reason": "ill" });
    dispatcher.post("/v1/absences", body).await.expect(201);
    let bay = quiet.items.iter().find_map(|item| item.bay).expect("something needs a bay");
    let body = json!({ "bay": bay, "until_at": NOON, "reason": "a hose burst" });
    dispatcher.post("/v1/absences", body).await.expect(201);
    let spared = |plan: &PlanView| {
        let later = plan.version > quiet.version;
        let alone = plan.items.iter().all(|item| !item.technicians.contains(&ill));
        later && alone && plan.items.iter().all(|i| i.bay != Some(bay) || i.starts_at >= at(NOON))
    };
    wait_for(&monday, spared).await;
    let nothing: GainsView = read(dispatcher.get("/v1/plan/gains").await.expect(200));
    assert!(nothing.late_orders >= 1 && nothing.gains.is_empty(), "no help against a late part");

    // Two customers want theirs sooner than one technician can be done with both.
    for order in &monday.orders[1..] {
        let path = format!("/v1/orders/{}", order.id);
        let tag = desk.get(&path).await.header("etag").to_owned();
        let sooner = json!({ "promised_at": "2026-11-02T15:30:00Z" });
        desk.with("if-match", &tag).patch(&path, sooner).await.expect(200);
    }
    what_would_help_is_told(&dispatcher).await;
}

async fn the_load_is_told_by_the_hour(dispatcher: &Client, plan: &PlanView) {
    let load: LoadView = read(dispatcher.get("/v1/plan/load?days=2").await.expect(200));
    assert!(load.plan_version >= plan.version);
    let brakes = load.skills.iter().find(|skill| skill.name == "brakes").expect("asked for");
    assert!(brakes.hours.iter().any(|hour| hour.planned > 0), "{brakes:?}");
    for of in load.capabilities.iter().chain(&load.skills) {
        for hour in &of.hours {
            assert!(hour.planned <= hour.there, "{}: {hour:?}", of.name);
        }
    }
    let lift = load.capabilities.iter().find(|c| c.name == "lift").expect("two bays have it");
    assert!(lift.hours.iter().any(|hour| hour.there == 120), "two bays for an hour: {lift:?}");
    dispatcher.get("/v1/plan/load?days=15").await.expect_problem(422, "unprocessable");
}

async fn why_it_is_late_is_told(dispatcher: &Client, order: &OrderView) {
    let path = format!("/v1/plan/why-late?order={}", order.id);
    let why: WhyLateView = read(dispatcher.get(&path).await.expect(200));
    assert!(why.late_minutes > 0, "{why:#?}");
    assert!(why.chain.iter().all(|link| !link.because.is_empty()), "{why:#?}");
    let waits = why.chain.iter().any(|link| link.line == Some(1) && link.order == order.id);
    assert!(waits, "the line that waits for its part is in the chain: {why:#?}");
    let nobody = format!("/v1/plan/why-late?order={}", Uuid::nil());
    dispatcher.get(&nobody).await.expect_problem(404, "not-found");
}

async fn what_would_help_is_told(dispatcher: &Client) {
    let gains: GainsView = read(dispatcher.get("/v1/plan/gains").await.expect(200));
    assert!(gains.late_orders >= 1 && gains.late_minutes > 0, "{gains:#?}");
    assert!(!gains.gains.is_empty(), "what the late orders wait for was tried: {gains:#?}");
    let words = |gain: &contract::forecast::Gain| gain.words.starts_with("One more ");
    assert!(gains.gains.iter().all(words), "{gains:#?}");
    let ascending = gains.gains.is_sorted_by_key(|gain| gain.late_minutes);
    assert!(ascending, "the most helpful first: {gains:#?}");
}

#[tokio::test]
async fn an_adopted_trial_is_the_plan_that_it_showed() {
    let monday = monday().await;
    let dispatcher = monday.shop.as_role(Role::Dispatcher);
    let before = quiet(&monday).await;
    let last = monday.orders.iter().max_by_key(|order| ends(&before, order.id)).expect("three");
    let asked = json!({ "order_first": last.id });
    let tried: TrialView = read(dispatcher.post("/v1/plan/trials", asked).await.expect(200));
    assert!(!tried.adopted);
    assert_eq!(monday.plan().await.items, before.items, "a trial changes nothing");

    let ill = monday.technician(false);
    let asked = json!({ "order_first": last.id, "technicians_out": [ill], "adopt": true });
    let tried: TrialView = read(dispatcher.post("/v1/plan/trials", asked).await.expect(200));
    assert!(tried.adopted && !tried.moved.is_empty(), "{tried:#?}");
    assert!(tried.moved.iter().all(|moved| !moved.because.is_empty()), "{tried:#?}");
    let planned = |plan: &PlanView| plan.items.iter().all(|i| !i.technicians.contains(&ill));
    wait_for(&monday, |plan| plan.version > before.version && planned(plan)).await;
    assert_eq!(order_view(&monday.shop, last.id).await.weight, 100);
    let away = dispatcher.get("/v1/absences").await.expect(200);
    assert_eq!(away["items"][0]["technician"], json!(ill));
    let unknown = json!({ "technicians_out": [Uuid::nil()], "adopt": true });
    dispatcher.post("/v1/plan/trials", unknown).await.expect_problem(422, "unprocessable");
}

#[tokio::test]
async fn what_is_promised_for_a_new_order_can_be_kept_and_asking_leaves_no_trace() {
    let mut monday = monday().await;
    let desk = monday.shop.as_role(Role::Integration);
    let before = quiet(&monday).await;
    let mut body = rear_pads("RO-9");
    body["vehicle"]["vin"].take();
    body["vehicle"]["plate"] = json!("RO-9");
    let told: PromiseView = read(desk.post("/v1/plan/promises", body.clone()).await.expect(200));
    let promise = told.promise_at.expect("all of it can be planned");
    assert!(told.ready_at.is_some_and(|ready| ready <= promise), "{told:#?}");
    assert!(!told.items.is_empty() && told.unplanned.is_empty(), "{told:#?}");
    assert_eq!(promise.timestamp() % 900, 0, "at a full quarter of an hour");
    let page = desk.get("/v1/orders?number=RO-9").await.expect(200);
    assert_eq!(page["items"], json!([]), "nothing is stored");
    assert_eq!(monday.plan().await.items, before.items);

    body["promised_at"] = json!(promise);
    let order = taken_in(&monday.shop, body.clone()).await;
    let all = |plan: &PlanView| ends(plan, order.id).is_some_and(|end| end <= promise);
    monday.orders.push(order.clone());
    monday.plan_when(all).await;
    assert_ne!(order_view(&monday.shop, order.id).await.promise, PromiseRisk::Late);
    body["weight"] = json!("heavy");
    desk.post("/v1/plan/promises", body).await.expect_problem(400, "invalid-request");
}

/// The plan once everything that happened is planned for.
async fn quiet(monday: &Monday) -> PlanView {
    let mut plan = monday.plan_when(|_| true).await;
    loop {
        tokio::time::sleep(Duration::from_millis(1500)).await;
        let later = monday.plan().await;
        if later.version == plan.version {
            return later;
        }
        plan = later;
    }
}

/// The plan as soon as it fits; not all work of a bad day can be planned.
async fn wait_for(monday: &Monday, fits: impl Fn(&PlanView) -> bool) {
    for _ in 0..150 {
        if fits(&monday.plan().await) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    panic!("no such plan comes: {:#?}", monday.plan().await);
}

/// The events of this kind, as soon as there are any.
async fn events(client: &Client, kind: &str) -> Vec<Event> {
    for _ in 0..50 {
        let page: EventsView = read(client.get("/v1/events?limit=500").await.expect(200));
        let found: Vec<Event> = page.events.into_iter().filter(|e| e.kind == kind).collect();
        if !found.is_empty() {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("no event `{kind}` comes");
}
