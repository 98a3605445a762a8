//! The plan as the clock goes on: it holds still for a while, then tells what slid, and says before it is too late.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use contract::journal::{Event, EventsView};
use contract::orders::OrderView;
use contract::plan::{Moved, PlanItem, PlanView};
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::{self, Shop};
use crate::worker::read;

const STEP: TimeDelta = TimeDelta::minutes(5);

/// One bay, one technician from 7:30 to 15:30 in New York, and some orders of an hour's mechanical work each.
struct Yard {
    shop: Shop,
    technician: Uuid,
    bay: Uuid,
    orders: Vec<OrderView>,
}

async fn yard(promised: &[&str]) -> Yard {
    let shop = harness::shop().await;
    shop.set_clock("2026-11-02T13:00:00Z").await;
    let bay = shop.bay("1", &["lift"]).await;
    let technician = shop.technician("Ada", &["general"]).await;
    shop.shift(technician, "2026-11-02T07:30:00", 480, "FREQ=DAILY").await;
    let mut orders = Vec::new();
    for (number, promised) in promised.iter().enumerate() {
        orders.push(order(&shop, &format!("RO-{number}"), 60, Some(promised)).await);
    }
    Yard { shop, technician, bay, orders }
}

async fn order(shop: &Shop, number: &str, minutes: i32, promised: Option<&str>) -> OrderView {
    let mut body = json!({ "number": number,
        "vehicle": { "plate": number, "make": "Brennick", "model": "Tarn", "model_year": 2019 },
        "lines": [{ "line": 1, "text": "Wash and vacuum", "minutes": minutes }] });
    if let Some(promised) = promised {
        body["promised_at"] = json!(promised);
    }
    read(shop.as_role(Role::Integration).post("/v1/orders", body).await.expect(201))
}

impl Yard {
    /// The plan once everything that happened is planned for.
    async fn quiet(&self) -> PlanView {
        let mut last: Option<PlanView> = None;
        loop {
            tokio::time::sleep(Duration::from_millis(1_500)).await;
            let plan = self.shop.as_role(Role::Dispatcher).get("/v1/plan").await.expect(200);
            let plan: PlanView = read(plan);
            if plan.version > 0 && last.is_some_and(|last| last.version == plan.version) {
                return plan;
            }
            last = Some(plan);
        }
    }

    async fn begin(&self, order: Uuid) {
        let started = json!({ "progress": "started", "bay": self.bay });
        let path = format!("/v1/orders/{order}/lines/1/progress");
        self.shop.as_technician(self.technician).post(&path, started).await.expect(200);
    }

    async fn events(&self, kind: &str) -> Vec<Event> {
        let dispatcher = self.shop.as_role(Role::Dispatcher);
        let page: EventsView = read(dispatcher.get("/v1/events?limit=500").await.expect(200));
        page.events.into_iter().filter(|event| event.kind == kind).collect()
    }

    /// What was told of the promise of an order, in order.
    async fn risks(&self, order: &OrderView) -> Vec<Value> {
        tokio::time::sleep(Duration::from_millis(500)).await;
        let told = self.events("plan.promise_endangered").await;
        let mine = told.into_iter().filter(|e| e.data["data"]["number"] == json!(order.number));
        mine.map(|event| event.data["data"].clone()).collect()
    }
}

fn starts(plan: &PlanView) -> BTreeMap<Uuid, DateTime<Utc>> {
    plan.items.iter().map(|item| (item.order, item.starts_at)).collect()
}

fn item(plan: &PlanView, order: Uuid) -> &PlanItem {
    plan.items.iter().find(|item| item.order == order).expect("planned")
}

/// Nobody begins: an event a minute later moves nothing by a second, and what slides in the end is told.
#[tokio::test]
async fn a_plan_holds_still_until_it_tells_what_slid() {
    let yard = yard(&["2026-11-02T20:00:00Z", "2026-11-02T20:00:00Z"]).await;
    let first = yard.quiet().await;
    yard.shop.advance(60).await;
    yard.shop.bay("2", &[]).await;
    let later = yard.quiet().await;
    assert_eq!((later.version, &later.items), (first.version, &first.items), "nothing happened");
    // What comes new is not planned into the past.
    let now = json!(order(&yard.shop, "RO-9", 10, None).await.created_at);
    let now: DateTime<Utc> = read(now);
    let new = yard.quiet().await;
    let fresh = new.items.iter().find(|item| item.number == "RO-9").expect("planned");
    assert!(fresh.starts_at >= now - TimeDelta::seconds(1), "{fresh:?}");

    yard.shop.advance(300).await;
    let slid = yard.quiet().await;
    let (before, after) = (starts(&first), starts(&slid));
    let moved: Vec<Uuid> = yard.orders.iter().map(|order| order.id).collect();
    for order in moved.into_iter().filter(|order| before[order] != after[order]) {
        let told = slid.moved.iter().find(|moved| moved.order == order);
        assert!(told.is_some_and(|told| !told.because.is_empty()), "{order}: {:#?}", slid.moved);
        assert!((after[&order] - before[&order]).abs() >= STEP, "{:#?}", slid.moved);
    }
    assert_ne!(before, after, "the clock has left the plan behind");
}

