//! What people say and attach.

use chrono::TimeDelta;
use domain::verdict::Verdict;

use super::board::Board;
use super::said::{SECOND_PERSON, Said};
use super::{Ask, words};
use crate::sample::{Kind, Sample};

/// A person attests it; the last word counts, and a "no" counts whoever says it.
pub(super) fn statement(board: &Board, ask: Ask, statement: &str, second: bool) -> Said {
    let who = if second { SECOND_PERSON } else { super::said::TECHNICIAN };
    let by = if second { " by a second person" } else { "" };
    let accepts = format!("attestation `{statement}`{by}");
    let said = |said: Said| Said { who, ..said.accepting(accepts.clone()) };
    let speaks: Vec<(&Sample, bool)> = board
        .counted(true)
        .filter_map(|sample| match &sample.kind {
            Kind::Attested { statement: of, holds, second_person, by } if of == statement => {
                let another = *second_person && board.window.holder.as_ref() != Some(by);
                (!holds || !second || another).then_some((sample, *holds))
            }
            _ => None,
        })
        .collect();
    let from = board.window.running_from.unwrap_or(board.window.attempt_from);
    let denied = speaks.iter().rposition(|(_, holds)| !holds);
    let broken = denied
        .filter(|&at| at + 1 == speaks.len() || (ask.throughout && speaks[at].0.taken_at >= from));
    if let Some((no, _)) = broken.map(|at| speaks[at]) {
        let at = words::time(no.taken_at);
        let detail = format!("`{statement}` was denied at {at}");
        return said(Said::new(Verdict::Violated, detail).resting_on([no.id]));
    }
    let Some((latest, _)) = speaks.last() else {
        let detail = format!("`{statement}` is not attested{by}");
        return said(Said::new(Verdict::Missing, detail));
    };
    let age = board.window.now - latest.taken_at;
    let precondition = ask.precondition;
    if let Some(limit) = precondition.max_age.filter(|limit| age > secs(*limit)) {
        let age = words::seconds(age);
        let detail = format!("`{statement}` was attested {age} ago, needs at most {limit} s");
        return said(Said::new(Verdict::Stale, detail).resting_on([latest.id]));
    }
    let since = speaks[denied.map_or(0, |at| at + 1)].0;
    let held = board.window.now - since.taken_at;
    let wanted = secs(precondition.hold_for);
    if !ask.throughout && held < wanted {
        let detail = format!(
            "`{statement}` is attested for {} of {}",
            words::seconds(held),
            words::seconds(wanted)
        );
        let short = Said::new(Verdict::Missing, detail).resting_on([since.id]);
        let held_at = since.taken_at + wanted;
        return said(Said { wait: words::wait(wanted - held), ..short }.until(held_at));
    }
    let met = Said::new(Verdict::Met, format!("`{statement}` is attested"));
    said(met.while_fresh(latest.taken_at, precondition.max_age.map(secs)).resting_on([latest.id]))
}

/// A file is attached.
pub(super) fn attachment(board: &Board, ask: Ask, shows: &str) -> Said {
    let file = board.counted(true).rfind(
        |sample| matches!(&sample.kind, Kind::Attachment { shows: what, .. } if what == shows),
    );
    let said = match file {
        None => Said::new(Verdict::Missing, format!("no file shows `{shows}`")),
        Some(file) => {
            let age = board.window.now - file.taken_at;
            let limit = ask.precondition.max_age.filter(|limit| age > secs(*limit));
            let said = match limit {
                Some(limit) => {
                    let age = words::seconds(age);
                    let detail = format!("`{shows}` is {age} old, needs at most {limit} s");
                    Said::new(Verdict::Stale, detail)
                }
                None => Said::new(Verdict::Met, format!("a file shows `{shows}`"))
                    .while_fresh(file.taken_at, ask.precondition.max_age.map(secs)),
            };
            said.resting_on([file.id])
        }
    };
    said.accepting(format!("attachment that shows `{shows}`"))
}

fn secs(seconds: u32) -> TimeDelta {
    TimeDelta::seconds(seconds.into())
}
