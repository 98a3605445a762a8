//! What the evidence of the present attempt says, by the pure judge.

use std::borrow::Cow;

use chrono::{DateTime, Utc};
use contract::tasks::VerdictsView;
use domain::lifecycle::TaskState;
use domain::precondition::Precondition;
use domain::start::Identity;
use domain::verdict::{Finding, Verdict};
use evidence::identity::{self, Expected};
use evidence::judge::{self, Phase, Window, judge};
use evidence::sample::{Kind, Monitor, Sample};
use store::tasks::TaskRow;

use crate::case::Case;
use crate::limits;
use crate::standing::Standing;
use crate::take_in::TakenIn;
use crate::waive;

/// The samples of the present attempt that bear on now.
pub(crate) fn samples<'a>(case: &'a Case, task: &TaskRow) -> &'a [Sample] {
    case.samples.get(&task.id).map_or(&[], Vec::as_slice)
}

/// The same without what another vehicle gave: all that was taken while the VIN that was read was not the order's.
pub(crate) fn of_this_vehicle<'a>(case: &'a Case, task: &TaskRow) -> Cow<'a, [Sample]> {
    let all = samples(case, task);
    let foreign = identity::foreign(&expected(case), all);
    if foreign.is_empty() {
        return Cow::Borrowed(all);
    }
    Cow::Owned(all.iter().filter(|sample| !foreign.contains(&sample.id)).cloned().collect())
}

/// The stretch of time that is judged.
fn window(case: &Case, task: &TaskRow, phase: Phase) -> Option<Window> {
    let attempt = case.attempt(task)?;
    let known = Standing::of(attempt).since().filter(|_| phase == Phase::Running);
    Some(Window {
        attempt_from: attempt.taken_at,
        running_from: known.or(attempt.started_at),
        now: case.now,
        holder: task.technician.map(|person| person.to_string()),
        place: (!task.place.is_empty()).then(|| task.place.clone()),
        routine: attempt.detail["routine"].as_str().map(str::to_owned),
    })
}

/// The stretch of time of an attempt at which nothing was shown.
fn blank(case: &Case) -> Window {
    Window {
        attempt_from: case.now,
        running_from: None,
        now: case.now,
        holder: None,
        place: None,
        routine: None,
    }
}

/// The verdicts of conditions in a phase; without an attempt, everything is missing.
pub(crate) fn of(
    case: &Case,
    task: &TaskRow,
    conditions: &[Precondition],
    phase: Phase,
) -> Vec<Finding> {
    let nobody = blank(case);
    let conditions = &*limits::in_force(case, task, conditions);
    let present = task.state.is_leased() || task.state == TaskState::Held;
    let Some(window) = window(case, task, phase).filter(|_| present) else {
        return judge(conditions, &[], &nobody, phase);
    };
    let mut found = judge(conditions, &of_this_vehicle(case, task), &window, phase);
    if let Some(attempt) = case.attempt(task).filter(|_| phase == Phase::Running) {
        found = Standing::of(attempt).over(found);
    }
    for finding in &mut found {
        let left_out = finding.verdict != Verdict::Met;
        finding.waived = left_out && waive::is_left_out(case, task, &finding.id);
    }
    found
}

/// The verdicts that matter now: to start, or while it runs.
pub(crate) fn present(case: &Case, task: &TaskRow) -> Vec<Finding> {
    let phase = if task.state == TaskState::Running { Phase::Running } else { Phase::Starting };
    of(case, task, &task.definition.preconditions, phase)
}

/// The verdicts of the proof. What was shown before the start proves nothing of what comes after it.
pub(crate) fn of_proof(case: &Case, task: &TaskRow) -> Vec<Finding> {
    if task.state == TaskState::Taken {
        let conditions = limits::in_force(case, task, &task.definition.proof);
        return judge(&conditions, &[], &blank(case), Phase::Finishing);
    }
    of(case, task, &task.definition.proof, Phase::Finishing)
}

