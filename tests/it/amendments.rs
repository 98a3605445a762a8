//! An order changes while its tasks stand in every state there is: what each change does is told, and nothing is lost.

use contract::orders::{ChangesView, OrderView};
use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::{Answer, Client};
use crate::worker::{
    Held, Worker, Yard, line, now, order_view, proofs, read, rear_pads, taken_in, task, vin_frame,
    yard,
};

/// The starter catalogue with two small procedures for a horn: noted before it is replaced, tried afterwards.
pub(crate) async fn yard_with_horns() -> Yard {
    let yard = yard().await;
    let keeper = yard.shop.as_role(Role::Keeper);
    let all = keeper.get("/v1/catalogues").await.expect(200);
    let version = all["items"][0]["version"].as_str().expect("a version");
    let path = format!("/v1/catalogues/{version}/document");
    let mut document = keeper.get(&path).await.expect(200);
    document["version"] = json!("horns");
    let components = document["vocabulary"]["components"].as_array_mut().expect("components");
    let horn = components.iter_mut().find(|one| one["id"] == "horn").expect("a horn");
    horn.as_object_mut().expect("an object").remove("needs_nothing_because");
    let procedure = |id: &str, kind: &str, phase: &str| {
        json!({ "id": id, "title": id.replace('_', " "), "kind": kind, "system": "brakes", "phase": phase,
            "disturbed_by": [{ "component": "horn", "actions": ["replace"] }, { "component": "spark_plug", "actions": ["replace"] }],
            "preconditions": [{ "id": "no_code", "text": "No code but the one it cures", "source": "common_practice",
                "condition": { "no_code": { "pattern": "P03xx", "except": ["P0300"] } } }],
            "proof": [{ "id": "chocked", "text": "Chocked", "source": "common_practice",
                "condition": { "attested": { "statement": "wheels_chocked" } } }],
            "where": { "bay": [] }, "minutes": { "least": 1, "likely": 2, "most": 3 },
            "after_failure": { "then": "decide" }, "source": "common_practice" })
    };
    let rule = json!({ "id": "horn_new", "when": { "operations": [{ "component": "horn", "actions": ["replace"] }] },
        "on": { "has": "front_camera" }, "require": ["horn_noted", "horn_tried"], "because": "a test asks for it",
        "source": "common_practice" });
    let procedures = document["procedures"].as_array_mut().expect("procedures");
    procedures.push(procedure("horn_noted", "preparation", "before"));
    procedures.push(procedure("horn_tried", "functional_test", "after"));
    document["rules"].as_array_mut().expect("rules").push(rule);
    keeper.post("/v1/catalogues", document).await.expect(201);
    keeper.post("/v1/catalogues/horns/publish", Value::Null).await.expect(200);
    yard
}

fn vin(number: usize) -> String {
    format!("1H9AC3EB2KA04{number:04}")
}

fn horn(number: usize) -> Value {
    json!({ "number": format!("RO-{number}"),
        "vehicle": { "vin": vin(number), "powertrain": "combustion", "features": { "front_camera": true } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "horn" }] }] })
}

/// The ways in which an order changes so that the horn asks for nothing any more, and back.
#[derive(Debug, Clone, Copy)]
enum Way {
    Patch,
    Answer,
    Line,
    Whole,
}

/// A shop system with one order for a horn.
pub(crate) struct Desk<'y> {
    client: Client,
    yard: &'y Yard,
    number: usize,
    order: Uuid,
}

