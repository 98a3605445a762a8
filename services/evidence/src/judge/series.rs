//! The temporal core: what timed readings of one signal say of a demand on it.
//!
//! Between two readings no further apart than the allowed gap the signal counts as known; beyond that nothing is
//! known. A hold is shown from reading to reading: the first and the last of an unbroken run of satisfying
//! readings lie at least so far apart. Time after the last reading never counts towards a hold, and only
//! freshness lets the last reading speak for the present moment.

use chrono::{DateTime, TimeDelta, Utc};

/// One reading, reduced to whether it satisfies the demand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// When it was taken.
    pub at: DateTime<Utc>,
    /// It satisfies the demand.
    pub satisfied: bool,
}

/// What is demanded of the readings in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Demand {
    /// Longest time between two readings over which the signal counts as known.
    pub gap: TimeDelta,
    /// An older reading no longer proves it.
    pub max_age: Option<TimeDelta>,
    /// It must have held for so long.
    pub hold_for: TimeDelta,
}

impl Demand {
    /// The age up to which the last reading speaks for the present moment; `None`: any.
    pub fn freshness(&self, throughout: bool) -> Option<TimeDelta> {
        if throughout {
            return Some(self.max_age.map_or(self.gap, |age| age.min(self.gap)));
        }
        // A hold reaches up to now, so without an age of its own its last reading may be one gap old.
        let holds = self.hold_for > TimeDelta::zero();
        self.max_age.or_else(|| holds.then_some(self.gap))
    }
}

/// What the readings say. Indices are into the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It holds, shown by the readings from this one on.
    Met {
        /// First reading of the unbroken run.
        since: usize,
    },
    /// There is no reading.
    Missing,
    /// This reading says that it does not hold.
    Violated {
        /// The reading.
        by: usize,
    },
    /// The last reading satisfies it but is older than this.
    Stale {
        /// The age that would still count.
        limit: TimeDelta,
    },
    /// It holds, but not for long enough yet.
    Short {
        /// For how long it is shown to have held.
        held: TimeDelta,
        /// A reading within the demanded time that did not satisfy it.
        broken_by: Option<usize>,
    },
    /// Nothing is known between these moments.
    Hole {
        /// Last moment known before.
        from: DateTime<Utc>,
        /// First reading after, or now.
        to: DateTime<Utc>,
    },
}

/// Whether the demand is met as of `now`. Readings are sorted by time, none is later than `now`.
pub fn as_of(readings: &[Reading], demand: &Demand, now: DateTime<Utc>) -> Standing {
    let Some((last, latest)) = readings.iter().enumerate().next_back() else {
        return Standing::Missing;
    };
    if !latest.satisfied {
        return Standing::Violated { by: last };
    }
    if let Some(limit) = demand.freshness(false).filter(|limit| now - latest.at > *limit) {
        return Standing::Stale { limit };
    }
    let unbroken = |pair: &[Reading]| pair[0].satisfied && pair[1].at - pair[0].at <= demand.gap;
    let steps = readings.windows(2).rev().take_while(|pair| unbroken(pair)).count();
    let since = last - steps;
    let held = latest.at - readings[since].at;
    if held >= demand.hold_for {
        // No more readings than the hold needs.
        let begin = latest.at - demand.hold_for;
        let enough = readings[since..].partition_point(|reading| reading.at <= begin);
        return Standing::Met { since: since + enough.saturating_sub(1) };
    }
    let begin = latest.at - demand.hold_for;
    let broken_by =
        readings[..since].iter().rposition(|reading| !reading.satisfied && reading.at >= begin);
    Standing::Short { held, broken_by }
}

/// Whether the demand has held from `from` to `now` without a gap.
///
/// The last reading before `from` speaks for the beginning if it satisfies and is no older than one gap then. A pair of readings
/// at both ends does not prove what lies between. `hold_for` does not apply.
pub fn throughout(
    readings: &[Reading],
    demand: &Demand,
    from: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Standing {
    let first = readings.partition_point(|reading| reading.at < from);
    if let Some(by) = readings[first..].iter().position(|reading| !reading.satisfied) {
        return Standing::Violated { by: first + by };
    }
    let speaks = |at: &usize| readings[*at].satisfied && from - readings[*at].at <= demand.gap;
    let before = first.checked_sub(1).filter(speaks);
    let since = before.unwrap_or(first);
    let mut known = before.map_or(from, |at| readings[at].at);
    for reading in &readings[since..] {
        if reading.at - known > demand.gap {
            return Standing::Hole { from: known, to: reading.at };
        }
        known = reading.at;
    }
    let Some(latest) = readings[since..].last() else {
        return Standing::Missing;
    };
    if let Some(limit) = demand.freshness(true).filter(|limit| now - latest.at > *limit) {
        return Standing::Stale { limit };
    }
    Standing::Met { since }
}
