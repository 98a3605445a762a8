//! The plan holds what the shop has, whoever checks it; and the journal proves what happened.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono::{DateTime, Datelike as _, NaiveTime, TimeDelta, Utc, Weekday};
use contract::forecast::{LoadOf, LoadView};
use contract::journal::{CheckpointView, EntryView, ProofView};
use contract::list::Page;
use contract::orders::{LeavingConfidence, OrderView};
use contract::plan::{PlanItem, PlanView};
use domain::procedure::{Ends, Phase};
use domain::role::Role;
use journal::checkpoint::{SignedCheckpoint, origin};
use journal::hash::{Hash, leaf};
use journal::key::{PublicKey, SealingKey};
use journal::proof::{verify_consistency, verify_inclusion};
use serde_json::json;
use uuid::Uuid;

use crate::harness::{self, Shop};
use crate::worker::{SKILLS, order_view, read, rear_pads, taken_in, task};

/// A shop on a Monday morning, 08:00 in New York: two unlike bays, two unlike technicians, one scan tool.
pub(crate) struct Monday {
    /// The shop.
    pub(crate) shop: Shop,
    bays: BTreeMap<Uuid, Vec<String>>,
    skills: BTreeMap<Uuid, Vec<String>>,
    units: BTreeMap<&'static str, u32>,
    /// Three vehicles for rear pads, promised for three in the afternoon.
    pub(crate) orders: Vec<OrderView>,
}

/// See [`Monday`].
pub(crate) async fn monday() -> Monday {
    let shop = harness::shop().await;
    shop.set_clock("2026-11-02T13:00:00Z").await;
    let mut bays = BTreeMap::new();
    for (name, capabilities) in [
        ("1", ["lift", "exhaust_extraction"].as_slice()),
        ("2", ["lift", "battery_support"].as_slice()),
    ] {
        let known = capabilities.iter().map(|&c| c.to_owned()).collect();
        bays.insert(shop.bay(name, capabilities).await, known);
    }
    let mut units = BTreeMap::new();
    for kind in ["scan_tool", "battery_support_unit"] {
        shop.equipment(kind, kind).await;
        units.insert(kind, 1);
    }
    let mut skills = BTreeMap::new();
    for (name, able) in
        [("Ada", SKILLS), ("Bo", ["general", "brakes", "licensed_driver"].as_slice())]
    {
        let id = shop.technician(name, able).await;
        shop.shift(id, "2026-11-02T07:30:00", 480, "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR").await;
        skills.insert(id, able.iter().map(|&s| s.to_owned()).collect());
    }
    let mut orders = Vec::new();
    for number in ["RO-1", "RO-2", "RO-3"] {
        let mut body = rear_pads(number);
        body["vehicle"]["vin"].take();
        body["vehicle"]["plate"] = json!(number);
        body["promised_at"] = json!("2026-11-02T20:00:00Z");
        orders.push(taken_in(&shop, body).await);
    }
    Monday { shop, bays, skills, units, orders }
}

impl Monday {
    /// The technician of this name: the one who can do everything, or the other.
    pub(crate) fn technician(&self, can_do_everything: bool) -> Uuid {
        let found =
            self.skills.iter().find(|(_, s)| (s.len() == SKILLS.len()) == can_do_everything);
        *found.expect("two work here").0
    }

    /// The plan in force.
    pub(crate) async fn plan(&self) -> PlanView {
        let plan = self.shop.as_role(Role::Dispatcher).get("/v1/plan").await.expect(200);
        serde_json::from_value(plan).expect("the contract's shape")
    }

