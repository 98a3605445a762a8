//! A technician at work: takes a task, acknowledges, shows the vehicle and that everything holds, starts, finishes.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use contract::evidence::{EvidenceItem, NewEvidence};
use contract::leases::{LeaseView, LeasesView, NewLease};
use contract::orders::{LineProgress, OrderView};
use contract::problem::Problem;
use contract::tasks::{
    Decision, NewAcknowledgement, NewAttestation, NewDecision, NewFinish, NewHandover,
    NewInterruption, NewStart, Outcome, TaskView, VerdictsView,
};
use serde_json::json;
use uuid::Uuid;

use crate::client::{Client, Failure};
use crate::proof::ROUTINE;
use crate::proof::{self, Moment, Shown};
use crate::service::Service;

/// Minutes of a lease: the longest there is, since an invented day may run fast.
const LEASE_MINUTES: u32 = 480;
/// Items in one batch of evidence.
const MOST_ITEMS: usize = 5_000;
/// Between two tries, in real time.
const PAUSE: Duration = Duration::from_millis(100);
/// How often evidence that has grown old on the way is sent anew, and a start tried while something is in use.
const TRIES: u32 = 900;
/// Reasons that pass: with new evidence, with time, or when somebody else is done.
const PASSING: &[&str] = &[
    "precondition_not_met",
    "identity_missing",
    "settling",
    "vehicle_busy",
    "vehicle_held",
    "resource_missing",
    "taken",
];

/// A technician of the shop.
#[derive(Debug, Clone)]
pub struct Technician {
    /// Their id.
    pub id: Uuid,
    /// Their name.
    pub name: String,
    /// What they can do.
    pub skills: Vec<String>,
    /// The service, with their token.
    pub client: Client,
}

/// The vehicle as it stands in the bay.
#[derive(Debug, Clone)]
pub struct Vehicle {
    /// Its number, as its control module tells it.
    pub vin: String,
    /// Its trouble codes as the bytes of an OBD answer after `43`; `00` is none.
    pub codes: String,
}

/// A task that a technician holds.
#[derive(Debug, Clone)]
pub struct Job {
    /// The task as it was when it was taken.
    pub task: TaskView,
    /// The fence of the lease.
    pub fence: i64,
    /// When it was taken, by the service's clock.
    pub taken_at: DateTime<Utc>,
    /// When it was started.
    pub started_at: Option<DateTime<Utc>>,
}

impl Technician {
    /// A technician who calls the service with a token of their own.
    pub fn new(service: &Service, id: Uuid, name: &str, skills: &[String]) -> Self {
        Self {
            id,
            name: name.to_owned(),
            skills: skills.to_vec(),
            client: service.as_technician(id),
        }
    }

    /// Whether they have the skills that a task needs.
    pub fn can(&self, task: &TaskView) -> bool {
        task.needs.skills.iter().all(|skill| self.skills.contains(skill))
    }

    /// Takes a certain task.
    pub async fn take(&self, task: Uuid) -> Result<Job, Failure> {
        let wish =
            NewLease { task: Some(task), minutes: Some(LEASE_MINUTES), ..NewLease::default() };
        let given: LeasesView = self.client.post("/v1/leases", &wish).await?;
        let lease = given.leases.into_iter().next();
        let lease = lease.ok_or_else(|| Failure::Unexpected("no lease was given".to_owned()))?;
        Ok(job(lease))
    }

    /// Takes the next right task of an order, if there is one for them.
    pub async fn take_next(&self, order: Uuid) -> Result<Option<Job>, Failure> {
        let wish =
            NewLease { order: Some(order), minutes: Some(LEASE_MINUTES), ..NewLease::default() };
        let given: Option<LeasesView> = self.client.post("/v1/leases", &wish).await?;
        Ok(given.and_then(|given| given.leases.into_iter().next()).map(job))
    }

    /// Acknowledges every caution, before the first preparation.
    pub async fn acknowledge(&self, job: &Job) -> Result<(), Failure> {
        let cautions: Vec<String> =
            job.task.cautions.iter().map(|view| view.caution.id.clone()).collect();
        if cautions.is_empty() {
            return Ok(());
        }
        let body = NewAcknowledgement { fence: job.fence, cautions, at: None };
        let path = job.path("acknowledgements");
        self.client.post::<_, TaskView>(&path, &body).await.map(drop)
    }

    /// Reads the vehicle's number.
    pub async fn identify(&self, job: &Job, vin: &str) -> Result<VerdictsView, Failure> {
        let now = self.client.now().await?;
        self.send(job, vec![proof::identity(vin, now)]).await
    }