/// When time alone next changes a verdict that matters now.
pub(crate) fn next_change(case: &Case, task: &TaskRow) -> Option<DateTime<Utc>> {
    let next = |conditions: &[Precondition], phase| {
        let window = window(case, task, phase)?;
        let conditions = limits::in_force(case, task, conditions);
        judge::next_change(&conditions, &of_this_vehicle(case, task), &window, phase)
    };
    let preconditions = &task.definition.preconditions;
    match task.state {
        TaskState::Taken => next(preconditions, Phase::Starting),
        TaskState::Running => {
            let known = case.attempt(task).map(Standing::of).unwrap_or_default();
            let open = preconditions.iter().filter(|p| known.kept(&p.id).is_none()).cloned();
            let running = next(&open.collect::<Vec<_>>(), Phase::Running);
            running.into_iter().chain(next(&task.definition.proof, Phase::Finishing)).min()
        }
        _ => None,
    }
}

/// The order's vehicle.
pub(crate) fn expected(case: &Case) -> Expected {
    Expected { vin: case.vehicle.vin.clone(), plate: case.vehicle.plate.clone() }
}

/// What was shown of the vehicle's identity in this attempt.
pub(crate) fn identity(case: &Case, task: &TaskRow) -> Identity {
    let from = case.attempt(task).map_or(case.now, |a| a.taken_at);
    identity::judge(&expected(case), samples(case, task), from, case.now)
}

/// The answer to evidence.
pub(crate) fn view(case: &Case, task: &TaskRow, taken: TakenIn) -> VerdictsView {
    let TakenIn { items, preconditions } = taken;
    let broken = preconditions.iter().filter(|f| f.verdict == Verdict::Violated && !f.waived);
    let running = task.state == TaskState::Running;
    VerdictsView {
        task: task.id,
        state: task.state,
        broken: broken.filter(|_| running).map(|f| f.id.clone()).collect(),
        clock_off_seconds: None,
        preconditions,
        proof: of_proof(case, task),
        items,
    }
}

/// What a sample says, in a few words.
pub(crate) fn words(kind: &Kind) -> String {
    match kind {
        Kind::Number { signal, place, value, unit } => match place {
            Some(place) => format!("{signal} at {place} is {}", judge::number(value, unit)),
            None => format!("{signal} is {}", judge::number(value, unit)),
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
        Kind::Monitors { monitors } => told_monitors(monitors),
        Kind::Routine { identifier, sub, status } => {
            format!("routine {identifier} answered {sub:?}, status {status}")
        }
        Kind::Refused { service, nrc } => evidence::refusal::told(*service, *nrc),
        Kind::Vin { vin } => format!("VIN {vin}"),
        Kind::TypedIdentity { last_six } => format!("identity typed: {last_six}"),
        Kind::Attachment { shows, .. } => format!("file that shows {shows}"),
    }
}

/// Which monitors have run since codes were cleared, and which have not.
fn told_monitors(monitors: &[Monitor]) -> String {
    let named = |complete: bool| {
        let those = monitors.iter().filter(|monitor| monitor.complete == complete);
        let names: Vec<&str> = those.map(|monitor| monitor.name.as_str()).collect();
        if names.is_empty() { "none".to_owned() } else { names.join(", ") }
    };
    format!("monitors complete: {}; not complete: {}", named(true), named(false))
}

#[cfg(test)]
mod tests {
    use evidence::frame::{Protocol, decode};

    use super::*;

    fn told(bytes: &[u8]) -> String {
        let said = decode(Protocol::Obd, bytes).expect("an answer");
        said.iter().map(words).collect::<Vec<_>>().join("; ")
    }

    #[test]
    fn what_a_frame_says_is_told_without_fractions_and_without_the_unit_of_a_count() {
        assert_eq!(told(&[0x41, 0x11, 0x80]), "throttle_position is 50.2 %");
        assert_eq!(
            told(&[0x41, 0x01, 0x81, 0x07, 0xE5, 0x24]),
            "malfunction_lamp is on; stored_code_count is 1; monitors complete: misfire, fuel_system, \
             comprehensive_components, catalyst, oxygen_sensor_heater, egr_or_valve_timing; \
             not complete: evaporative_system, oxygen_sensor"
        );
        assert_eq!(
            told(&[0x7F, 0x31, 0x78]),
            "RoutineControl (31) is still working, answer pending (78)"
        );
    }
}
