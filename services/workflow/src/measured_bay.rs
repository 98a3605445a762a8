//! What was measured of a bay proves preconditions for whoever works in it, while it is valid.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use contract::resources::BayMeasurement;
use domain::exact::Exact;
use evidence::judge;
use evidence::sample::{Kind, Mark, Sample};
use store::attempts::AttemptRow;
use store::bays::BayRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::refusal::Refusal;

/// Signals that are a bay's and not a vehicle's.
pub(crate) const SIGNALS: &[&str] = &["floor_slope", "illuminance"];

/// What was measured of a bay.
pub(crate) fn measured(bay: &BayRow) -> Vec<BayMeasurement> {
    serde_json::from_value(bay.measured.clone()).unwrap_or_default()
}

/// Whether the task asks for something that a bay can prove.
fn asks(task: &TaskRow) -> bool {
    let asked = judge::asked(&task.definition.preconditions);
    SIGNALS.iter().any(|signal| asked.contains(*signal))
}

/// The measurements as samples of the attempt; one that is no longer valid proves nothing and says so.
fn samples(attempt: &AttemptRow, bay: &BayRow, now: DateTime<Utc>) -> Vec<Sample> {
    let sample = |one: BayMeasurement| Sample {
        id: bay.id,
        taken_at: attempt.taken_at,
        received_at: attempt.taken_at,
        kind: Kind::Number {
            signal: one.signal,
            place: None,
            value: Exact::from(one.value),
            unit: one.unit,
        },
        marks: if one.valid_until <= now {
            BTreeSet::from([Mark::CalibrationExpired])
        } else {
            BTreeSet::new()
        },
    };
    measured(bay).into_iter().map(sample).collect()
}

impl Step {
    /// Puts what was measured of its bay beside the evidence of a task.
    pub(crate) async fn know_the_bay(
        &mut self,
        case: &mut Case,
        task: Uuid,
    ) -> Result<(), Refusal> {
        let row = case.task(task)?.clone();
        let attempt = case.attempt(&row).cloned();
        let Some((attempt, bay)) = attempt.and_then(|a| a.bay.map(|bay| (a, bay))) else {
            return Ok(());
        };
        if !asks(&row) {
            return Ok(());
        }
        let shop = self.shop();
        let Some(bay) = store::bays::find(self.conn(), shop, bay).await? else { return Ok(()) };
        let known = case.samples.entry(task).or_default();
        let of_bay = |sample: &Sample| {
            matches!(&sample.kind, Kind::Number { signal, .. } if SIGNALS.contains(&signal.as_str()))
                && sample.received_at == attempt.taken_at
        };
        known.retain(|sample| !of_bay(sample));
        known.extend(samples(&attempt, &bay, case.now));
        Ok(())
    }
}