    /// The plan as soon as it fits, and holds by [`Self::check`].
    pub(crate) async fn plan_when(&self, fits: impl Fn(&PlanView) -> bool) -> PlanView {
        for _ in 0..150 {
            let plan = self.plan().await;
            if plan.version >= 1 && self.is_whole(&plan) && fits(&plan) {
                self.check(&plan);
                return plan;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        panic!("no such plan comes: {:#?}", self.plan().await);
    }

    fn is_whole(&self, plan: &PlanView) -> bool {
        self.orders.iter().all(|order| {
            let mut in_shop =
                order.tasks.iter().filter(|t| !t.state.is_over() && t.ends == Ends::InShop);
            in_shop.all(|t| item(plan, t.id).is_some())
                && order.lines.iter().all(|l| line_item(plan, order.id, l.line).is_some())
        })
    }

    fn check(&self, plan: &PlanView) {
        for (at, one) in plan.items.iter().enumerate() {
            self.check_alone(one);
            for other in &plan.items[at + 1..] {
                let apart = one.ends_at <= other.starts_at || other.ends_at <= one.starts_at;
                assert!(apart || one.order != other.order, "one vehicle: {one:?} {other:?}");
                assert!(
                    apart || one.bay.is_none() || one.bay != other.bay,
                    "one bay: {one:?} {other:?}"
                );
                let shared = one.technicians.iter().any(|t| other.technicians.contains(t));
                assert!(apart || !shared, "one technician: {one:?} {other:?}");
            }
            let mut in_use: BTreeMap<&str, u32> = BTreeMap::new();
            let now = one.starts_at;
            for other in plan.items.iter().filter(|o| o.starts_at <= now && now < o.ends_at) {
                for (kind, count) in &other.equipment {
                    *in_use.entry(kind).or_default() += count;
                }
            }
            for (kind, count) in in_use {
                assert!(
                    count <= self.units.get(kind).copied().unwrap_or(0),
                    "{count} of {kind} at {now}"
                );
            }
        }
        for order in &self.orders {
            check_order(plan, order);
        }
    }

    fn check_alone(&self, item: &PlanItem) {
        assert!(within_a_shift(item), "{item:?}");
        let order = self.orders.iter().find(|o| o.id == item.order).expect("a known order");
        let Some(task) = item.task else {
            assert!(item.bay.is_some() && !item.technicians.is_empty(), "{item:?}");
            return;
        };
        let task = order.tasks.iter().find(|t| t.id == task).expect("a task of its order");
        assert_eq!(item.technicians.len(), usize::from(task.needs.people), "{item:?}");
        let able = &self.skills[&item.technicians[0]];
        assert!(
            task.needs.skills.iter().all(|s| able.contains(s)),
            "{item:?} needs {:?}",
            task.needs
        );
        match (&task.needs.bay, item.bay) {
            (None, bay) => assert_eq!(bay, None, "{item:?}"),
            (Some(needed), bay) => {
                let offers = &self.bays[&bay.expect("a bay")];
                assert!(needed.iter().all(|n| offers.contains(n)), "{item:?} needs {needed:?}");
            }
        }
        let minutes = (item.ends_at - item.starts_at).num_minutes();
        assert!(minutes >= i64::from(task.minutes.least), "{item:?}");
    }
}

/// Monday to Friday from 07:30 for 8 hours in New York, where it is UTC-5 in these weeks.
fn within_a_shift(item: &PlanItem) -> bool {
    let local = |at: DateTime<Utc>| (at - TimeDelta::hours(5)).naive_utc();
    let (from, until) = (local(item.starts_at), local(item.ends_at));
    let time = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0).expect("a time");
    from.date() == until.date()
        && !matches!(from.weekday(), Weekday::Sat | Weekday::Sun)
        && from.time() >= time(7, 30)
        && until.time() <= time(15, 30)
}

/// What waits for a task or a line comes after it, and after its settling.
fn check_order(plan: &PlanView, order: &OrderView) {
    let settled = |id: Uuid| {
        let task = order.tasks.iter().find(|t| t.id == id)?;
        let done = item(plan, id)?.ends_at;
        Some(done + TimeDelta::seconds(i64::from(task.settle.seconds)))
    };
    for task in &order.tasks {
        let Some(planned) = item(plan, task.id) else { continue };
        for wait in &task.waits_for {
            let by_task = wait.task.and_then(settled);
            let by_line = wait.line.and_then(|l| line_item(plan, order.id, l)).map(|l| l.ends_at);
            let ready = by_task.max(by_line);
            assert!(
                ready.is_none_or(|ready| ready <= planned.starts_at),
                "{planned:?} waits for {wait:?}"
            );
        }
        for line in task.because.iter().filter_map(|b| b.line) {
            let (Some(ready), Some(line)) = (settled(task.id), line_item(plan, order.id, line))
            else {
                continue;
            };
            assert!(
                task.phase != Phase::Before || ready <= line.starts_at,
                "{planned:?} before {line:?}"
            );
        }
    }
}

fn item(plan: &PlanView, task: Uuid) -> Option<&PlanItem> {
    plan.items.iter().find(|i| i.task == Some(task))
}

fn line_item(plan: &PlanView, order: Uuid, line: i32) -> Option<&PlanItem> {
    plan.items.iter().find(|i| i.order == order && i.line == Some(line))
}

#[tokio::test]
async fn everything_is_planned_and_holds_and_an_absence_moves_it_elsewhere() {
    let monday = monday().await;
    let first = monday.plan_when(|_| true).await;
    let waits =
        monday.orders.iter().flat_map(|o| &o.tasks).map(|t| t.waits_for.len()).sum::<usize>();
    assert!(first.items.len() >= 9 && waits > 0, "something was checked");
    let order = order_view(&monday.shop, monday.orders[0].id).await;
    assert!(order.ready_at.is_some(), "a planned order says when it is ready");
    assert_eq!(order.leaving.confidence, LeavingConfidence::Planned);

    let bay = first.items.iter().find_map(|i| i.bay).expect("something needs a bay");
    let (from, until) = ("2026-11-02T13:00:00Z", "2026-11-02T23:00:00Z");
    let away =
        json!({ "bay": bay, "from_at": from, "until_at": until, "reason": "the lift leaks" });
    monday.shop.as_role(Role::Dispatcher).post("/v1/absences", away).await.expect(201);
    let end: DateTime<Utc> = until.parse().expect("a time");
    let spared = monday
        .plan_when(|plan| !plan.items.iter().any(|i| i.bay == Some(bay) && i.starts_at < end))
        .await;
    let name = |one: &PlanItem| one.bay == Some(bay) && one.starts_at < end;
    let gone = first.items.iter().filter(|one| name(one) && one.task.is_some());
    for one in gone {
        let told = spared.moved.iter().find(|moved| moved.task == one.task);
        let told = told.unwrap_or_else(|| panic!("{one:?} moved: {:#?}", spared.moved));
        assert!(told.because.ends_with("is out of service then"), "{told:?}");
    }
    let board =
        monday.shop.as_role(Role::Auditor).with("accept", "image/svg+xml").get("/v1/plan").await;
    assert_eq!(board.header("content-type"), "image/svg+xml");
    let svg = board.expect(200);
    let svg = svg.as_str().expect("no JSON");
    let picture = roxmltree::Document::parse(svg).expect("well-formed XML");
    assert!(picture.root_element().has_tag_name(("http://www.w3.org/2000/svg", "svg")));
    assert!(svg.contains("RO-1") && svg.contains("RO-3"));
}

#[tokio::test]
async fn a_pin_is_kept_and_a_trial_changes_nothing() {
    let monday = monday().await;
    let dispatcher = monday.shop.as_role(Role::Dispatcher);
    let opening = task(&monday.orders[0], "parking_brake_open_for_service").id;
    let plan = monday.plan_when(|_| true).await;
    let now_with = item(&plan, opening).expect("planned").technicians[0];
    let other = *monday.skills.keys().find(|id| **id != now_with).expect("two work here");
    let starts = "2026-11-02T16:00:00Z";
    let body = json!({ "task": opening, "technician": other, "starts_at": starts });
    let pin = dispatcher.post("/v1/plan/pins", body).await.expect(201);
    let kept = |plan: &PlanView| {
        let item = item(plan, opening);
        item.is_some_and(|i| i.technicians == [other] && json!(i.starts_at) == json!(starts))
    };
    let pinned = monday.plan_when(kept).await;
    assert_eq!(dispatcher.get("/v1/plan/pins").await.expect(200)["items"][0]["id"], pin["id"]);

    let line = json!({ "pins": [{ "task": opening, "technician": now_with }] });
    let tried = dispatcher.post("/v1/plan/trials", line).await.expect(200);
    let back =
        tried["moved"].as_array().expect("a list").iter().find(|m| m["task"] == json!(opening));
    assert_eq!(back.expect("it moves")["because"], "the dispatcher pinned it elsewhere");
    let past = json!({ "pins": [{ "task": opening, "starts_at": "2026-11-02T12:00:00Z" }] });
    let refused = dispatcher.post("/v1/plan/trials", past).await;
    let problem = refused.expect_problem(422, "unprocessable");
    assert_eq!(problem["errors"][0]["pointer"], "/pins/0/starts_at");
    let twice = json!({ "pins": [{ "task": opening, "technician": other }, { "task": opening, "starts_at": starts }] });
    let refused = dispatcher.post("/v1/plan/trials", twice).await;
    let problem = refused.expect_problem(422, "unprocessable");
    assert_eq!(problem["errors"][0]["pointer"], "/pins/1/task");

    let trial = json!({ "technicians_out": [other] });
    let tried = dispatcher.post("/v1/plan/trials", trial).await.expect(200);
    let lists = ["moved", "unplanned"].map(|name| tried[name].as_array().map_or(0, Vec::len));
    assert_ne!(lists, [0, 0], "{tried:#}");
    let after = monday.plan().await;
    assert_eq!((after.version, &after.items), (pinned.version, &pinned.items));
    let id = pin["id"].as_str().expect("an id");
    dispatcher.delete(&format!("/v1/plan/pins/{id}")).await.expect(204);
    assert_eq!(dispatcher.get("/v1/plan/pins").await.expect(200), json!({ "items": [] }));

    let gone = monday.shop.bay("9", &["lift"]).await;
    dispatcher.with("if-match", "\"v1\"").delete(&format!("/v1/bays/{gone}")).await.expect(200);
    let retired = json!({ "task": opening, "bay": gone });
    dispatcher.post("/v1/plan/pins", retired.clone()).await.expect_problem(422, "unprocessable");
    let retired = json!({ "pins": [retired] });
    dispatcher.post("/v1/plan/trials", retired).await.expect_problem(422, "unprocessable");
}

/// Nobody is left who may work on brakes: what can't be done has its reason, nothing of it counts as done in time, and
/// what would help is told.
#[tokio::test]
async fn work_that_nobody_can_do_is_never_taken_for_done_in_time() {
    let monday = monday().await;
    let dispatcher = monday.shop.as_role(Role::Dispatcher);
    monday.plan_when(|_| true).await;
    let order = &monday.orders[0];
    let everybody: Vec<&Uuid> = monday.skills.keys().collect();
    let tried = dispatcher.post("/v1/plan/trials", json!({ "technicians_out": everybody })).await;
    let tried = tried.expect(200);
    for list in ["late_in_trial", "unfinished_in_trial"] {
        let there = tried[list].as_array().expect("a list").contains(&json!(order.id));
        assert!(there, "{list}: {tried:#}");
    }
    assert_eq!(tried["unfinished_in_force"], json!([]), "{tried:#}");

    for who in &everybody {
        let body = json!({ "technician": who, "reason": "ill" });
        dispatcher.post("/v1/absences", body).await.expect(201);
    }
    let mut why = serde_json::Value::Null;
    for _ in 0..100 {
        let path = format!("/v1/plan/why-late?order={}", order.id);
        why = dispatcher.get(&path).await.expect(200);
        if why["ends_at"].is_null() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    assert!(why["ends_at"].is_null(), "{why:#}");
    let reasons = why["unplanned"].as_array().expect("a list");
    let there = |left: &serde_json::Value| {
        left["reason"].as_str().is_some_and(|reason| reason.contains("is there long enough for it"))
    };
    assert!(reasons.iter().any(there), "{why:#}");
    let gains = dispatcher.get("/v1/plan/gains").await.expect(200);
    assert!(gains["unfinished_orders"].as_u64().is_some_and(|orders| orders >= 3), "{gains:#}");
    let lacking = |gain: &serde_json::Value| {
        gain["kind"] == "technician" && gain["offers"].as_array().is_some_and(|o| !o.is_empty())
    };
    assert!(gains["gains"].as_array().expect("a list").iter().any(lacking), "{gains:#}");
}

#[tokio::test]
async fn two_servers_never_plan_one_shop_at_once() {
    let monday = monday().await;
    let before = monday.plan_when(|_| true).await.version;
    let db = store::Db::connect(&monday.shop.service_url(), 2).await.expect("connects");
    let second = workflow::flow::Flow::new(db.clone());
    let holder = Uuid::from_u128(2);
    for weight in 2..8 {
        let order = &monday.orders[0];
        let desk = monday.shop.as_role(Role::Integration);
        let path = format!("/v1/orders/{}", order.id);
        let tag = desk.get(&path).await.header("etag").to_owned();
        desk.with("if-match", &tag).patch(&path, json!({ "weight": weight })).await.expect(200);
        let planned = workflow::plan::round(&second, monday.shop.id, holder).await;
        assert!(!planned.expect("it may ask"), "the first server holds this duty");
    }
    db.close().await;
    monday.plan_when(|plan| plan.version >= before).await;
}

/// A technician with a break from twelve to half past: mechanical work goes on after it, a procedure does not begin before.
#[tokio::test]
async fn mechanical_work_lies_on_both_sides_of_a_break_and_a_procedure_never_does() {
    let shop = harness::shop().await;
    shop.set_clock("2026-11-02T16:50:00Z").await;
    let bay = shop.bay("1", &["lift", "exhaust_extraction", "battery_support"]).await;
    for kind in ["scan_tool", "battery_support_unit"] {
        shop.equipment(kind, kind).await;
    }
    let ada = shop.technician("Ada", SKILLS).await;
    shop.shift(ada, "2026-11-02T08:00:00", 240, "FREQ=DAILY").await;
    shop.shift(ada, "2026-11-02T12:30:00", 240, "FREQ=DAILY").await;
    let mut body = rear_pads("RO-1");
    body["vehicle"]["features"]["electronic_parking_brake"] = json!(false);
    let order = taken_in(&shop, body).await;
    let (noon, half_past): (DateTime<Utc>, DateTime<Utc>) = (
        "2026-11-02T17:00:00Z".parse().expect("a time"),
        "2026-11-02T17:30:00Z".parse().expect("a time"),
    );
    for _ in 0..100 {
        let plan: PlanView = read(shop.as_role(Role::Dispatcher).get("/v1/plan").await.expect(200));
        if let Some(line) = line_item(&plan, order.id, 1) {
            assert_eq!(line.bay, Some(bay));
            assert!(line.starts_at < noon && line.ends_at > half_past, "{line:?}");
            let apart = |i: &&PlanItem| i.ends_at <= noon || i.starts_at >= half_past;
            assert!(plan.items.iter().filter(|i| i.task.is_some()).all(|i| apart(&i)), "{plan:#?}");
            the_load_leaves_the_break_out(&shop, noon).await;
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("the line is not planned");
}

/// A person is taken by whatever work it is, also by a line that asks for no skill, and nobody is taken in their break.
async fn the_load_leaves_the_break_out(shop: &Shop, noon: DateTime<Utc>) {
    let load: LoadView =
        read(shop.as_role(Role::Dispatcher).get("/v1/plan/load?days=1").await.expect(200));
    let hour = |of: &[LoadOf], name: &str| {
        let found = of.iter().find(|of| of.name == name).expect("offered");
        *found.hours.iter().find(|hour| hour.at == noon).expect("somebody is there")
    };
    let ada = hour(&load.skills, "climate");
    assert_eq!((ada.there, ada.planned), (30, 30), "Ada, who is back at half past twelve");
    let bay = hour(&load.capabilities, "lift");
    assert_eq!((bay.there, bay.planned), (60, 60), "the vehicle stands in it meanwhile");
}

/// RFC 9162 section 2.1: inclusion and consistency, checked without trusting the service.
#[tokio::test]
async fn the_journal_has_no_gap_and_its_checkpoint_proves_every_entry() {
    let shop = harness::shop().await;
    let auditor = shop.as_role(Role::Auditor);
    shop.bay("1", &["lift"]).await;
    let early: CheckpointView = checkpoint(&shop, 1).await;
    taken_in(&shop, rear_pads("RO-1")).await;
    let newest = checkpoint(&shop, early.size + 1).await;

    let signed = SignedCheckpoint::from_text(&newest.note).expect("a signed note");
    let key: Hash = newest.public_key.parse().expect("32 bytes in hex");
    signed.check(&PublicKey::from_bytes(key.0)).expect("the signature holds");
    let root: Hash = newest.root.parse().expect("a hash");
    assert_eq!(signed.statement.origin, origin(shop.id));
    assert_eq!((signed.statement.size, signed.statement.root), (unsigned(newest.size), root));
    let another = SealingKey::from_seed(&[8; 32]).public();
    assert!(signed.check(&another).is_err(), "another key did not sign it");

    let page: Page<EntryView> = read(auditor.get("/v1/journal?limit=500").await.expect(200));
    let entries = page.items;
    let positions: Vec<i64> = entries.iter().filter_map(|e| e.position).collect();
    assert!(
        positions.iter().copied().eq(0..i64::try_from(entries.len()).expect("few")),
        "{positions:?}"
    );
    assert!(i64::try_from(entries.len()).expect("few") >= newest.size);
    let proof = async |query: String| -> Vec<Hash> {
        let path = format!("/v1/journal/proofs?{query}&size={}", newest.size);
        let proof: ProofView = read(auditor.get(&path).await.expect(200));
        proof.hashes.iter().map(|h| h.parse().expect("a hash")).collect()
    };
    for (position, entry) in (0..newest.size).zip(&entries) {
        let hash = leaf(entry.canonical.as_bytes());
        assert_eq!(entry.leaf, hash.to_string());
        let path = proof(format!("position={position}")).await;
        let (at, size) = (unsigned(position), unsigned(newest.size));
        verify_inclusion(&hash, at, size, &path, &root).expect("it is in the journal");
        let forged = leaf(entry.canonical.replace("order", "ordre").as_bytes());
        let other = if forged == hash { leaf(b"{}") } else { forged };
        assert!(verify_inclusion(&other, at, size, &path, &root).is_err(), "another entry is not");
    }
    let grew = proof(format!("from={}", early.size)).await;
    let old: Hash = early.root.parse().expect("a hash");
    verify_consistency(unsigned(early.size), unsigned(newest.size), &grew, &old, &root)
        .expect("it only grew");
}

/// The newest checkpoint, as soon as it covers this many entries.
pub(crate) async fn checkpoint(shop: &Shop, size: i64) -> CheckpointView {
    for _ in 0..100 {
        let path = "/v1/journal/checkpoints?limit=1";
        let newest = shop.as_role(Role::Auditor).get(path).await.expect(200);
        let newest = &newest["items"][0];
        if newest["size"].as_i64().is_some_and(|known| known >= size) {
            return read(newest.clone());
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("nothing is sealed");
}

fn unsigned(number: i64) -> u64 {
    number.try_into().expect("not negative")
}
