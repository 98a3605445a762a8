//! What an item says is held against what the attempt allows and the task asks for.

use std::collections::BTreeSet;

use domain::precondition::Precondition;
use domain::procedure::Procedure;
use domain::start::SECOND_PERSON;
use evidence::identity;
use evidence::intake::{self, Given, Limits};
use evidence::judge;
use evidence::sample::{Mark as Objection, Sample};
use store::attempts::AttemptRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::case::Case;
use crate::evidence::Arrival;
use crate::said::Said;

/// What the items of a batch are held against.
pub(crate) fn limits(
    case: &Case,
    task: &TaskRow,
    attempt: &AttemptRow,
    arrival: &Arrival,
) -> Limits {
    let mut all = task.definition.preconditions.clone();
    all.extend(task.definition.proof.iter().cloned());
    all.extend(task.definition.quick_check.iter().flat_map(|check| check.proof.iter().cloned()));
    Limits {
        now: case.now,
        client_clock: arrival.sent_at,
        attempt_from: attempt.taken_at,
        lease_until: if arrival.late {
            attempt.ended_at.unwrap_or(attempt.taken_at)
        } else {
            task.lease_until.unwrap_or(case.now)
        },
        asked: asked(&task.definition, &all),
        vin: case.vehicle.vin.clone(),
    }
}

/// The names of all that bears on a task: what its conditions ask for, what shows the vehicle's identity, and the second
/// person's presence where there must be one.
fn asked(procedure: &Procedure, conditions: &[Precondition]) -> BTreeSet<String> {
    let mut names = judge::asked(conditions);
    names.extend(identity::PHOTOS.iter().map(|name| (*name).to_owned()));
    if procedure.people > 1 {
        names.insert(SECOND_PERSON.to_owned());
    }
    names
}

/// Holds what an item says against the limits: samples and marks, or why it is refused.
pub(crate) fn examine(
    said: &Said,
    limits: &Limits,
    id: Uuid,
    late: bool,
) -> Result<(Vec<Sample>, Vec<String>), String> {
    let mut samples = Vec::new();
    for kind in &said.kinds {
        let given = Given {
            taken_at: Some(said.taken_at),
            kind: kind.clone(),
            instrument: said.instrument,
        };
        let examined = intake::examine(&given, limits).map_err(|refusal| refusal.to_string())?;
        let mut sample = examined.sample(id, limits.now);
        // The lease may have been found over only just now.
        sample.marks.extend(late.then_some(Objection::Late));
        samples.push(sample);
    }
    let mut marks: Vec<String> =
        samples.iter().flat_map(|s| s.marks.iter().map(|m| m.word().to_owned())).collect();
    marks.sort();
    marks.dedup();
    Ok((samples, marks))
}
