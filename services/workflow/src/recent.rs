//! What a batch of evidence left of the task that it belongs to, so that the next batch need not read it again. The database
//! is the truth: what is kept here holds only while nothing more was written of the order, which its number of entries tells.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, Utc};
use evidence::sample::{Kind, Sample};
use uuid::Uuid;

use crate::case::Case;
use crate::standing;

/// What batches left, by task.
#[derive(Debug, Default)]
pub(crate) struct Recent(Mutex<HashMap<Uuid, Left>>);

/// What a batch left.
#[derive(Debug)]
pub(crate) struct Left {
    /// The task.
    pub(crate) task: Uuid,
    /// The number that the order's next entry in the journal had after it.
    pub(crate) next_seq: i64,
    /// Samples are complete from then on, and hold the last of each series before.
    pub(crate) since: DateTime<Utc>,
    /// What the batch was judged by.
    pub(crate) case: Case,
}

/// How many tasks are remembered; beyond that all are forgotten and read again.
const ROOM: usize = 1024;

impl Recent {
    /// What the last batch of a task left. Whoever takes it puts the new one back.
    pub(crate) fn take(&self, task: Uuid) -> Option<Left> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&task)
    }

    /// Keeps what a batch left, once it is committed.
    pub(crate) fn put(&self, left: Left) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= ROOM {
            all.clear();
        }
        all.insert(left.task, left);
    }
}

impl Left {
    /// The case at a later moment, with the samples that bear on what is asked then; `None`: they do not reach back so far.
    pub(crate) fn at(self, now: DateTime<Utc>) -> Option<Case> {
        let mut case = self.case;
        let task = case.tasks.iter().find(|task| task.id == self.task)?;
        let since = standing::needed(task, &case.attempts, now).since;
        if self.since > since {
            return None;
        }
        case.now = now;
        if let Some(samples) = case.samples.get_mut(&self.task) {
            *samples = bearing(std::mem::take(samples), since);
        }
        Some(case)
    }
}

/// Samples from then on, the last of each series before, and everything that is no reading.
fn bearing(samples: Vec<Sample>, since: DateTime<Utc>) -> Vec<Sample> {
    let mut last: BTreeMap<String, DateTime<Utc>> = BTreeMap::new();
    for sample in samples.iter().filter(|sample| sample.taken_at < since) {
        let latest = last.entry(series(sample)).or_insert(sample.taken_at);
        *latest = sample.taken_at.max(*latest);
    }
    let bears = |sample: &Sample| {
        sample.taken_at >= since
            || !matches!(sample.kind, Kind::Number { .. } | Kind::State { .. })
            || last.get(&series(sample)) == Some(&sample.taken_at)
    };
    samples.into_iter().filter(bears).collect()
}

fn series(sample: &Sample) -> String {
    standing::series(std::slice::from_ref(sample))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use chrono::TimeDelta;
    use evidence::sample::Mark as Objection;

    use super::*;

    fn at(second: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::seconds(second)
    }

    fn sample(id: u128, second: i64, kind: Kind, marks: BTreeSet<Objection>) -> Sample {
        let (taken_at, received_at) = (at(second), at(second));
        Sample { id: Uuid::from_u128(id), taken_at, received_at, kind, marks }
    }

    fn state(id: u128, second: i64, signal: &str, marks: &[Objection]) -> Sample {
        let kind = Kind::State { signal: signal.to_owned(), is: "applied".to_owned() };
        sample(id, second, kind, marks.iter().copied().collect())
    }

    fn kept(samples: Vec<Sample>, since: i64) -> Vec<u128> {
        bearing(samples, at(since)).iter().map(|sample| sample.id.as_u128()).collect()
    }

    #[test]
    fn what_bears_on_now_is_the_stretch_with_the_last_of_each_series_before_and_all_that_is_no_reading()
     {
        let samples = vec![
            sample(1, 1, Kind::CodesCleared, BTreeSet::new()),
            state(2, 2, "parking_brake", &[]),
            state(3, 3, "parking_brake", &[]),
            state(4, 3, "parking_brake", &[]),
            state(5, 4, "parking_brake", &[Objection::Implausible]),
            state(6, 4, "hood", &[]),
            state(7, 9, "hood", &[]),
        ];
        assert_eq!(kept(samples, 5), [1, 3, 4, 5, 6, 7]);
    }
}
