//! One vehicle's visit: its lines are worked, its tasks done as they become ready, its questions answered.

use std::time::{Duration, Instant};

use chrono::TimeDelta;
use contract::orders::{
    LineProgress, LineView, NewAnswer, NewRelease, OrderView, Progress, QuestionView, ReleaseKind,
};
use contract::tasks::TaskView;
use domain::lifecycle::{LineState, TaskState};
use domain::order::Authorisation;
use domain::procedure::{Ends, Phase};
use uuid::Uuid;

use crate::client::Failure;
use crate::orders::Plot;
use crate::shop::{Hands, Shop};
use crate::technician::Vehicle;

/// How long the mechanical work of a line is shown to take: a fast film of it.
const WORK: TimeDelta = TimeDelta::seconds(60);
/// How long nothing may move on an order before the visit is given up, in real time.
const PATIENCE: Duration = Duration::from_mins(4);

/// A visit.
#[derive(Debug, Clone)]
pub struct Visit<'a> {
    /// The shop.
    pub shop: &'a Shop,
    /// What the order is about.
    pub plot: &'a Plot,
    /// The order's id.
    pub order: Uuid,
    /// Its number.
    pub number: String,
    /// The vehicle as it stands in the bay.
    pub vehicle: Vehicle,
}

impl Visit<'_> {
    /// The order as it stands.
    pub async fn read(&self) -> Result<OrderView, Failure> {
        self.shop.desk.get(&format!("/v1/orders/{}", self.order)).await
    }

    /// Works until nothing is left to do in the shop.
    pub async fn to_the_end(&self) -> Result<(), Failure> {
        self.until(|order| nothing_left(order).then_some(())).await
    }

    /// Works until a task of this procedure may be taken, and gives it.
    pub async fn until_ready(&self, procedure: &str) -> Result<TaskView, Failure> {
        self.until(|order| {
            order.tasks.iter().find(|task| task.procedure == procedure && takeable(task)).cloned()
        })
        .await
    }

    /// Works until any task may be taken, and gives it.
    pub async fn until_any_ready(
        &self,
        wanted: impl Fn(&TaskView) -> bool,
    ) -> Result<TaskView, Failure> {
        self.until(|order| order.tasks.iter().find(|task| takeable(task) && wanted(task)).cloned())
            .await
    }

    /// Works until the order is as wanted.
    pub async fn until<T>(&self, wanted: impl Fn(&OrderView) -> Option<T>) -> Result<T, Failure> {
        let mut last_move = Instant::now();
        loop {
            let order = self.read().await?;
            if let Some(found) = wanted(&order) {
                return Ok(found);
            }
            if self.step(&order).await? {
                last_move = Instant::now();
            } else if last_move.elapsed() > PATIENCE {
                let open: Vec<String> = order
                    .tasks
                    .iter()
                    .filter(|task| !task.state.is_over())
                    .map(|task| format!("{} is {}", task.procedure, task.state.word()))
                    .collect();
                return Err(Failure::Unexpected(format!("nothing moves: {}", open.join(", "))));
            }
        }
    }

    /// Does the next thing; false if there was nothing to do now.
    async fn step(&self, order: &OrderView) -> Result<bool, Failure> {
        if let Some(question) = order.questions.iter().find(|question| question.state == "open") {
            self.answer(question).await?;
            return Ok(true);
        }
        let before_open =
            order.tasks.iter().any(|task| task.phase == Phase::Before && !task.state.is_over());
        for line in order.lines.iter().filter(|line| workable(line)) {
            let alone = order.lines.iter().filter(|line| workable(line)).count() == 1;
            if before_open && alone {
                continue; // something is to be made safe or recorded first
            }
            if self.work_line(line).await? {
                return Ok(true);
            }
        }
        for task in order.tasks.iter().filter(|task| takeable(task) && ends_here(task)) {
            if self.work_task(task).await? {
                return Ok(true);
            }
        }
        tokio::time::sleep(Duration::from_millis(120)).await;
        Ok(false)
    }

    async fn answer(&self, question: &QuestionView) -> Result<(), Failure> {
        let mut answer = NewAnswer {
            question: question.id,
            fact: None,
            operations: None,
            keep_as_phrase: false,
            waive_because: None,
        };
        if question.asks.starts_with("lines") {
            // The desk knows that such a line needs nothing; one with candidates is what its first candidate says.
            let candidate = question.choices.first().cloned();
            let operation = candidate.and_then(|choice| serde_json::from_value(choice).ok());
            answer.operations = Some(operation.into_iter().collect());
        } else {
            let name = question.asks.rsplit('.').next().unwrap_or_default();
            answer.fact = Some(self.plot.fact(name));
        }
        let path = format!("/v1/orders/{}/answers", self.order);
        self.shop.desk.post::<_, OrderView>(&path, &answer).await.map(drop)
    }

    /// Starts the work of a line and ends it; false if it can't be started now.
    async fn work_line(&self, line: &LineView) -> Result<bool, Failure> {
        let hands = self.shop.hands(|one| one.skills.iter().any(|skill| skill == "general")).await;
        if !self.begin_line(line.line, &hands).await? {
            return Ok(false);
        }
        let now = self.shop.desk.now().await?;
        self.shop.desk.wait_until(now + WORK).await?;
        self.end_line(line.line, &hands).await?;
        Ok(true)
    }

    /// Starts the work of a line in a bay that is free; false if it can't be started now.
    pub async fn begin_line(&self, line: i32, hands: &Hands) -> Result<bool, Failure> {
        for bay in self.bays().await? {
            let progress = report(Progress::Started, Some(bay), Vec::new());
            match hands.technician.report(self.order, line, &progress).await {
                Ok(_) => return Ok(true),
                Err(failure) if failure.word() == Some("taken") => {} // the next bay
                Err(Failure::Refused(_)) => return Ok(false),
                Err(failure) => return Err(failure),
            }
        }
        Ok(false)
    }

    /// Ends the work of a line, with the statements that the service asks for.
    pub async fn end_line(&self, line: i32, hands: &Hands) -> Result<(), Failure> {
        let done = report(Progress::Finished, None, Vec::new());
        match hands.technician.report(self.order, line, &done).await {
            Err(Failure::Refused(problem)) if problem.kind.ends_with("precondition-not-met") => {
                let asked = problem.reasons.iter().chain(&problem.missing);
                let mut attests: Vec<String> = asked.filter_map(|one| one.id.clone()).collect();
                attests.sort();
                attests.dedup();
                let done = report(Progress::Finished, None, attests);
                hands.technician.report(self.order, line, &done).await.map(drop)
            }
            done => done.map(drop),
        }
    }

    /// The bays, those first where the vehicle was worked on last.
    async fn bays(&self) -> Result<Vec<Uuid>, Failure> {
        let order = self.read().await?;
        let last = order.tasks.iter().rev().find_map(|task| task.bay);
        let lift =
            |bay: &&contract::resources::BayView| bay.capabilities.iter().any(|one| one == "lift");
        let others = self.shop.bays.iter();
        let (lifts, floors): (Vec<_>, Vec<_>) = others.partition(lift);
        let ids = lifts.into_iter().chain(floors).map(|bay| bay.id).filter(|id| Some(*id) != last);
        Ok(last.into_iter().chain(ids).collect())
    }

    /// Does a task from beginning to end; false if it can't be taken or started now.
    pub async fn work_task(&self, task: &TaskView) -> Result<bool, Failure> {
        let hands = self.shop.hands(|one| one.can(task) && self.shop.may_lock(one, task)).await;
        let technician = &hands.technician;
        let second = self.shop.other(technician, &task.needs.skills);
        let job = match technician.take(task.id).await {
            Ok(job) => job,
            Err(Failure::Refused(_)) => {
                // Somebody else's vehicle is in the bay, a tool is in use, or something settles.
                drop(hands);
                tokio::time::sleep(Duration::from_millis(150)).await;
                return Ok(false);
            }
            Err(failure) => return Err(failure),
        };
        technician.carry_out(job, &self.vehicle, second).await.map_err(|failure| {
            let detail = failure.problem().map_or(failure.to_string(), reasons);
            Failure::Unexpected(format!("{}: {detail}", task.procedure))
        })?;
        Ok(true)
    }

    /// Releases the vehicle, and does afterwards what ends after the hand-over.
    pub async fn release(&self) -> Result<(), Failure> {
        let order = self.read().await?;
        let learning: Vec<&TaskView> =
            order.tasks.iter().filter(|task| !task.state.is_over() && !ends_here(task)).collect();
        let kind =
            if learning.is_empty() { ReleaseKind::Complete } else { ReleaseKind::OpenLearning };
        self.ask_release(kind).await?;
        if !learning.is_empty() {
            self.until_learned().await?;
        }
        Ok(())
    }

    /// Asks for the release.
    pub async fn ask_release(&self, kind: ReleaseKind) -> Result<OrderView, Failure> {
        let body = NewRelease { kind, odometer_out: Some(48_232), reason: None };
        let path = format!("/v1/orders/{}/release", self.order);
        self.shop.dispatcher.post(&path, &body).await
    }

    async fn until_learned(&self) -> Result<(), Failure> {
        for _ in 0..200 {
            let order = self.read().await?;
            let open = order.tasks.iter().filter(|task| !task.state.is_over()).collect::<Vec<_>>();
            if open.is_empty() {
                return Ok(());
            }
            for task in open.into_iter().filter(|task| takeable(task)) {
                self.work_task(task).await?;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        Err(Failure::Unexpected("what ends after hand-over did not end".to_owned()))
    }
}

/// A report of a line's progress.
pub fn report(progress: Progress, bay: Option<Uuid>, attests: Vec<String>) -> LineProgress {
    LineProgress { progress, bay, technician: None, attests, document: None }
}

/// The reasons of a refusal in one line.
pub fn reasons(problem: &contract::problem::Problem) -> String {
    let all = problem.reasons.iter().map(|one| {
        let id = one.id.as_deref().map_or(String::new(), |id| format!(" ({id})"));
        format!("{}{id}", one.detail)
    });
    let all: Vec<String> = all.collect();
    format!("{}: {} {}", problem.kind, problem.detail, all.join("; "))
}

fn workable(line: &LineView) -> bool {
    matches!(line.state, LineState::Open | LineState::Paused)
        && line.authorisation == Authorisation::Approved
}

fn takeable(task: &TaskView) -> bool {
    task.state == TaskState::Ready && task.until.is_none()
}

fn ends_here(task: &TaskView) -> bool {
    task.ends == Ends::InShop
}

fn nothing_left(order: &OrderView) -> bool {
    let questions = order.questions.iter().any(|question| question.state == "open");
    let lines = order.lines.iter().any(|line| workable(line) || line.state == LineState::Started);
    let tasks = order.tasks.iter().any(|task| !task.state.is_over() && ends_here(task));
    let settles = order
        .leaving
        .blocked_by
        .iter()
        .any(|block| block.code == "settling" || block.code == "hold");
    !questions && !lines && !tasks && !settles
}