/// Work runs over its time: the plan says so in steps, tells whatever it pushes, and the promise that breaks meanwhile.
#[tokio::test]
async fn what_runs_over_goes_on_in_steps_and_whatever_it_pushes_is_told() {
    let yard = yard(&["2026-11-02T14:20:00Z", "2026-11-02T15:20:00Z"]).await;
    let first = yard.quiet().await;
    let begun = first.items.iter().min_by_key(|item| item.starts_at).expect("planned").order;
    let (running, waiting) = (&yard.orders[0], &yard.orders[1]);
    assert_eq!(begun, running.id, "the tighter promise comes first");
    yard.begin(running.id).await;
    let mut last = yard.quiet().await;
    let began = starts(&last)[&waiting.id];
    yard.shop.advance(58 * 60).await;
    let versions = last.version;
    for _ in 0..8 {
        yard.shop.advance(3 * 60).await;
        let plan = yard.quiet().await;
        let now: DateTime<Utc> = read(
            yard.shop.as_role(Role::Auditor).get("/v1/clock").await.expect(200)["now"].clone(),
        );
        assert!(item(&plan, running.id).ends_at > now - TimeDelta::seconds(5), "it still runs");
        assert!(item(&plan, waiting.id).starts_at >= item(&plan, running.id).ends_at);
        last = plan;
    }
    // 24 minutes: a version for each step, not for each minute.
    assert!(last.version - versions <= 6, "{} versions", last.version - versions);
    let told: Vec<Moved> = (yard.events("plan.made").await.iter())
        .flat_map(|event| read::<Vec<Moved>>(event.data["data"]["moved"].clone()))
        .filter(|moved| moved.order == waiting.id)
        .collect();
    let slid = starts(&last)[&waiting.id] - began;
    assert!(slid >= TimeDelta::minutes(20), "{slid}");
    assert!(told.len() >= 4, "slid by {slid}, told: {told:#?}");
    for order in [running, waiting] {
        let risks = yard.risks(order).await;
        assert_eq!(risks.iter().filter(|r| r["promise"] == "late").count(), 1, "{risks:#?}");
    }
}

/// The last work of an order runs over while nothing waits for it: its promise is told to be late, once, when it is.
#[tokio::test]
async fn a_promise_that_breaks_by_the_clock_alone_is_told() {
    let yard = yard(&["2026-11-02T14:10:00Z"]).await;
    yard.quiet().await;
    yard.begin(yard.orders[0].id).await;
    yard.quiet().await;
    for _ in 0..4 {
        yard.shop.advance(20 * 60).await;
        yard.quiet().await;
    }
    let risks = yard.risks(&yard.orders[0]).await;
    assert_eq!(risks.len(), 1, "{risks:#?}");
    assert_eq!(risks[0]["promise"], "late", "{risks:#?}");
}

/// The only bay goes down and nobody knows for how long: every promise is in danger, and each is told, once.
#[tokio::test]
async fn a_promise_of_what_lost_its_place_is_told() {
    let yard = yard(&["2026-11-02T18:00:00Z", "2026-11-02T19:00:00Z"]).await;
    yard.quiet().await;
    let down = json!({ "bay": yard.bay, "reason": "the lift is stuck" });
    yard.shop.as_role(Role::Dispatcher).post("/v1/absences", down).await.expect(201);
    assert!(yard.quiet().await.items.is_empty());
    order(&yard.shop, "RO-7", 30, None).await;
    yard.quiet().await;
    for order in &yard.orders {
        let risks = yard.risks(order).await;
        assert_eq!(risks.len(), 1, "{risks:#?}");
        assert_eq!(risks[0]["promise"], "unknown");
        assert_eq!(risks[0]["unplanned"], json!(["no bay for it is open long enough"]));
    }
}

/// Twelve hours of mechanical work and eight hours a day: it goes on the next morning, and what runs at night ends no night.
#[tokio::test]
async fn work_longer_than_a_day_goes_on_the_next_one() {
    let yard = yard(&[]).await;
    let long = order(&yard.shop, "RO-L", 720, None).await;
    let plan = yard.quiet().await;
    let at = |moment: &str| moment.parse::<DateTime<Utc>>().expect("a moment");
    // From 8:00 to 15:30 are seven and a half hours; from 7:30 the next day the other four and a half.
    let planned = item(&plan, long.id);
    assert!((planned.ends_at - at("2026-11-03T17:00:00Z")).abs() < STEP, "{planned:?}");
    yard.begin(long.id).await;
    let begun = yard.quiet().await;
    assert!(
        (item(&begun, long.id).ends_at - at("2026-11-03T17:00:00Z")).abs() < STEP,
        "{begun:#?}"
    );
    yard.shop.set_clock("2026-11-03T03:00:00Z").await;
    assert_eq!(yard.quiet().await.version, begun.version, "at night nothing changes");
}
