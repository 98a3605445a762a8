//! Time since something: elapsed seconds between instants, never a difference of wall clocks.

use chrono::{DateTime, TimeDelta, Utc};
use domain::precondition::Condition;
use domain::signal::{self, Values};
use domain::verdict::Verdict;

use super::board::Board;
use super::said::Said;
use super::{Ask, words};
use crate::refusal;
use crate::sample::{Kind, Mark, Sample};

/// At least so many seconds have passed since something was attested or a signal reached a state.
///
/// Only contrary evidence starts the time anew. The event may lie before the attempt (an adhesive that cures
/// while the task waits); its time is told.
pub(super) fn since(
    board: &Board,
    ask: Ask,
    wanted: &Condition,
    since: &str,
    at_least: u32,
) -> Said {
    let accepts = match state_of(since) {
        Some((signal, word)) => format!("reading of {signal}: {word}"),
        None => format!("attestation `{since}`"),
    };
    let events = events(board, since);
    let first = events.iter().rposition(|(_, holds)| !holds).map_or(0, |at| at + 1);
    let Some((event, _)) = events.get(first) else {
        let said = match events.last() {
            Some((no, _)) => Said::new(Verdict::Violated, format!("`{since}` was last denied"))
                .resting_on([no.id]),
            None => Said::new(Verdict::Missing, format!("`{since}` was not shown")),
        };
        return said.accepting(accepts);
    };
    let now = board.window.now;
    let at = words::time(event.taken_at);
    let said = |said: Said| said.resting_on([event.id]).accepting(accepts.clone());
    let passed = now - event.taken_at;
    if let Some(by) = board.refusal(|nrc| refusal::names(nrc, wanted))
        && let Some(left) = left(by.sample.taken_at, at_least, now)
    {
        let refused = words::refused(by.service, by.nrc, by.sample.taken_at);
        let mut waits = Said::new(
            Verdict::Violated,
            format!("the control module refused with {refused}; wait {at_least} s from then"),
        );
        waits.wait = Some(left);
        waits.changes_at = Some(by.sample.taken_at + TimeDelta::seconds(at_least.into()));
        waits.by_refusal = true;
        if self::left(event.taken_at, at_least, by.sample.taken_at).is_none() {
            waits.contradiction = Some(format!(
                "the control module refused with {refused} although {at_least} s had passed since `{since}` at {at}"
            ));
        }
        return said(waits).resting_on([by.sample.id]);
    }
    let so_far = words::seconds(passed);
    if let Some(left) = left(event.taken_at, at_least, now) {
        let detail = format!("`{since}` for {so_far} since {at}, needs {at_least} s");
        let over = event.taken_at + TimeDelta::seconds(at_least.into());
        let waits = Said { wait: Some(left), ..Said::new(Verdict::Violated, detail) };
        return said(waits.until(over));
    }
    let too_old = |age: &u32| passed > TimeDelta::seconds((*age).into());
    if let Some(age) = ask.precondition.max_age.filter(too_old) {
        let detail = format!("`{since}` was {so_far} ago, at {at}, needs at most {age} s");
        return said(Said::new(Verdict::Stale, detail));
    }
    let limit = ask.precondition.max_age.map(|age| TimeDelta::seconds(age.into()));
    let met = Said::new(Verdict::Met, format!("`{since}` for {so_far} since {at}"));
    said(met.while_fresh(event.taken_at, limit))
}

/// The signal and state that a name such as `engine_off` stands for.
pub fn state_of(name: &str) -> Option<(&'static str, &'static str)> {
    signal::TABLE.iter().find_map(|signal| {
        let rest = name.strip_prefix(signal.name)?.strip_prefix('_')?;
        match signal.values {
            Values::Words(words) => {
                words.iter().find(|word| **word == rest).map(|word| (signal.name, *word))
            }
            Values::Number { .. } => None,
        }
    })
}

/// Everything that says yes or no to it, in order of time.
fn events<'a>(board: &Board<'a>, since: &str) -> Vec<(&'a Sample, bool)> {
    let attested = board.rest().filter_map(|sample| match &sample.kind {
        Kind::Attested { statement, holds, .. } if statement == since => Some((sample, *holds)),
        _ => None,
    });
    let state = state_of(since);
    let series = state.into_iter().flat_map(|(signal, _)| board.series(signal, None));
    let states = series.filter_map(|sample| match (&sample.kind, state) {
        (Kind::State { is, .. }, Some((_, word))) => Some((sample, is == word)),
        _ => None,
    });
    let now = board.window.now;
    let mut all: Vec<(&Sample, bool)> =
        attested.chain(states).filter(|(sample, _)| happened(sample, now)).collect();
    all.sort_by_key(|(sample, _)| (sample.taken_at, sample.received_at, sample.id));
    all
}

/// An event counts wherever it lies in the past; what else speaks against a sample still does.
fn happened(sample: &Sample, now: DateTime<Utc>) -> bool {
    let spoils = |mark: &Mark| *mark != Mark::BeforeAttempt && mark.objection().is_some();
    sample.taken_at <= now && !sample.marks.iter().any(spoils)
}

fn left(from: DateTime<Utc>, seconds: u32, now: DateTime<Utc>) -> Option<u32> {
    words::wait(TimeDelta::seconds(seconds.into()) - (now - from))
}
