//! What a batch of evidence left of an attempt's samples, so that the next batch need not read them again. The database
//! is the truth: what is kept here holds only while nothing more was written of the order, which its number of entries tells.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, Utc};
use evidence::sample::{Kind, Sample};
use uuid::Uuid;

/// What is known of attempts, by task.
#[derive(Debug, Default)]
pub(crate) struct Recent(Mutex<HashMap<Uuid, Known>>);

/// Which state of an attempt's evidence is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mark {
    /// The task's order.
    pub(crate) order: Uuid,
    /// The number of the attempt.
    pub(crate) attempt: i32,
    /// The number that the order's next entry in the journal will have.
    pub(crate) next_seq: i64,
}

/// The samples of an attempt that bear on now.
#[derive(Debug)]
pub(crate) struct Known {
    pub(crate) mark: Mark,
    /// They are complete from then on, and hold the last of each series before.
    pub(crate) since: DateTime<Utc>,
    pub(crate) samples: Vec<Sample>,
}

/// How many attempts are remembered; beyond that all are forgotten and read again.
const ROOM: usize = 4096;

impl Recent {
    /// The samples of a task as its last batch left them, as far as they bear on what is asked from `since` on; `None` when
    /// something else was written since, or they do not reach back so far. Whoever takes them puts the new ones back.
    pub(crate) fn take(&self, task: Uuid, mark: Mark, since: DateTime<Utc>) -> Option<Vec<Sample>> {
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&task)?;
        (known.mark == mark && known.since <= since).then(|| bearing(known.samples, since))
    }

    /// Keeps what a batch left, once it is committed.
    pub(crate) fn put(&self, task: Uuid, known: Known) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= ROOM {
            all.clear();
        }
        all.insert(task, known);
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
    crate::standing::series(std::slice::from_ref(sample))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use chrono::TimeDelta;
    use evidence::sample::Mark as Objection;

    use super::*;

    const MARK: Mark = Mark { order: Uuid::from_u128(1), attempt: 1, next_seq: 7 };

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

    #[test]
    fn what_a_batch_left_is_used_once_and_only_while_nothing_else_was_written() {
        let (recent, task) = (Recent::default(), Uuid::from_u128(9));
        let put = || {
            let samples = vec![state(1, 5, "hood", &[])];
            recent.put(task, Known { mark: MARK, since: at(5), samples });
        };
        put();
        assert_eq!(recent.take(task, MARK, at(6)).map(|samples| samples.len()), Some(1));
        assert_eq!(recent.take(task, MARK, at(6)), None, "it was taken");
        put();
        assert_eq!(recent.take(task, MARK, at(4)), None, "more is asked than it holds");
        for other in [
            Mark { next_seq: 8, ..MARK },
            Mark { attempt: 2, ..MARK },
            Mark { order: Uuid::from_u128(2), ..MARK },
        ] {
            put();
            assert_eq!(recent.take(task, other, at(6)), None, "{other:?}");
        }
    }
}