    /// Sends evidence.
    pub async fn send(&self, job: &Job, items: Vec<EvidenceItem>) -> Result<VerdictsView, Failure> {
        let body = NewEvidence {
            fence: Some(job.fence),
            sent_at: None,
            observed_by: None,
            device: None,
            items,
        };
        self.client.post(&job.path("evidence"), &body).await
    }

    /// Shows that every precondition holds. A second person gives their word with a token of their own.
    pub async fn prepare(
        &self,
        job: &Job,
        vehicle: &Vehicle,
        second: Option<&Self>,
    ) -> Result<(), Failure> {
        let hold = proof::longest_hold(&job.task.preconditions);
        if hold > TimeDelta::zero() {
            self.client.wait_until(job.taken_at + hold + TimeDelta::seconds(2)).await?;
        }
        let moment = job.moment(job.taken_at, self.client.now().await?, vehicle);
        let mut shown = proof::all_of(&job.task.preconditions, &moment);
        if job.task.needs.people > 1 {
            shown.second.push("second_person_present".to_owned());
        }
        self.give(job, shown, second).await
    }

    async fn give(&self, job: &Job, shown: Shown, second: Option<&Self>) -> Result<(), Failure> {
        if !shown.own.is_empty() {
            self.send(job, shown.own).await?;
        }
        for statement in shown.second {
            let other = second.ok_or_else(|| {
                Failure::Unexpected(format!("`{statement}` needs a second person"))
            })?;
            let body = NewAttestation { statement, holds: true, note: String::new() };
            other.client.post::<_, VerdictsView>(&job.path("attestations"), &body).await?;
        }
        Ok(())
    }

    /// Asks to start, as everything stands.
    pub async fn start(&self, job: &mut Job) -> Result<TaskView, Failure> {
        let routine = Some(ROUTINE.to_owned());
        let body = NewStart { fence: job.fence, routine, ..NewStart::default() };
        let task: TaskView = self.client.post(&job.path("start"), &body).await?;
        job.started_at = task.started_at;
        Ok(task)
    }

    /// Shows everything and starts; waits where only time is lacking, and reads anew what has grown old on the way.
    pub async fn prepare_and_start(
        &self,
        job: &mut Job,
        vehicle: &Vehicle,
        second: Option<&Self>,
    ) -> Result<(), Failure> {
        self.acknowledge(job).await?;
        self.identify(job, &vehicle.vin).await?;
        self.prepare(job, vehicle, second).await?;
        let mut tried = 0;
        loop {
            tried += 1;
            match self.start(job).await {
                Ok(_) => return Ok(()),
                Err(Failure::Refused(problem)) if tried < TRIES && passes(&problem) => {
                    match self.wait_of(job, &problem).await? {
                        Some(moment) => self.client.wait_until(moment).await?,
                        None if tried > 3 => tokio::time::sleep(PAUSE).await,
                        None => {}
                    }
                    self.prepare(job, vehicle, second).await?;
                }
                Err(failure) => return Err(failure),
            }
        }
    }

    /// The moment at which time alone lifts a refusal.
    async fn wait_of(
        &self,
        job: &Job,
        problem: &Problem,
    ) -> Result<Option<DateTime<Utc>>, Failure> {
        let all = problem.reasons.iter().chain(&problem.violated).chain(&problem.missing);
        if let Some(moment) = all.filter_map(|one| one.earliest_at).chain(problem.earliest_at).max()
        {
            return Ok(Some(moment + TimeDelta::seconds(1)));
        }
        let elapsed =
            job.task.preconditions.iter().filter_map(|view| longest_wait(&view.condition));
        let until = elapsed.max().map(|wait| job.taken_at + wait + TimeDelta::seconds(2));
        let now = self.client.now().await?;
        Ok(until.filter(|until| *until > now))
    }

    /// Finishes as passed, with the proof.
    pub async fn finish(
        &self,
        job: &Job,
        vehicle: &Vehicle,
        second: Option<&Self>,
    ) -> Result<TaskView, Failure> {
        let from = job.started_at.unwrap_or(job.taken_at);
        let hold = proof::longest_hold(&job.task.proof);
        let mut tried = 0;
        loop {
            tried += 1;
            if hold > TimeDelta::zero() {
                self.client.wait_until(from + hold + TimeDelta::seconds(4)).await?;
            }
            let moment = job.moment(from, self.client.now().await?, vehicle);
            let run = proof::through_the_run(&job.task.preconditions, &moment);
            for part in run.chunks(MOST_ITEMS) {
                self.send(job, part.to_vec()).await?;
            }
            let shown = proof::all_of(&job.task.proof, &moment);
            if !shown.second.is_empty() {
                let words = Shown { own: Vec::new(), second: shown.second };
                self.give(job, words, second).await?;
            }
            let body = NewFinish {
                fence: job.fence,
                outcome: Outcome::Passed,
                at: None,
                quick_check: false,
                note: String::new(),
                evidence: shown.own,
            };
            match self.client.post(&job.path("finish"), &body).await {
                Err(Failure::Refused(problem))
                    if tried < 40 && problem.kind.ends_with("result-not-proven") =>
                {
                    let moment = problem.reasons.iter().filter_map(|one| one.earliest_at).max();
                    if let Some(moment) = moment {
                        self.client.wait_until(moment + TimeDelta::seconds(1)).await?;
                    }
                }
                done => return done,
            }
        }
    }