impl Desk<'_> {
    async fn patch(&self, patch: Value) -> Answer {
        let path = format!("/v1/orders/{}", self.order);
        let tag = self.client.get(&path).await.header("etag").to_owned();
        let client = self.client.with("if-match", &tag);
        client.patch(&path, patch).await
    }

    async fn camera(&self, is_there: Value) -> OrderView {
        let patch = json!({ "vehicle": { "features": { "front_camera": is_there } } });
        read(self.patch(patch).await.expect(200))
    }

    async fn needs_nothing(&self, way: Way) -> OrderView {
        let line = format!("/v1/orders/{}/lines/1", self.order);
        match way {
            Way::Patch => self.camera(json!(false)).await,
            Way::Answer => {
                let open = self.camera(Value::Null).await;
                assert!(told(&open).withdrawn.is_empty(), "what may be needed stays");
                let asked = open.questions.iter().find(|q| q.state == "open").expect("asked");
                let no = json!({ "question": asked.id, "fact": false });
                let path = format!("/v1/orders/{}/answers", self.order);
                read(self.client.post(&path, no).await.expect(200))
            }
            Way::Line => read(self.client.delete(&line).await.expect(200)),
            Way::Whole => {
                let mut without = horn(self.number);
                without["lines"] = json!([]);
                self.whole(without).await
            }
        }
    }

    async fn needs_it_again(&self, way: Way) -> OrderView {
        match way {
            Way::Patch | Way::Answer => self.camera(json!(true)).await,
            Way::Line => {
                let path = format!("/v1/orders/{}/lines/1", self.order);
                let body = horn(self.number)["lines"][0].clone();
                read(self.client.put(&path, body).await.expect(200))
            }
            Way::Whole => self.whole(horn(self.number)).await,
        }
    }

    async fn whole(&self, body: Value) -> OrderView {
        let path = format!("/v1/orders/by-number/RO-{}", self.number);
        read(self.client.put(&path, body).await.expect(200))
    }

    /// Brings the task into a state; the lease, where one is held.
    pub(crate) async fn bring(&self, task: &TaskView, state: TaskState) -> Option<Held> {
        let (ada, shop) = (&self.yard.ada, &self.yard.shop);
        if matches!(state, TaskState::Waiting | TaskState::Ready) {
            return None;
        }
        if state == TaskState::Waived {
            let waiver = json!({ "reason": "the customer says so" });
            let path = format!("/v1/tasks/{}/waiver", task.id);
            shop.as_role(Role::Dispatcher).post(&path, waiver).await.expect(200);
            return None;
        }
        let held = ada.take(task.id).await;
        if state == TaskState::Taken {
            return Some(held);
        }
        begin(ada, &held, self.number, now(shop).await).await;
        match state {
            TaskState::Held => {
                let broke = json!({ "vehicle_condition": "it stands", "safe": true });
                ada.act(&held, "interruptions", broke).await.expect(200);
            }
            TaskState::Failed => {
                let failed = json!({ "outcome": "failed", "note": "it did not sound" });
                ada.act(&held, "finish", failed).await.expect(200);
            }
            TaskState::Passed | TaskState::Disturbed => drop(ada.pass(&held).await.expect(200)),
            _ => {}
        }
        if state == TaskState::Disturbed {
            let plug = json!({ "action": "replace", "component": "spark_plug" });
            self.observe(json!({ "operation": plug })).await.expect(200);
        }
        Some(held)
    }

    /// Lets go of what the task has in use.
    async fn clear(&self, task: &TaskView, held: Option<&Held>, state: TaskState) {
        match (state, held) {
            (TaskState::Running, Some(held)) => {
                let failed = json!({ "outcome": "failed", "note": "enough" });
                self.yard.ada.act(held, "finish", failed).await.expect(200);
            }
            (TaskState::Held, _) => {
                let path = format!("/v1/tasks/{}/decisions", task.id);
                let enough = json!({ "decision": "give_up", "reason": "enough" });
                self.yard.ada.client.post(&path, enough).await.expect(200);
            }
            _ => {}
        }
    }

    async fn observe(&self, seen: Value) -> Answer {
        let path = format!("/v1/orders/{}/observations", self.order);
        self.yard.ada.client.post(&path, seen).await
    }

    async fn state_of(&self, task: Uuid) -> TaskState {
        let order = order_view(&self.yard.shop, self.order).await;
        order.tasks.iter().find(|t| t.id == task).expect("nothing is ever deleted").state
    }
}

async fn begin(worker: &Worker, held: &Held, number: usize, at: chrono::DateTime<chrono::Utc>) {
    let mut items = vec![vin_frame(&vin(number), at)];
    items.extend(proofs(&held.task.preconditions, at));
    worker.show(held, items).await;
    worker.start(held).await;
}

