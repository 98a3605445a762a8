//! A technician who follows the rules: acknowledges, shows the vehicle, measures what is asked for, and proves.

use chrono::{DateTime, TimeDelta, Utc};
use contract::orders::OrderView;
use contract::tasks::{PreconditionView, TaskView};
use domain::lifecycle::TaskState;
use domain::precondition::Condition;
use domain::role::Role;
use domain::signal::Signal;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::{Answer, Client, Shop};

/// Everything a technician of the starter catalogue can be able to do.
pub(crate) const SKILLS: &[&str] = &[
    "general",
    "brakes",
    "steering_alignment",
    "driver_assistance",
    "restraints",
    "high_voltage",
    "programming",
    "climate",
    "licensed_driver",
];
/// The VIN on the vehicles of these tests: invented, with a right check digit.
pub(crate) const VIN: &str = "1H9AC3EB2KA042117";

/// A technician with a token.
pub(crate) struct Worker {
    shop: Shop,
    /// The caller.
    pub(crate) client: Client,
    /// The technician's id.
    pub(crate) id: Uuid,
}

/// A task that a worker holds.
pub(crate) struct Held {
    /// As it was when it was taken.
    pub(crate) task: TaskView,
    /// The fence of the lease.
    pub(crate) fence: i64,
}

impl Worker {
    /// A technician who can do everything, with tools enough.
    pub(crate) async fn hired(shop: &Shop, name: &str) -> Self {
        let id = shop.technician(name, SKILLS).await;
        Self { shop: shop.clone(), client: shop.as_technician(id), id }
    }

    /// The same technician at the same shop on another service.
    pub(crate) fn at(&self, shop: &Shop) -> Self {
        Self { shop: shop.clone(), client: shop.as_technician(self.id), id: self.id }
    }

    /// Asks for a task by its id.
    pub(crate) async fn try_to_take(&self, task: Uuid) -> Answer {
        self.client.post("/v1/leases", json!({ "task": task })).await
    }

    /// Takes a task by its id.
    pub(crate) async fn take(&self, task: Uuid) -> Held {
        let mut given = self.try_to_take(task).await.expect(201);
        let lease = given["leases"][0].take();
        let fence = lease["fence"].as_i64().expect("a fence");
        Held { task: read(lease["task"].clone()), fence }
    }

    /// Does something with a task that needs the fence alone or with more.
    pub(crate) async fn act(&self, held: &Held, action: &str, more: Value) -> Answer {
        let mut body = json!({ "fence": held.fence });
        for (name, value) in more.as_object().into_iter().flatten() {
            body[name] = value.clone();
        }
        self.client.post(&format!("/v1/tasks/{}/{action}", held.task.id), body).await
    }

    /// Acknowledges every caution.
    pub(crate) async fn acknowledge(&self, held: &Held) {
        let cautions: Vec<&str> =
            held.task.cautions.iter().map(|c| c.caution.id.as_str()).collect();
        if !cautions.is_empty() {
            let answer = self.act(held, "acknowledgements", json!({ "cautions": cautions })).await;
            answer.expect(200);
        }
    }

    /// Sends items of evidence; every one is taken as it is.
    pub(crate) async fn show(&self, held: &Held, items: Vec<Value>) -> Value {
        let shown = self.act(held, "evidence", json!({ "items": items })).await.expect(200);
        for item in shown["items"].as_array().expect("outcomes") {
            assert_eq!(item["outcome"], "accepted", "{item:#}");
        }
        shown
    }

    /// Acknowledges, identifies the vehicle and shows every precondition met.
    pub(crate) async fn prepare(&self, held: &Held) {
        self.acknowledge(held).await;
        let now = now(&self.shop).await;
        let mut items = vec![vin_frame(VIN, now)];
        items.extend(proofs(&held.task.preconditions, now));
        self.show(held, items).await;
    }

    /// Starts what was prepared.
    pub(crate) async fn start(&self, held: &Held) {
        self.act(held, "start", json!({})).await.expect(200);
    }

    /// Takes, prepares and starts.
    pub(crate) async fn begin(&self, task: Uuid) -> Held {
        let held = self.take(task).await;
        self.prepare(&held).await;
        self.start(&held).await;
        held
    }

    /// Gives their word beside somebody else's task.
    pub(crate) async fn attest(&self, task: Uuid, statement: &str) -> Answer {
        let body = json!({ "statement": statement, "holds": true });
        self.client.post(&format!("/v1/tasks/{task}/attestations"), body).await
    }

    /// Attests what the holder can't attest alone.
    pub(crate) async fn stand_by(&self, task: Uuid, asked: &[PreconditionView]) {
        for statement in asked.iter().flat_map(|p| needs_a_second_person(&p.condition)) {
            let body = json!({ "statement": statement, "holds": true });
            let path = format!("/v1/tasks/{task}/attestations");
            self.client.post(&path, body).await.expect(200);
        }
    }

