//! What is kept of a running attempt, so that judging it costs the same however long it goes on.
//!
//! What must hold throughout is judged from a moment up to which the verdicts are known; what did not hold before that
//! is kept. The moment moves on once in a while, and back to the start when something arrives that was taken before it.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use domain::lifecycle::TaskState;
use domain::precondition::Precondition;
use domain::verdict::{Finding, Verdict};
use evidence::judge::{self, Phase, Window, judge};
use evidence::sample::{Kind, Sample};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::attempts::{AttemptRow, Needed};
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::limits;
use crate::refusal::Refusal;
use crate::verdicts;

/// Seconds by which the known moment trails behind, at least and at most; it stays where it is for as long. In between it
/// is twice as long as readings took to arrive, so that few come that were taken before it.
const TRAIL: (i64, i64) = (5, 600);
/// How far back readings are read at least.
const LEAST: TimeDelta = TimeDelta::seconds(5);

/// Up to when a run is judged, and what did not hold by then.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Standing {
    /// The verdicts up to here are known.
    #[serde(default)]
    pub(crate) from: Option<DateTime<Utc>>,
    /// What was not met throughout, by the precondition's name.
    #[serde(default)]
    kept: BTreeMap<String, Finding>,
    /// Seconds by which the known moment trails behind.
    #[serde(default)]
    trail: i64,
    /// When a run that had broken off went on: what must hold throughout is judged from there.
    #[serde(default)]
    resumed: Option<DateTime<Utc>>,
    /// What was not met until it broke off.
    #[serde(default)]
    before: BTreeMap<String, Finding>,
}

impl Standing {
    /// Of an attempt.
    pub(crate) fn of(attempt: &AttemptRow) -> Self {
        serde_json::from_value(attempt.detail["standing"].clone()).unwrap_or_default()
    }

    /// From when on the run is judged; none: from its start.
    pub(crate) fn since(&self) -> Option<DateTime<Utc>> {
        self.from.or(self.resumed)
    }

    /// What is known not to have been met.
    pub(crate) fn kept(&self, id: &str) -> Option<&Finding> {
        self.before.get(id).or_else(|| self.kept.get(id))
    }

    /// The findings with what was kept in place of what was judged from the known moment on.
    pub(crate) fn over(&self, mut found: Vec<Finding>) -> Vec<Finding> {
        for finding in &mut found {
            if let Some(kept) = self.kept(&finding.id) {
                *finding = kept.clone();
            }
        }
        found
    }
}

/// Which evidence of a task's present attempt bears on now.
pub(crate) fn needed(task: &TaskRow, attempts: &[AttemptRow], now: DateTime<Utc>) -> Needed {
    let attempt = attempts.iter().find(|a| a.task == task.id && a.number == task.attempt);
    let checks = task.definition.quick_check.iter().flat_map(|check| &check.proof);
    let all: Vec<Precondition> = task
        .definition
        .preconditions
        .iter()
        .chain(&task.definition.proof)
        .chain(checks)
        .cloned()
        .collect();
    let mut since = judge::horizon(&all, now).min(now - LEAST);
    if let Some(attempt) = attempt
        && let Some(started) = attempt.started_at
    {
        since = since.min(Standing::of(attempt).since().unwrap_or(started));
    }
    Needed { task: task.id, attempt: task.attempt, since }
}

/// What a stored item says.
pub(crate) fn decoded(content: Value) -> Result<Vec<Sample>, Refusal> {
    Ok(serde_json::from_value(content).map_err(store::StoreError::from)?)
}

/// What the readings of an item are of; empty when it says something else. Readings that count and others are series
/// of their own, so that neither hides the other.
pub(crate) fn series(samples: &[Sample]) -> String {
    let mut names = Vec::with_capacity(samples.len());
    for sample in samples {
        names.push(match &sample.kind {
            Kind::Number { signal, place: Some(place), .. } => format!("{signal}@{place}"),
            Kind::Number { signal, .. } | Kind::State { signal, .. } => signal.clone(),
            _ => return String::new(),
        });
    }
    names.sort_unstable();
    names.dedup();
    let marks = samples.iter().flat_map(|sample| &sample.marks);
    let mut against: Vec<&str> =
        marks.filter(|mark| mark.objection().is_some()).map(|mark| mark.word()).collect();
    against.sort_unstable();
    against.dedup();
    let names = names.join(",");
    if names.is_empty() || against.is_empty() {
        return names;
    }
    format!("{names} {}", against.join(","))
}