    /// Finishes as failed, in words.
    pub async fn fail(&self, job: &Job, note: &str) -> Result<TaskView, Failure> {
        let body = json!({ "fence": job.fence, "outcome": Outcome::Failed, "note": note });
        self.client.post(&job.path("finish"), &body).await
    }

    /// Takes a task and does it from beginning to end.
    pub async fn work(
        &self,
        task: Uuid,
        vehicle: &Vehicle,
        second: Option<&Self>,
    ) -> Result<TaskView, Failure> {
        let job = self.take(task).await?;
        self.carry_out(job, vehicle, second).await
    }

    /// Does a task that was taken, to its end.
    pub async fn carry_out(
        &self,
        mut job: Job,
        vehicle: &Vehicle,
        second: Option<&Self>,
    ) -> Result<TaskView, Failure> {
        self.prepare_and_start(&mut job, vehicle, second).await?;
        self.finish(&job, vehicle, second).await
    }

    /// Reports that a running task broke off.
    pub async fn interrupt(
        &self,
        job: &Job,
        vehicle_condition: &str,
        safe: bool,
    ) -> Result<TaskView, Failure> {
        let body = NewInterruption {
            fence: job.fence,
            vehicle_condition: vehicle_condition.to_owned(),
            safe,
        };
        self.client.post(&job.path("interruptions"), &body).await
    }

    /// Decides what becomes of a task that broke off or failed.
    pub async fn decide(
        &self,
        task: Uuid,
        decision: Decision,
        reason: &str,
    ) -> Result<TaskView, Failure> {
        let body = NewDecision { decision, reason: reason.to_owned() };
        self.client.post(&format!("/v1/tasks/{task}/decisions"), &body).await
    }

    /// Offers a task to another technician.
    pub async fn offer(&self, job: &Job, to: &Self, note: &str) -> Result<(), Failure> {
        let body = NewHandover {
            to: Some(to.id),
            fence: Some(job.fence),
            accept: false,
            cautions: Vec::new(),
            note: note.to_owned(),
        };
        self.client.post::<_, TaskView>(&job.path("handover"), &body).await.map(drop)
    }

    /// Accepts a task that was offered; the job goes on under a new fence.
    pub async fn accept(&self, job: &Job) -> Result<Job, Failure> {
        let body = json!({ "accept": true });
        let task: TaskView = self.client.post(&job.path("handover"), &body).await?;
        Ok(Job { fence: task.fence, task, ..job.clone() })
    }

    /// Reports how the mechanical work of a line goes on.
    pub async fn report(
        &self,
        order: Uuid,
        line: i32,
        progress: &LineProgress,
    ) -> Result<OrderView, Failure> {
        self.client.post(&format!("/v1/orders/{order}/lines/{line}/progress"), progress).await
    }
}

impl Job {
    fn path(&self, what: &str) -> String {
        format!("/v1/tasks/{}/{what}", self.task.id)
    }

    fn moment(&self, from: DateTime<Utc>, now: DateTime<Utc>, vehicle: &Vehicle) -> Moment {
        Moment { from, now, place: self.task.place.clone(), codes: vehicle.codes.clone() }
    }
}

fn passes(problem: &Problem) -> bool {
    let word = problem.kind.rsplit('/').next().unwrap_or_default().replace('-', "_");
    let listed = problem.reasons.iter().map(|reason| reason.code.as_str());
    let mut codes: Vec<&str> = listed.collect();
    if codes.is_empty() {
        codes.push(&word);
    }
    codes.iter().all(|code| PASSING.contains(code))
}

fn longest_wait(condition: &domain::precondition::Condition) -> Option<TimeDelta> {
    use domain::precondition::Condition;
    match condition {
        Condition::Elapsed { at_least, .. } => Some(TimeDelta::seconds(i64::from(*at_least))),
        Condition::All(parts) => parts.iter().filter_map(longest_wait).max(),
        _ => None,
    }
}

fn job(lease: LeaseView) -> Job {
    let taken_at = lease.until - TimeDelta::minutes(i64::from(LEASE_MINUTES));
    Job { task: lease.task, fence: lease.fence, taken_at, started_at: None }
}