/// Takes an order for a horn in.
pub(crate) async fn desk(yard: &Yard, number: usize) -> (Desk<'_>, OrderView) {
    let client = yard.shop.as_role(Role::Integration);
    let order: OrderView = read(client.post("/v1/orders", horn(number)).await.expect(201));
    (Desk { client, yard, number, order: order.id }, order)
}

fn told(order: &OrderView) -> &ChangesView {
    order.changes.as_ref().expect("an amendment tells what it did")
}

/// What becomes of a task in each state when nothing requires it any more, and when something does again.
///
/// | state | no longer required | required again |
/// | --- | --- | --- |
/// | waiting, ready | withdrawn | a new task |
/// | taken | withdrawn, the lease taken back: fence + 1 | a new task |
/// | running, held | finished first, `no_longer_needed` | the same task, needed |
/// | failed | withdrawn | a new task |
/// | passed, waived | stays as it is | stays as it is |
/// | disturbed | stays; the task in its place is withdrawn | a new task that replaces the disturbed one |
#[tokio::test]
async fn a_task_that_is_no_longer_required_goes_as_its_state_allows_and_comes_back_when_it_is() {
    let yard = yard_with_horns().await;
    let states = TaskState::ALL.into_iter().filter(|s| *s != TaskState::Withdrawn);
    let ways = [Way::Patch, Way::Answer, Way::Line, Way::Whole];
    let mut number = 0;
    for (at, state) in states.enumerate() {
        // Each state in two ways, each way in every other state.
        for way in ways.into_iter().skip(at % 2).step_by(2) {
            number += 1;
            let case = format!("{state:?} by {way:?}");
            let (desk, order) = desk(&yard, number).await;
            let name = if state == TaskState::Waiting { "horn_tried" } else { "horn_noted" };
            let mine = task(&order, name).clone();
            let held = desk.bring(&mine, state).await;
            let place = order_view(&yard.shop, order.id).await;
            let place = place.tasks.iter().find(|t| t.replaces == Some(mine.id)).map(|t| t.id);
            assert_eq!(desk.state_of(mine.id).await, state, "{case}");

            let less = desk.needs_nothing(way).await;
            let row = less.tasks.iter().find(|t| t.id == mine.id).expect("it is kept");
            let (goes, stays) = match state {
                TaskState::Waiting | TaskState::Ready | TaskState::Taken | TaskState::Failed => {
                    (Some(mine.id), None)
                }
                TaskState::Running | TaskState::Held => (None, Some(mine.id)),
                _ => (place, None),
            };
            let withdrawn = &told(&less).withdrawn;
            assert!(goes.is_none_or(|id| withdrawn.contains(&id)), "{case}: {withdrawn:?}");
            assert_eq!(goes == Some(mine.id), row.state == TaskState::Withdrawn, "{case}");
            assert_eq!(told(&less).no_longer_needed, Vec::from_iter(stays), "{case}");
            assert_eq!(row.no_longer_needed, stays.is_some(), "{case}");
            if let (TaskState::Taken, Some(held)) = (state, &held) {
                assert_eq!(row.fence, held.fence + 1, "the lease is taken back");
                let late = yard.ada.act(held, "return", json!({ "note": "too late" })).await;
                late.expect_problem(409, "lease-lost");
            }

            let again = desk.needs_it_again(way).await;
            let live = |t: &&TaskView| t.procedure == name && t.state != TaskState::Withdrawn;
            let now: Vec<&TaskView> = again.tasks.iter().filter(live).collect();
            let same = now.iter().find(|t| t.id == mine.id);
            match state {
                TaskState::Waiting | TaskState::Ready | TaskState::Taken | TaskState::Failed => {
                    assert!(same.is_none() && now.len() == 1, "{case}");
                    assert_eq!((now[0].fence, now[0].attempt), (0, 0), "{case}: it begins anew");
                    assert!(told(&again).added.contains(&now[0].id), "{case}");
                }
                TaskState::Disturbed => {
                    assert_eq!(now.len(), 2, "{case}: the disturbed one stays on record");
                    let new = now.iter().find(|t| t.id != mine.id).expect("a new one");
                    assert_eq!(new.replaces, Some(mine.id), "{case}");
                }
                _ => {
                    let same = same.unwrap_or_else(|| panic!("{case}: it is the same task"));
                    assert_eq!((same.state, same.no_longer_needed), (state, false), "{case}");
                    assert!(told(&again).kept.contains(&mine.id), "{case}");
                }
            }
            desk.clear(&mine, held.as_ref(), state).await;
        }
    }
}