impl Step {
    /// All evidence of the present attempt, for what is judged as of an earlier moment; what was kept is judged anew.
    pub(crate) async fn look_back(&mut self, case: &mut Case, task: Uuid) -> Result<(), Refusal> {
        let row = case.task(task)?.clone();
        let shop = self.shop();
        let all = Needed { task, attempt: row.attempt, since: DateTime::UNIX_EPOCH };
        let mut samples = Vec::new();
        for (_, content) in store::attempts::recent(self.conn(), shop, &[all]).await? {
            samples.extend(decoded(content)?);
        }
        case.samples.insert(task, samples);
        self.know_the_bay(case, task).await?;
        let known = case.attempt(&row).map(Standing::of).unwrap_or_default();
        let forgotten = Standing { from: None, kept: BTreeMap::new(), ..known };
        let same = |a: &&mut AttemptRow| a.task == task && a.number == row.attempt;
        let attempt = case.attempts.iter_mut().find(same);
        if let Some(kept) = attempt.and_then(|attempt| attempt.detail.get_mut("standing")) {
            *kept = serde_json::to_value(&forgotten).map_err(store::StoreError::from)?;
        }
        Ok(())
    }

    /// Lets the known moment of a running attempt move on, when it is due; `oldest` is when the first of the readings was
    /// taken that came just now.
    pub(crate) async fn move_standing(
        &mut self,
        case: &mut Case,
        task: Uuid,
        oldest: Option<DateTime<Utc>>,
    ) -> Result<(), Refusal> {
        let row = case.task(task)?.clone();
        let Some(mut attempt) = case.attempt(&row).cloned() else { return Ok(()) };
        let Some(started) = attempt.started_at.filter(|_| row.state == TaskState::Running) else {
            return Ok(());
        };
        let mut standing = Standing::of(&attempt);
        let from = standing.since().unwrap_or(started);
        let took = oldest.map_or(0, |oldest| (case.now - oldest).num_seconds());
        standing.trail = standing.trail.max(2 * took).clamp(TRAIL.0, TRAIL.1);
        let trail = TimeDelta::seconds(standing.trail);
        let to = case.now - trail;
        if to - from < trail {
            return Ok(());
        }
        let found = judged(case, &row, &attempt, from, to);
        // What is only out of date may still be a stretch that is unknown, or none: the next reading tells.
        let open = found.iter().any(|finding| finding.verdict == Verdict::Stale);
        if open && to - from < TimeDelta::seconds(TRAIL.1) {
            return Ok(());
        }
        for finding in found {
            if finding.verdict != Verdict::Met {
                standing.kept.entry(finding.id.clone()).or_insert(finding);
            }
        }
        standing.from = Some(to);
        attempt.detail["standing"] =
            serde_json::to_value(&standing).map_err(store::StoreError::from)?;
        self.keep_attempt(case, attempt).await
    }
    /// Lets a run that broke off go on from now: what was not met until it broke off is kept, and what must hold throughout
    /// is judged from now on.
    pub(crate) async fn go_on(&mut self, case: &mut Case, task: Uuid) -> Result<(), Refusal> {
        self.look_back(case, task).await?;
        let row = case.task(task)?.clone();
        let Some(attempt) = case.attempt(&row).cloned() else { return Ok(()) };
        let Some(started) = attempt.started_at else { return Ok(()) };
        let mut standing = Standing::of(&attempt);
        let from = standing.resumed.unwrap_or(started);
        for finding in judged(case, &row, &attempt, from, attempt.ended_at.unwrap_or(case.now)) {
            if finding.verdict != Verdict::Met {
                standing.before.entry(finding.id.clone()).or_insert(finding);
            }
        }
        standing.resumed = Some(case.now);
        let number = attempt.number;
        let same = |a: &&mut AttemptRow| a.task == task && a.number == number;
        if let Some(attempt) = case.attempts.iter_mut().find(same) {
            attempt.detail["standing"] =
                serde_json::to_value(&standing).map_err(store::StoreError::from)?;
        }
        Ok(())
    }
}

/// What the samples up to a moment say of what must hold throughout, from another moment on.
fn judged(
    case: &Case,
    task: &TaskRow,
    attempt: &AttemptRow,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Vec<Finding> {
    let window = Window {
        attempt_from: attempt.taken_at,
        running_from: Some(from),
        now: to,
        holder: task.technician.map(|person| person.to_string()),
        place: (!task.place.is_empty()).then(|| task.place.clone()),
        routine: attempt.detail["routine"].as_str().map(str::to_owned),
    };
    // Refusals are all read every time; what they say is not for ever.
    let samples = verdicts::of_this_vehicle(case, task);
    let known: Vec<Sample> = samples
        .iter()
        .filter(|s| s.taken_at <= to && !matches!(s.kind, Kind::Refused { .. }))
        .cloned()
        .collect();
    let conditions = limits::in_force(case, task, &task.definition.preconditions);
    judge(&conditions, &known, &window, Phase::Running)
}