    /// Shows, since the taking of the task, what has to have held for a while.
    pub(crate) async fn show_for(&self, held: &Held, asked: &[PreconditionView]) {
        let to = now(&self.shop).await;
        let longest = asked.iter().filter_map(|p| p.hold_for).max().unwrap_or(0);
        let from = to - TimeDelta::seconds(i64::from(longest) + 2);
        let lasting = asked.iter().filter(|p| p.hold_for.is_some());
        let items = over_time(lasting.cloned(), from, to);
        if !items.is_empty() {
            self.show(held, items).await;
        }
    }

    /// Shows, over the whole run up to now, what must hold throughout it and what the proof wants to have held.
    pub(crate) async fn show_the_run(&self, held: &Held) -> DateTime<Utc> {
        let path = format!("/v1/tasks/{}", held.task.id);
        let task: TaskView = read(self.client.get(&path).await.expect(200));
        let started = task.started_at;
        self.show_the_run_from(held, &task, started).await
    }

    /// The same from a moment on.
    pub(crate) async fn show_the_run_from(
        &self,
        held: &Held,
        task: &TaskView,
        from: Option<DateTime<Utc>>,
    ) -> DateTime<Utc> {
        let to = now(&self.shop).await;
        let from = from.unwrap_or(to);
        let lasting = task.preconditions.iter().filter(|p| p.throughout);
        let lasting = lasting.chain(task.proof.iter().filter(|p| p.hold_for.is_some()));
        let items = over_time(lasting.cloned(), from, to);
        if !items.is_empty() {
            // Whoever lost the lease is told so at the finish.
            self.act(held, "evidence", json!({ "items": items })).await;
        }
        to
    }

    /// Finishes with the proof that is asked for.
    pub(crate) async fn pass(&self, held: &Held) -> Answer {
        let at = self.show_the_run(held).await;
        let evidence = proofs(&held.task.proof, at);
        let mut body = json!({ "outcome": "passed", "evidence": evidence });
        if held.task.proof.iter().any(|p| p.hold_for.is_some()) {
            // As of the last reading, however slow the machine is that runs this.
            body["at"] = json!(at);
        }
        self.act(held, "finish", body).await
    }

    /// Works a task from taking to passing; the helper attests where a second person must.
    pub(crate) async fn work_with(&self, helper: &Self, task: Uuid) {
        let held = self.take(task).await;
        helper.stand_by(task, &held.task.preconditions).await;
        if held.task.needs.people > 1 {
            helper.attest(task, "second_person_present").await.expect(200);
        }
        self.prepare(&held).await;
        self.start(&held).await;
        if let Some(hold) = held.task.proof.iter().filter_map(|p| p.hold_for).max() {
            self.shop.advance(i64::from(hold) + 5).await;
        }
        helper.stand_by(task, &held.task.proof).await;
        let passed = self.pass(&held).await;
        assert_eq!(passed.expect(200)["state"], "passed", "{}", held.task.procedure);
    }

    /// Works an order off, its lines too, until this procedure is ready.
    pub(crate) async fn work_until(
        &self,
        helper: &Self,
        yard: &Yard,
        order: Uuid,
        procedure: &str,
    ) -> TaskView {
        for _ in 0..60 {
            let now = order_view(&self.shop, order).await;
            let wanted = task(&now, procedure);
            if wanted.state == TaskState::Ready && wanted.until.is_none() {
                return wanted.clone();
            }
            let ready =
                now.tasks.iter().find(|t| t.state == TaskState::Ready && t.procedure != procedure);
            if now.tasks.iter().any(|t| t.until.is_some()) {
                self.wait(&now).await;
            } else if let Some(ready) = ready {
                self.work_with(helper, ready.id).await;
            } else {
                let open = now
                    .lines
                    .iter()
                    .find(|l| l.state.word() != "finished")
                    .expect("something is left to do");
                let begin = json!({ "progress": "started", "bay": yard.bay });
                line(&self.shop, order, open.line, begin).await.expect(200);
                finish_line(&self.shop, order, open.line).await;
            }
        }
        panic!("{procedure} does not get ready");
    }

    /// Lets time pass until nothing on the order settles any more.
    pub(crate) async fn wait(&self, order: &OrderView) {
        let until = order.tasks.iter().filter_map(|t| t.until).max();
        let moment = now(&self.shop).await;
        let left = until.map_or(31, |until| (until - moment).num_seconds() + 1);
        self.shop.advance(left.max(1)).await;
    }