#[tokio::test]
async fn what_ran_to_its_end_without_passing_and_is_not_needed_is_not_tried_again() {
    let yard = yard_with_horns().await;
    for (number, state) in [(1, TaskState::Running), (2, TaskState::Held)] {
        let (desk, order) = desk(&yard, number).await;
        let mine = task(&order, "horn_noted").clone();
        let held = desk.bring(&mine, state).await.expect("a lease");
        desk.needs_nothing(Way::Patch).await;
        if state == TaskState::Running {
            let failed = json!({ "outcome": "failed", "note": "it did not sound" });
            yard.ada.act(&held, "finish", failed).await.expect(200);
        } else {
            let path = format!("/v1/tasks/{}/decisions", mine.id);
            let again = json!({ "decision": "retry", "reason": "once more" });
            yard.ada.client.post(&path, again).await.expect(200);
        }
        assert_eq!(desk.state_of(mine.id).await, TaskState::Withdrawn, "{state:?}");
    }
    let (desk, order) = desk(&yard, 3).await;
    let mine = task(&order, "horn_noted").clone();
    let held = desk.bring(&mine, TaskState::Running).await.expect("a lease");
    desk.needs_nothing(Way::Line).await;
    let passed = yard.ada.pass(&held).await.expect(200);
    assert_eq!((&passed["state"], &passed["no_longer_needed"]), (&json!("passed"), &json!(true)));
}

#[tokio::test]
async fn a_line_that_was_begun_keeps_what_it_was_and_what_it_is_in_addition_undoes_what_had_passed()
{
    let yard = yard_with_horns().await;
    let (desk, order) = desk(&yard, 1).await;
    let noted = task(&order, "horn_noted").clone();
    desk.bring(&noted, TaskState::Passed).await;
    let started = json!({ "progress": "started", "bay": yard.bay });
    for (state, progress) in [("started", started), ("finished", json!({ "progress": "finished" }))]
    {
        line(&yard.shop, order.id, 1, progress).await.expect(200);
        let path = format!("/v1/orders/{}/lines/1", order.id);
        let gone = desk.client.delete(&path).await.expect_problem(409, "wrong-state");
        assert_eq!(gone["state"], state);
        let other = json!({ "line": 1, "operations": [{ "action": "replace", "component": "air_filter" }] });
        let dropped = desk.client.put(&path, other).await.expect_problem(409, "wrong-state");
        assert_eq!(dropped["errors"][0]["pointer"], "/operations");
        let mut without = horn(1);
        without["lines"] = json!([]);
        let whole = desk.client.put("/v1/orders/by-number/RO-1", without).await;
        whole.expect_problem(409, "wrong-state");
    }
    assert_eq!(desk.state_of(noted.id).await, TaskState::Passed, "its own line does not undo it");
    let tried = task(&order_view(&yard.shop, order.id).await, "horn_tried").clone();
    let held = yard.ada.take(tried.id).await;
    begin(&yard.ada, &held, 1, now(&yard.shop).await).await;
    yard.ada.pass(&held).await.expect(200);

    let path = format!("/v1/orders/{}/lines/1", order.id);
    let more = json!({ "line": 1, "operations": [{ "action": "replace", "component": "horn" },
        { "action": "replace", "component": "spark_plug" }] });
    let told_more: OrderView = read(desk.client.put(&path, more).await.expect(200));
    assert_eq!(told(&told_more).disturbed, [tried.id], "the plugs came out after the trial");
    let new = told_more.tasks.iter().find(|t| t.replaces == Some(tried.id)).expect("a new one");
    assert_eq!(new.state, TaskState::Ready);

    let not_done = json!({ "line": 1, "operations": [
        { "action": "replace", "component": "horn", "done": "not_done" },
        { "action": "replace", "component": "spark_plug" }] });
    let less: OrderView = read(desk.client.put(&path, not_done).await.expect(200));
    assert!(told(&less).withdrawn.contains(&new.id), "what was not done requires nothing");
    assert_eq!(
        desk.state_of(tried.id).await,
        TaskState::Disturbed,
        "what happened stays on record"
    );
}

