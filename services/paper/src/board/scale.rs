//! Where a moment and a row stand.

use chrono::{DateTime, DurationRound, TimeDelta, Utc};

use super::Bar;
use crate::local::Clocks;

/// Width of the names of the rows.
pub(super) const NAMES: f64 = 168.0;
/// Space at the right edge.
pub(super) const MARGIN: f64 = 24.0;

/// Time along the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    per_second: f64,
}

impl Scale {
    /// From one moment to another, wide enough to read and narrow enough to show.
    pub(super) fn new(from: DateTime<Utc>, until: DateTime<Utc>) -> Self {
        let until = until.max(from + TimeDelta::hours(1));
        let seconds = seconds(until - from);
        let width = (seconds / 3600.0 * 144.0).clamp(1100.0, 4000.0);
        Self { from, until, per_second: width / seconds }
    }

    /// The right edge of time.
    pub(super) fn right(&self) -> f64 {
        self.x(self.until)
    }

    /// Where a moment stands; those outside stand at the edge.
    pub(super) fn x(&self, moment: DateTime<Utc>) -> f64 {
        let moment = moment.clamp(self.from, self.until);
        NAMES + seconds(moment - self.from) * self.per_second
    }

    /// Whether any of the time is in the picture.
    pub(super) fn shows(&self, from: DateTime<Utc>, until: DateTime<Utc>) -> bool {
        from < self.until && until > self.from
    }

    /// Whether the picture ends before this moment, or with it.
    pub(super) fn is_over_by(&self, moment: DateTime<Utc>) -> bool {
        moment >= self.until
    }

    /// The moments to mark along the top: full hours of the shop's clocks, fewer where they would crowd.
    pub(super) fn ticks(&self, clocks: Clocks) -> Vec<DateTime<Utc>> {
        let hour = 3600.0 * self.per_second;
        let step = [1, 2, 3, 6, 12, 24]
            .into_iter()
            .find(|&hours| f64::from(hours) * hour >= 56.0)
            .unwrap_or(24);
        let step = TimeDelta::hours(step.into());
        let local = clocks.at(self.from);
        let first = local.duration_trunc(step).unwrap_or(local).to_utc();
        std::iter::successors(Some(first), |tick| tick.checked_add_signed(step))
            .skip_while(|&tick| tick < self.from)
            .take_while(|&tick| tick <= self.until)
            .collect()
    }
}

/// The bars of one row, in lanes below each other so that none covers another.
pub(super) fn lanes(bars: &[Bar]) -> Vec<Vec<&Bar>> {
    let mut sorted: Vec<&Bar> = bars.iter().collect();
    sorted.sort_by(|a, b| (a.from, a.until, &a.order).cmp(&(b.from, b.until, &b.order)));
    let mut lanes: Vec<Vec<&Bar>> = Vec::new();
    for bar in sorted {
        let free =
            lanes.iter_mut().find(|lane| lane.last().is_none_or(|last| end(last) <= bar.from));
        match free {
            Some(lane) => lane.push(bar),
            None => lanes.push(vec![bar]),
        }
    }
    lanes
}

/// The end of a bar with the wait after it.
pub(super) fn end(bar: &Bar) -> DateTime<Utc> {
    bar.settles_until.map_or(bar.until, |settled| settled.max(bar.until))
}

#[expect(clippy::cast_precision_loss, reason = "seconds of a plan are far below 2^53")]
fn seconds(delta: TimeDelta) -> f64 {
    delta.num_seconds() as f64
}
