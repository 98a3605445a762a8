//! What the evidence of the present attempt says, by the pure judge.

use contract::evidence::ItemOutcome;
use contract::tasks::VerdictsView;
use domain::lifecycle::TaskState;
use domain::precondition::Precondition;
use domain::start::Identity;
use domain::verdict::Finding;
use evidence::identity::{self, Expected};
use evidence::judge::{Phase, Window, judge};
use evidence::sample::{Kind, Sample};
use store::tasks::TaskRow;

use crate::case::Case;
use crate::refusal::Refusal;

/// The samples of the present attempt.
pub(crate) fn samples(case: &Case, task: &TaskRow) -> Result<Vec<Sample>, Refusal> {
    let rows = case.evidence.iter().filter(|e| e.task == task.id && e.attempt == task.attempt);
    let mut all = Vec::new();
    for row in rows {
        let samples: Vec<Sample> =
            serde_json::from_value(row.content.clone()).map_err(store::StoreError::from)?;
        all.extend(samples);
    }
    Ok(all)
}

/// The stretch of time that is judged.
fn window(case: &Case, task: &TaskRow) -> Option<Window> {
    let attempt = case.attempt(task)?;
    Some(Window {
        attempt_from: attempt.taken_at,
        running_from: attempt.started_at,
        now: case.now,
        place: (!task.place.is_empty()).then(|| task.place.clone()),
        routine: None,
    })
}

/// The verdicts of conditions in a phase; without an attempt, everything is missing.
pub(crate) fn of(
    case: &Case,
    task: &TaskRow,
    conditions: &[Precondition],
    phase: Phase,
) -> Result<Vec<Finding>, Refusal> {
    let samples = samples(case, task)?;
    let nobody = Window {
        attempt_from: case.now,
        running_from: None,
        now: case.now,
        place: None,
        routine: None,
    };
    let present = task.state.is_leased() || task.state == TaskState::Held;
    let window = window(case, task).filter(|_| present).unwrap_or(nobody);
    let samples = if present { samples } else { Vec::new() };
    Ok(judge(conditions, &samples, &window, phase))
}

/// The verdicts that matter now: to start, or while it runs.
pub(crate) fn present(case: &Case, task: &TaskRow) -> Result<Vec<Finding>, Refusal> {
    let phase = if task.state == TaskState::Running { Phase::Running } else { Phase::Starting };
    of(case, task, &task.definition.preconditions, phase)
}

/// What was shown of the vehicle's identity in this attempt.
pub(crate) fn identity(case: &Case, task: &TaskRow) -> Result<Identity, Refusal> {
    let expected = Expected { vin: case.vehicle.vin.clone(), plate: case.vehicle.plate.clone() };
    let from = case.attempt(task).map_or(case.now, |a| a.taken_at);
    Ok(identity::judge(&expected, &samples(case, task)?, from, case.now))
}

/// The answer to evidence.
pub(crate) fn view(
    case: &Case,
    task: &TaskRow,
    items: Vec<ItemOutcome>,
) -> Result<VerdictsView, Refusal> {
    Ok(VerdictsView {
        task: task.id,
        state: task.state,
        preconditions: present(case, task)?,
        proof: of(case, task, &task.definition.proof, Phase::Finishing)?,
        items,
    })
}

/// What a sample says, in a few words.
pub(crate) fn words(kind: &Kind) -> String {
    match kind {
        Kind::Number { signal, place, value, unit } => match place {
            Some(place) => format!("{signal} at {place} is {value} {unit}"),
            None => format!("{signal} is {value} {unit}"),
        },
        Kind::State { signal, is } => format!("{signal} is {is}"),
        Kind::Attested { statement, holds, .. } => {
            format!("{statement}: {}", if *holds { "yes" } else { "no" })
        }
        Kind::Codes { codes, .. } if codes.is_empty() => "no trouble codes".to_owned(),
        Kind::Codes { codes, .. } => {
            let codes: Vec<&str> = codes.iter().map(|c| c.code.as_str()).collect();
            format!("trouble codes {}", codes.join(", "))
        }
        Kind::CodesNotReadable { reason } => format!("trouble codes not readable: {reason}"),
        Kind::CodesCleared => "trouble codes cleared".to_owned(),
        Kind::Monitors { .. } => "monitor status".to_owned(),
        Kind::Routine { identifier, sub, status } => {
            format!("routine {identifier} answered {sub:?}, status {status}")
        }
        Kind::Refused { nrc, .. } => format!("refused: {}", evidence::refusal::name(*nrc)),
        Kind::Vin { vin } => format!("VIN {vin}"),
        Kind::TypedIdentity { last_six } => format!("identity typed: {last_six}"),
        Kind::Attachment { shows, .. } => format!("file that shows {shows}"),
    }
}