    /// Works every task that gets ready, waiting where something settles, until none is left.
    pub(crate) async fn work_off(&self, helper: &Self, order: Uuid) -> OrderView {
        for _ in 0..40 {
            let now = order_view(&self.shop, order).await;
            if let Some(ready) = now.tasks.iter().find(|t| t.state == TaskState::Ready) {
                if ready.until.is_some() {
                    self.wait(&now).await;
                } else {
                    self.work_with(helper, ready.id).await;
                }
            } else if now.tasks.iter().any(|t| t.state == TaskState::Waiting) {
                let states: Vec<_> = now.tasks.iter().map(|t| (&t.procedure, t.state)).collect();
                panic!("nothing is ready: {states:?}");
            } else {
                return now;
            }
        }
        panic!("the order does not end");
    }
}

/// A shop with one bay, the tools of the starter catalogue and two technicians who can do everything.
pub(crate) async fn yard() -> Yard {
    let shop = crate::harness::shop().await;
    let bay = shop.bay("1", &["lift", "exhaust_extraction", "battery_support"]).await;
    for kind in ["scan_tool", "battery_support_unit", "wheel_chocks", "torque_wrench", "multimeter"]
    {
        shop.equipment(kind, kind).await;
    }
    let ada = Worker::hired(&shop, "Ada").await;
    let bo = Worker::hired(&shop, "Bo").await;
    Yard { shop, bay, ada, bo }
}

/// See [`yard`].
pub(crate) struct Yard {
    /// The shop.
    pub(crate) shop: Shop,
    /// Its bay.
    pub(crate) bay: Uuid,
    /// A technician.
    pub(crate) ada: Worker,
    /// Another.
    pub(crate) bo: Worker,
}

/// An order for rear brake pads on a vehicle with an electronic parking brake.
pub(crate) fn rear_pads(number: &str) -> Value {
    json!({ "number": number,
        "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019,
            "powertrain": "combustion", "features": { "electronic_parking_brake": true } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "rear_brake_pads" }], "minutes": 40 }] })
}

/// An order for a throttle body on a combustion engine that idles roughly.
pub(crate) fn throttle(number: &str) -> Value {
    json!({ "number": number,
        "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019,
            "powertrain": "combustion", "features": { "electronic_throttle": true } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "throttle_body" }], "minutes": 30 }],
        "trouble_codes": ["P0507"] })
}

/// Takes an order in and answers every question with no.
pub(crate) async fn taken_in(shop: &Shop, body: Value) -> OrderView {
    let desk = shop.as_role(Role::Integration);
    let mut order: OrderView = read(desk.post("/v1/orders", body).await.expect(201));
    while let Some(question) = order.questions.iter().find(|q| q.state == "open") {
        let no = json!({ "question": question.id, "fact": false });
        order = read(desk.post(&format!("/v1/orders/{}/answers", order.id), no).await.expect(200));
    }
    order
}

/// The events, as soon as every one of these words is told by one of them: they get their places a moment after the answer.
pub(crate) async fn told_as_events(shop: &Shop, words: &[&str]) {
    let mut events = String::new();
    for _ in 0..100 {
        let auditor = shop.as_role(Role::Auditor);
        events = auditor.get("/v1/events?limit=500").await.expect(200).to_string();
        if words.iter().all(|word| events.contains(word)) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("no events tell {words:?}: {events}");
}

/// An order as it is now.
pub(crate) async fn order_view(shop: &Shop, order: Uuid) -> OrderView {
    read(shop.as_role(Role::Dispatcher).get(&format!("/v1/orders/{order}")).await.expect(200))
}

/// Reports progress of line 1 or another.
pub(crate) async fn line(shop: &Shop, order: Uuid, line: i32, body: Value) -> Answer {
    let path = format!("/v1/orders/{order}/lines/{line}/progress");
    shop.as_role(Role::Dispatcher).post(&path, body).await
}

/// Reports a line finished, with whatever its end has to attest.
pub(crate) async fn finish_line(shop: &Shop, order: Uuid, number: i32) {
    let finished = line(shop, order, number, json!({ "progress": "finished" })).await;
    if finished.status == 200 {
        return;
    }
    let problem = finished.expect_problem(409, "precondition-not-met");
    let reasons = problem["reasons"].as_array().expect("reasons");
    let attests: Vec<&Value> = reasons.iter().map(|reason| &reason["id"]).collect();
    let finished = json!({ "progress": "finished", "attests": attests });
    line(shop, order, number, finished).await.expect(200);
}

/// The live task of this procedure.
#[track_caller]
pub(crate) fn task<'a>(order: &'a OrderView, procedure: &str) -> &'a TaskView {
    let mut found = order.tasks.iter().filter(|t| t.procedure == procedure);
    found.find(|t| t.state != TaskState::Withdrawn).expect("the order has this task")
}

/// The moment the service goes by.
pub(crate) async fn now(shop: &Shop) -> DateTime<Utc> {
    let mut owner = shop.owner_connection().await;
    sqlx::query_scalar("SELECT service_now()").fetch_one(&mut owner).await.expect("reads the clock")
}

