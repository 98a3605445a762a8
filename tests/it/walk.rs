//! Three technicians do whatever comes to their mind with one vehicle; what the service accepts and refuses is what the
//! checked model of the lifecycle says.

use std::time::{Duration, Instant};

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use serde_json::json;
use sqlx::Row as _;
use uuid::Uuid;

use crate::ending::next_right;
use crate::floor::{Floor, Node};
use crate::harness::{Answer, Shop};
use crate::step::{Act, Decision, Request, Rules, decide};
use crate::work::{Line, Mode, Procedure, Work};
use crate::worker::{Held, Worker, line, order_view, rear_pads, taken_in, yard};

/// How long the walks go on at most.
const BUDGET: Duration = Duration::from_secs(20);
/// Steps of one walk at most.
const STEPS: usize = 120;

/// A walk over the real service, with the model beside it.
struct Walk {
    shop: Shop,
    workers: Vec<Worker>,
    bay: Uuid,
    order: Uuid,
    work: Work,
    floor: Floor,
    dice: u64,
}

impl Walk {
    async fn begin(seed: u64) -> Self {
        let yard = yard().await;
        let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
        let eve = Worker::hired(&yard.shop, "Eve").await;
        let work = work_of(&yard.shop, &order).await;
        Self {
            floor: Floor::taken_in(&work),
            workers: vec![yard.ada, yard.bo, eve],
            shop: yard.shop,
            bay: yard.bay,
            order: order.id,
            work,
            dice: seed * 2 + 1,
        }
    }

    /// A number below this one (a linear congruential generator, D. Knuth's MMIX constants).
    fn below(&mut self, bound: usize) -> usize {
        self.dice = self
            .dice
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let high = usize::try_from(self.dice >> 33).expect("31 bits");
        high % bound
    }

    /// What is asked next: often what is right, else anything.
    fn next(&mut self) -> Request {
        if self.below(2) == 0 {
            let right = next_right(&self.floor);
            let fits = |r: &Request| decide(&self.work, Rules::ALL, &self.floor, *r).is_ok();
            if let Some(request) = right.into_iter().find(fits) {
                return request;
            }
        }
        let live: Vec<usize> = (0..self.work.procedures.len())
            .map(|procedure| self.floor.live(procedure).expect("one lives"))
            .collect();
        let at = live[self.below(live.len())];
        let who = u8::try_from(self.below(self.workers.len())).expect("three");
        let task = self.floor.tasks[at].clone();
        let fence = task.fence.saturating_sub(u8::from(self.below(4) == 0));
        let holder = if self.below(4) > 0 { task.technician.unwrap_or(who) } else { who };
        let act = |act| Request::Act { who: holder, at, fence, act };
        let decided = |who, decision| Request::Decide { who, at, decision };
        match self.below(14) {
            0 | 1 => Request::Take { who, at },
            2 => act(Act::Return),
            3 | 4 => act(Act::Start),
            5 => act(Act::Pass),
            6 if self.work.procedures[task.procedure].settles => act(Act::Fail),
            7 => act(Act::Interrupt),
            8 => decided(holder, Decision::Resume),
            9 => decided(who, Decision::Retry),
            10 => decided(who, Decision::RestartChain),
            11 => decided(who, Decision::GiveUp),
            12 => Request::BeginLine(0),
            _ => Request::EndLine(0),
        }
    }

    /// Asks the service.
    async fn ask(&self, request: Request, order: &OrderView) -> Answer {
        let shop = &self.shop;
        match request {
            Request::Take { who, at } => self.worker(who).try_to_take(self.id(at, order)).await,
            Request::Act { who, at, fence, act } => self.act(who, at, fence, act, order).await,
            Request::Decide { who, at, decision } => {
                let word = match decision {
                    Decision::Resume => "resume",
                    Decision::Retry => "retry",
                    Decision::RestartChain => "restart_chain",
                    Decision::GiveUp => "give_up",
                };
                let body = json!({ "decision": word, "reason": "so it was decided" });
                let path = format!("/v1/tasks/{}/decisions", self.id(at, order));
                self.worker(who).client.post(&path, body).await
            }
            Request::BeginLine(_) => {
                line(shop, self.order, 1, json!({ "progress": "started", "bay": self.bay })).await
            }
            Request::EndLine(_) => {
                let done = json!({ "progress": "finished", "attests": ["calipers_bolted"] });
                line(shop, self.order, 1, done).await
            }
            Request::Accept { .. } | Request::Amend | Request::EndLeases => {
                unreachable!("it is not asked over HTTP here")
            }
        }
    }

    async fn act(&self, who: u8, at: usize, fence: u8, act: Act, order: &OrderView) -> Answer {
        let worker = self.worker(who);
        let id = self.id(at, order);
        let task = order.tasks.iter().find(|t| t.id == id).expect("it is there").clone();
        let row = &self.floor.tasks[at];
        let holds = row.technician == Some(who) && row.fence == fence && row.state.is_leased();
        let held = Held { task, fence: fence.into() };
        let helper = self.worker((who + 1) % 3);
        match act {
            Act::Return => worker.act(&held, "return", json!({ "note": "no time" })).await,
            Act::Start => {
                if holds && row.state == TaskState::Taken {
                    helper.stand_by(id, &held.task.preconditions).await;
                    worker.prepare(&held).await;
                }
                worker.act(&held, "start", json!({})).await
            }
            Act::Pass => {
                if holds && row.state == TaskState::Running {
                    helper.stand_by(id, &held.task.proof).await;
                }
                worker.pass(&held).await
            }
            Act::Fail => {
                let failed = json!({ "outcome": "failed", "note": "it does not hold" });
                worker.act(&held, "finish", failed).await
            }
            Act::Interrupt => {
                let told = json!({ "vehicle_condition": "as it was", "safe": true });
                worker.act(&held, "interruptions", told).await
            }
        }
    }

