//! What proves a routine's end (ISO 14229-1 `RoutineControl`).

use chrono::TimeDelta;
use domain::verdict::Verdict;

use super::board::Board;
use super::said::Said;
use super::{Ask, words};
use crate::refusal::RESPONSE_PENDING;
use crate::sample::{Kind, RoutineAnswer, Sample};

/// The statement by which a person who read the status record says that it means passed, for procedures whose
/// pass pattern is not published.
pub const STATUS_ATTESTATION: &str = "routine_status_passed";

const ROUTINE_CONTROL: u8 = 0x31;

/// The routine ended with its results (`71 03`) and they match.
pub(super) fn ended(
    board: &Board,
    ask: Ask,
    identifier: Option<&str>,
    passes: Option<&str>,
) -> Said {
    let wanted = identifier.or(board.window.routine.as_deref());
    let of = wanted.map(|id| format!(" of routine {id}")).unwrap_or_default();
    let bytes = wanted.and_then(|id| id.split_at_checked(2));
    let bytes = bytes.map(|(high, low)| format!(" {high} {low}")).unwrap_or_default();
    let then = passes.map(|pattern| format!(", then {pattern}")).unwrap_or_default();
    let accepts = format!("frame (uds) that begins 71 03{bytes}{then}");
    let unverified = ask.precondition.unverified_allowed;
    let answers = || board.counted(unverified).rev();
    let answer = answers().find_map(|sample| match &sample.kind {
        Kind::Routine { identifier, sub, status } if is_wanted(wanted, identifier) => {
            Some((sample, *sub, status.as_str()))
        }
        _ => None,
    });
    let refused = answers().find_map(|sample| match sample.kind {
        Kind::Refused { service: ROUTINE_CONTROL, nrc } => Some((sample, nrc)),
        _ => None,
    });
    let said = |verdict, detail: String, by: &Sample| {
        Said::new(verdict, detail).resting_on([by.id]).accepting(accepts.clone())
    };
    // Within one moment an answer ends the waiting, and a refusal speaks against an answer.
    let after = |(sample, nrc): &(&Sample, u8)| {
        answer.is_none_or(|(last, _, _)| {
            let same = sample.taken_at == last.taken_at && *nrc != RESPONSE_PENDING;
            same || sample.taken_at > last.taken_at
        })
    };
    if let Some((sample, nrc)) = refused.filter(after) {
        let told = words::refused(ROUTINE_CONTROL, nrc, sample.taken_at);
        return if nrc == RESPONSE_PENDING {
            said(Verdict::Missing, format!("the routine still runs: {told}"), sample)
        } else {
            said(Verdict::Violated, format!("the control module refused with {told}"), sample)
        };
    }
    let Some((sample, sub, status)) = answer else {
        let other = answers().find(|sample| matches!(sample.kind, Kind::Routine { .. }));
        let detail = match other.map(|sample| &sample.kind) {
            Some(Kind::Routine { identifier, .. }) => {
                format!("only routine {identifier} answered, needs the results{of}")
            }
            _ => format!("the results{of} were not shown"),
        };
        let missing = Said::new(Verdict::Missing, detail).accepting(accepts);
        return missing.resting_on(other.map(|sample| sample.id));
    };
    match sub {
        RoutineAnswer::Started => {
            let detail = "the routine was accepted (71 01), which is not its end".to_owned();
            return said(Verdict::Missing, detail, sample);
        }
        RoutineAnswer::Stopped => {
            let detail = "the routine was stopped (71 02), its results were not shown".to_owned();
            return said(Verdict::Missing, detail, sample);
        }
        RoutineAnswer::Results => {}
    }
    let age = board.window.now - sample.taken_at;
    let limit = ask.precondition.max_age.map(|limit| TimeDelta::seconds(limit.into()));
    if let Some(limit) = limit.filter(|limit| age > *limit) {
        let (age, limit) = (words::seconds(age), words::seconds(limit));
        let detail = format!("the results are {age} old, needs at most {limit}");
        return said(Verdict::Stale, detail, sample);
    }
    let Some(pattern) = passes else {
        let read = read_by_a_person(board, sample, status, accepts);
        return read.while_fresh(sample.taken_at, limit);
    };
    let judged = if begins_with(status, pattern) {
        said(Verdict::Met, format!("the results{of} are {status}"), sample)
    } else {
        let detail = format!("the results{of} are {status}, needs {pattern}");
        said(Verdict::Violated, detail, sample)
    };
    judged.while_fresh(sample.taken_at, limit)
}

/// Without a pass pattern a person's word on the status counts, given after the results were taken.
fn read_by_a_person(board: &Board, results: &Sample, status: &str, accepts: String) -> Said {
    let word = board.counted(true).rev().find_map(|sample| match &sample.kind {
        Kind::Attested { statement, holds, .. }
            if statement == STATUS_ATTESTATION && sample.taken_at >= results.taken_at =>
        {
            Some((sample, *holds))
        }
        _ => None,
    });
    let shown = format!("the results are {status}");
    let said = match word {
        Some((_, true)) => Said::new(Verdict::Met, format!("{shown}, read as passed by a person")),
        Some((_, false)) => {
            Said::new(Verdict::Violated, format!("{shown}, read as not passed by a person"))
        }
        None => Said::new(
            Verdict::Missing,
            format!("{shown}, needs a person's word that this means passed"),
        ),
    };
    said.resting_on([results.id])
        .resting_on(word.map(|(sample, _)| sample.id))
        .accepting(accepts)
        .accepting(format!("attestation `{STATUS_ATTESTATION}` after the results"))
}

fn is_wanted(wanted: Option<&str>, given: &str) -> bool {
    wanted.is_none_or(|wanted| wanted.eq_ignore_ascii_case(given))
}

/// Whether a status record begins with a pattern of hex digits, `.` being any digit.
fn begins_with(status: &str, pattern: &str) -> bool {
    let (status, pattern) = (status.as_bytes(), pattern.as_bytes());
    status.len() >= pattern.len()
        && pattern.iter().zip(status).all(|(p, s)| *p == b'.' || p.eq_ignore_ascii_case(s))
}