/// The answer to service 09, PID 02 (SAE J1979): the VIN as the vehicle says it.
pub(crate) fn vin_frame(vin: &str, taken_at: DateTime<Utc>) -> Value {
    use std::fmt::Write as _;
    let mut bytes = "490201".to_owned();
    for byte in vin.bytes() {
        write!(bytes, "{byte:02x}").expect("writes");
    }
    json!({ "kind": "frame", "protocol": "obd", "bytes": bytes, "taken_at": taken_at })
}

/// Evidence that meets these.
pub(crate) fn proofs(asked: &[PreconditionView], taken_at: DateTime<Utc>) -> Vec<Value> {
    let mut items: Vec<Value> = asked.iter().flat_map(|p| meets(&p.condition)).collect();
    for item in &mut items {
        item["taken_at"] = json!(taken_at);
    }
    // The same thing is said once.
    let all = std::mem::take(&mut items);
    for item in all {
        if !items.contains(&item) {
            items.push(item);
        }
    }
    items
}

/// Readings that meet these over a stretch of time, none further apart than the signal allows.
fn over_time(
    asked: impl Iterator<Item = PreconditionView>,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Vec<Value> {
    let mut items = Vec::new();
    for reading in asked.flat_map(|p| meets(&p.condition)) {
        let gap = reading["signal"].as_str().and_then(Signal::of_name).map(|s| s.allowed_gap);
        let Some(gap) = gap else { continue };
        let mut at = to - TimeDelta::milliseconds(1);
        while at >= from {
            let mut item = reading.clone();
            item["taken_at"] = json!(at);
            if !items.contains(&item) {
                items.push(item);
            }
            at -= TimeDelta::milliseconds(i64::from(gap) * 900);
        }
    }
    items
}

/// The statements of a condition that only a second person can attest.
fn needs_a_second_person(condition: &Condition) -> Vec<&str> {
    match condition {
        Condition::Attested { statement, second_person: true } => vec![statement],
        Condition::All(all) => all.iter().flat_map(needs_a_second_person).collect(),
        Condition::Any(any) if !any.iter().any(is_said) => {
            any.last().map(needs_a_second_person).unwrap_or_default()
        }
        _ => Vec::new(),
    }
}

/// Whether a word of the holder is enough.
fn is_said(condition: &Condition) -> bool {
    matches!(condition, Condition::Attested { second_person: false, .. })
}

fn meets(condition: &Condition) -> Vec<Value> {
    let attested =
        |statement: &str| json!({ "kind": "attestation", "statement": statement, "holds": true });
    let frame = |protocol: &str, bytes: &str| json!({ "kind": "frame", "protocol": protocol, "bytes": bytes });
    match condition {
        Condition::Range(range) => {
            let bound = range.at_least.as_ref().or(range.at_most.as_ref());
            let reading = json!({ "kind": "reading", "signal": range.signal, "value": bound, "unit": range.unit });
            let places = Signal::of_name(&range.signal).map_or(&[][..], Signal::places);
            if places.is_empty() {
                return vec![reading];
            }
            let at = |place: &&str| {
                let mut reading = reading.clone();
                reading["place"] = json!(place);
                reading
            };
            places.iter().map(at).collect()
        }
        Condition::State { signal, is } => {
            vec![json!({ "kind": "reading", "signal": signal, "is": is })]
        }
        Condition::Attested { statement, .. } => vec![attested(statement)],
        Condition::Elapsed { since, .. } => vec![attested(since)],
        Condition::NoCode { .. } => vec![frame("obd", "4300")],
        Condition::CodesRecorded { .. } => vec![frame("obd", "43010507")],
        // RoutineControl's positive answer (ISO 14229-1): results of routine 0203, passed.
        Condition::Routine { identifier, passes } => {
            let identifier = identifier.as_deref().unwrap_or("0203");
            let status = passes.as_deref().unwrap_or("00").replace("..", "00");
            let mut items = vec![frame("uds", &format!("7103{identifier}{status}"))];
            if passes.is_none() {
                items.push(attested("routine_status_passed"));
            }
            items
        }
        Condition::Attachment { shows } => vec![photo(shows)],
        Condition::All(all) => all.iter().flat_map(meets).collect(),
        Condition::Any(any) => {
            any.iter().max_by_key(|one| is_said(one)).map(meets).unwrap_or_default()
        }
    }
}

/// A file of five bytes, `hello`; its SHA-256 as computed with `sha256sum`.
fn photo(shows: &str) -> Value {
    json!({ "kind": "attachment", "shows": shows, "media_type": "text/plain", "data": "aGVsbG8=",
        "sha256": "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824" })
}

/// An answer in the contract's shape.
pub(crate) fn read<T: DeserializeOwned>(value: Value) -> T {
    serde_json::from_value(value).expect("the contract's shape")
}