    fn worker(&self, who: u8) -> &Worker {
        &self.workers[usize::from(who)]
    }

    /// The real task that a place of the model means.
    fn id(&self, at: usize, order: &OrderView) -> Uuid {
        living(order, self.work.procedures[self.floor.tasks[at].procedure].title).0
    }

    /// Lets time go by: waits end, and now and then leases.
    async fn wait(&mut self, seconds: i64) {
        self.shop.advance(seconds).await;
        let leases = seconds > 3600;
        for task in &mut self.floor.tasks {
            task.settling = false;
            task.run_out = leases && task.state.is_leased();
        }
        if let Ok((_, after)) = decide(&self.work, Rules::ALL, &self.floor, Request::EndLeases) {
            self.floor = after;
            // A duty ends them, in its own time.
            for _ in 0..100 {
                if self.agrees(&order_view(&self.shop, self.order).await) {
                    return;
                }
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        }
    }

    fn agrees(&self, order: &OrderView) -> bool {
        self.states() == self.seen(order)
    }

    /// Procedures with where the model says they stand.
    fn states(&self) -> Vec<(&str, TaskState)> {
        let procedures = self.work.procedures.iter().enumerate();
        procedures
            .map(|(p, known)| {
                let at = self.floor.live(p).expect("one lives");
                (known.title, self.floor.tasks[at].state)
            })
            .collect()
    }

    /// Procedures with where the service says they stand.
    fn seen(&self, order: &OrderView) -> Vec<(&str, TaskState)> {
        self.work.procedures.iter().map(|p| (p.title, living(order, p.title).1)).collect()
    }

    /// Walks, and tells how many requests were accepted and how many refused.
    async fn go(&mut self, until: Instant) -> (usize, usize) {
        let (mut accepted, mut refused) = (0, 0);
        let mut told: Vec<String> = Vec::new();
        let mut order = order_view(&self.shop, self.order).await;
        for _ in 0..STEPS {
            if self.floor.is_done() || Instant::now() > until {
                break;
            }
            if self.below(4) == 0 {
                let seconds = if self.below(6) == 0 { 3700 } else { 31 };
                self.wait(seconds).await;
                order = order_view(&self.shop, self.order).await;
                told.push(format!("{seconds} s go by"));
                continue;
            }
            let request = self.next();
            if request == Request::EndLeases {
                continue;
            }
            let answer = self.ask(request, &order).await;
            let expected = decide(&self.work, Rules::ALL, &self.floor, request);
            told.push(format!("{request:?}: {} {expected:?}", answer.status));
            assert_eq!(
                (200..300).contains(&answer.status),
                expected.is_ok(),
                "{:#}\n{}",
                answer.body,
                told.join("\n")
            );
            if let Ok((_, after)) = expected {
                self.floor = after;
                accepted += 1;
            } else {
                assert!(matches!(answer.status, 409), "{:#}", answer.body);
                refused += 1;
            }
            order = order_view(&self.shop, self.order).await;
            assert_eq!(self.seen(&order), self.states(), "{}", told.join("\n"));
        }
        (accepted, refused)
    }
}

/// The task that lives for a procedure.
fn living(order: &OrderView, procedure: &str) -> (Uuid, TaskState) {
    let gone = |state| matches!(state, TaskState::Withdrawn | TaskState::Disturbed);
    let mut living = order.tasks.iter().filter(|t| t.procedure == procedure && !gone(t.state));
    let task = living.next().expect("one lives");
    (task.id, task.state)
}

/// What the service derived, as the model takes it.
async fn work_of(shop: &Shop, order: &OrderView) -> Work {
    let procedures: Vec<Procedure> = order
        .tasks
        .iter()
        .map(|task| Procedure {
            title: task.procedure.clone().leak(),
            mode: match task.procedure.as_str() {
                "parking_brake_open_for_service" => Mode::Enters,
                "parking_brake_close_and_calibrate" => Mode::Leaves,
                _ => Mode::Same,
            },
            settles: task.settle.seconds > 0,
        })
        .collect();
    let mut owner = shop.owner_connection().await;
    let named = format!("SET app.shops = '{{{}}}'", shop.id);
    sqlx::raw_sql(sqlx::AssertSqlSafe(named)).execute(&mut owner).await.expect("names the shop");
    let rows = sqlx::query("SELECT before_task, then_task FROM precedence WHERE order_id = $1")
        .bind(order.id)
        .fetch_all(&mut owner)
        .await
        .expect("reads");
    let node = |task: Option<Uuid>| match task {
        None => Node::Line(0),
        Some(id) => Node::Task(order.tasks.iter().position(|t| t.id == id).expect("its task")),
    };
    let edges: Vec<(Node, Node)> =
        rows.iter().map(|row| (node(row.get(0)), node(row.get(1)))).collect();
    let line = Line { undoes: &[], requires: &[], foreign: false };
    Work {
        procedures: procedures.leak(),
        lines: vec![line].leak(),
        lines_at_intake: 1,
        edges: edges.leak(),
        either_or: &[],
        alike: false,
    }
}

#[tokio::test]
async fn whatever_three_technicians_try_the_service_answers_as_the_checked_model_says() {
    let until = Instant::now() + BUDGET;
    let (mut walks, mut accepted, mut refused) = (0, 0, 0);
    while walks == 0 || Instant::now() < until {
        walks += 1;
        let mut walk = Walk::begin(walks).await;
        let (yes, no) = walk.go(until).await;
        accepted += yes;
        refused += no;
    }
    println!("{walks} walks: {accepted} requests accepted, {refused} refused");
    assert!(accepted > 0 && refused > 0);
}