#[tokio::test]
async fn a_code_that_returns_undoes_the_pass_that_was_to_cure_it() {
    let yard = yard_with_horns().await;
    let (desk, order) = desk(&yard, 1).await;
    let noted = task(&order, "horn_noted").clone();
    desk.bring(&noted, TaskState::Passed).await;
    let other: OrderView = read(desk.observe(json!({ "trouble_code": "P0301" })).await.expect(200));
    assert!(told(&other).disturbed.is_empty(), "another code is another matter");
    let back: OrderView = read(desk.observe(json!({ "trouble_code": "P0300" })).await.expect(200));
    assert_eq!(told(&back).disturbed, [noted.id]);
    assert!(back.tasks.iter().any(|t| t.replaces == Some(noted.id)));
}

#[tokio::test]
async fn a_service_mode_that_was_entered_is_left_and_tested_however_the_order_changes() {
    let yard = yard().await;
    let shop = &yard.shop;
    let order = taken_in(shop, rear_pads("RO-1")).await;
    yard.ada.work_until(&yard.bo, &yard, order.id, "parking_brake_open_for_service").await;
    let now = order_view(shop, order.id).await;
    yard.ada.work_with(&yard.bo, task(&now, "parking_brake_open_for_service").id).await;
    let leaving = task(&now, "parking_brake_close_and_calibrate").id;
    let test = task(&now, "parking_brake_function_test").id;
    let desk =
        Desk { client: shop.as_role(Role::Integration), yard: &yard, number: 1, order: order.id };
    let path = format!("/v1/orders/{}/lines/1", order.id);
    let feature =
        |is: Value| json!({ "vehicle": { "features": { "electronic_parking_brake": is } } });
    let mut changed = desk.patch(feature(json!(false))).await.expect(200);
    for _ in 0..2 {
        let withdrawn = changed["changes"]["withdrawn"].as_array().expect("a list");
        assert!(!withdrawn.contains(&json!(leaving)), "{changed:#}");
        assert!(!withdrawn.contains(&json!(test)), "{changed:#}");
        let declined = json!({ "line": 1, "authorisation": "declined",
            "operations": [{ "action": "replace", "component": "rear_brake_pads" }] });
        changed = desk.client.put(&path, declined).await.expect(200);
    }
    let declined = order_view(shop, order.id).await;
    let leave = declined.tasks.iter().find(|t| t.id == leaving).expect("it is there");
    assert_eq!(leave.state, TaskState::Ready, "nothing is left to wait for");
    let test = declined.tasks.iter().find(|t| t.id == test).expect("it is there");
    assert!(test.waits_for.iter().any(|w| w.task == Some(leaving)), "first left, then tried");
    shop.advance(31).await;
    yard.ada.work_with(&yard.bo, leaving).await;
    let vehicle =
        shop.as_role(Role::Dispatcher).get(&format!("/v1/vehicles/{}", now.vehicle_id)).await;
    assert_eq!(vehicle.expect(200)["open_brackets"], json!([]));
}

#[tokio::test]
async fn a_released_order_changes_no_more() {
    let yard = yard_with_horns().await;
    let (desk, order) = desk(&yard, 1).await;
    let towed = json!({ "kind": "incomplete_towed", "reason": "the customer wants it back" });
    desk.client.post(&format!("/v1/orders/{}/release", order.id), towed).await.expect(200);
    let path = format!("/v1/orders/{}/lines/1", order.id);
    let body = horn(1)["lines"][0].clone();
    let refusals = [
        desk.patch(json!({ "complaints": ["it squeaks"] })).await,
        desk.client.put(&path, body).await,
        desk.client.delete(&path).await,
        desk.client.put("/v1/orders/by-number/RO-1", horn(1)).await,
        desk.observe(json!({ "trouble_code": "P0300" })).await,
        line(&yard.shop, order.id, 1, json!({ "progress": "not_done" })).await,
    ];
    for refused in refusals {
        assert_eq!(refused.expect_problem(409, "wrong-state")["state"], "released");
    }
}
