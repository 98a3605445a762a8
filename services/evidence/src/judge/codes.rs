//! Trouble codes: none that matters, or at least on record.

use chrono::{DateTime, TimeDelta, Utc};
use domain::precondition::Condition;
use domain::verdict::Verdict;

use super::board::Board;
use super::said::Said;
use super::{Ask, cleared, words};
use crate::intake::CODES_NOT_READABLE;
use crate::refusal;
use crate::sample::{Code, CodeList, Kind, Sample};

/// Several control modules answer one request for codes; answers so close together are one reading.
const ONE_READING: TimeDelta = TimeDelta::seconds(5);

const FRAMES: &str = "frame (obd) that begins 43, or (uds) that begins 59 02 or 59 0A";

/// Whether a code matches a pattern: `x` is any character; without a failure type the pattern matches every one.
pub fn matches(pattern: &str, code: &str) -> bool {
    let code = if pattern.contains('-') { code } else { code.split('-').next().unwrap_or(code) };
    pattern.len() == code.len()
        && pattern
            .bytes()
            .zip(code.bytes())
            .all(|(p, c)| p.eq_ignore_ascii_case(&b'x') || p.eq_ignore_ascii_case(&c))
}

/// Whether two spellings are one code: a list without failure types names all of them.
pub(super) fn same(one: &str, other: &str) -> bool {
    matches(one, other) || matches(other, one)
}

/// A list of codes read in this attempt, after codes were last cleared, holds none that matches.
pub(super) fn none(
    board: &Board,
    ask: Ask,
    wanted: &Condition,
    pattern: &str,
    except: &[String],
) -> Said {
    let said = read(board, ask, pattern, except).accepting(FRAMES);
    let Some(by) = board.refusal(|nrc| refusal::names(nrc, wanted)) else {
        return said;
    };
    let at = by.sample.taken_at;
    let lists = lists(board, ask.precondition.unverified_allowed);
    if lists.iter().any(|list| list.sample.taken_at > at) {
        return said;
    }
    let refused = words::refused(by.service, by.nrc, at);
    let contradiction = (said.verdict == Verdict::Met)
        .then(|| format!("the control module refused with {refused} although no code was read"));
    let detail =
        format!("the control module refused with {refused}; {}; read codes again", said.detail);
    let said = Said {
        verdict: Verdict::Violated,
        detail,
        contradiction,
        changes_at: None,
        by_refusal: true,
        ..said
    };
    said.resting_on([by.sample.id])
}

/// A list of codes is on record, whatever it holds.
pub(super) fn recorded(board: &Board, ask: Ask, or_not_readable: bool) -> Said {
    let lists = lists(board, ask.precondition.unverified_allowed);
    let list = lists.iter().rev().find(|list| list.of != CodeList::Permanent);
    let unreadable = unreadable(board);
    let said = match (list, unreadable) {
        (Some(list), _) => {
            let detail = format!("{} codes are on record", list.codes.len());
            Said::new(Verdict::Met, detail).resting_on([list.sample.id])
        }
        (None, Some((sample, reason))) if or_not_readable => {
            let detail = format!("codes were not readable: {reason}");
            Said::new(Verdict::Met, detail).resting_on([sample.id])
        }
        (None, Some((sample, reason))) => {
            let detail = format!("codes were not readable ({reason}), needs a list");
            Said::new(Verdict::Missing, detail).resting_on([sample.id])
        }
        (None, None) => Said::new(Verdict::Missing, "trouble codes are not on record"),
    };
    let said = said.accepting(FRAMES);
    if or_not_readable {
        said.accepting(format!("attestation `{CODES_NOT_READABLE}` with the reason"))
    } else {
        said
    }
}

pub(super) struct List<'a> {
    pub(super) sample: &'a Sample,
    pub(super) of: CodeList,
    codes: &'a [Code],
}

impl<'a> List<'a> {
    pub(super) fn of(sample: &'a Sample) -> Option<Self> {
        match &sample.kind {
            Kind::Codes { list, codes } => Some(Self { sample, of: *list, codes }),
            _ => None,
        }
    }

    /// The codes that a pattern means, without those that stand in nobody's way.
    pub(super) fn meant<'p>(
        &self,
        pattern: &'p str,
        except: &'p [String],
    ) -> impl Iterator<Item = &'a Code> + use<'a, 'p> {
        let codes: &'a [Code] = self.codes;
        codes.iter().filter(move |code| {
            matches(pattern, &code.code) && !except.iter().any(|but| matches(but, &code.code))
        })
    }
}

fn read(board: &Board, ask: Ask, pattern: &str, except: &[String]) -> Said {
    let unverified = ask.precondition.unverified_allowed;
    let all = lists(board, unverified);
    let cleared = board.counted(true).rfind(|s| matches!(s.kind, Kind::CodesCleared));
    let cleared = cleared.map(|sample| sample.taken_at);
    let fresh = |list: &&List| cleared.is_none_or(|cleared| list.sample.taken_at > cleared);
    let main = |list: &&List| matches!(list.of, CodeList::Stored | CodeList::WithStatus);
    let Some(latest) = all.iter().filter(fresh).rfind(main) else {
        return not_read(board, all.iter().rfind(main), cleared);
    };
    let age = board.window.now - latest.sample.taken_at;
    let limit = ask.precondition.max_age.map(|limit| TimeDelta::seconds(limit.into()));
    if let Some(limit) = limit.filter(|limit| age > *limit) {
        let (age, limit) = (words::seconds(age), words::seconds(limit));
        let detail = format!("codes were read {age} ago, needs at most {limit}");
        return Said::new(Verdict::Stale, detail).resting_on([latest.sample.id]);
    }
    let while_fresh = |said: Said| said.while_fresh(latest.sample.taken_at, limit);
    let current: Vec<&List> =
        all.iter().filter(fresh).filter(|list| is_current(list, &all)).collect();
    let of = |permanent: bool, test: &dyn Fn(&Code) -> bool| {
        let lists =
            current.iter().filter(move |list| (list.of == CodeList::Permanent) == permanent);
        let codes = lists.flat_map(|list| list.meant(pattern, except)).filter(|code| test(code));
        let mut names: Vec<&str> = codes.map(|code| code.code.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
    };
    let present = of(false, &Code::is_present);
    let untested = of(false, &Code::is_untested);
    let permanent = of(true, &|_| true);
    let ids = || current.iter().map(|list| list.sample.id);
    if !present.is_empty() {
        let detail = format!("{} is present, needs no {pattern}", present.join(", "));
        return while_fresh(Said::new(Verdict::Violated, detail)).resting_on(ids());
    }
    let one_code = !pattern.contains(['x', 'X']);
    let mut owed = cleared::untested(board, unverified, pattern, except);
    if one_code {
        let listed = untested.iter().filter(|code| !owed.iter().any(|(one, _)| same(one, code)));
        owed.extend(listed.map(|code| (*code, None)).collect::<Vec<_>>());
    }
    if !owed.is_empty() {
        let names: Vec<&str> = owed.iter().map(|(code, _)| *code).collect();
        let detail = format!(
            "not tested yet since it was cleared: {}; needs a status that says tested",
            names.join(", ")
        );
        let read = owed.iter().filter_map(|(_, read)| read.map(|sample| sample.id));
        return while_fresh(Said::new(Verdict::Missing, detail)).resting_on(ids()).resting_on(read);
    }
    let mut detail = format!("no code {pattern} was read");
    if !except.is_empty() {
        detail = format!("{detail} besides {}", except.join(", "));
    }
    if !untested.is_empty() {
        detail = format!("{detail}; not tested yet: {}", untested.join(", "));
    }
    if !permanent.is_empty() {
        let names = permanent.join(", ");
        detail = format!("{detail}; permanent until its monitor has run: {names}");
    }
    while_fresh(Said::new(Verdict::Met, detail)).resting_on(ids())
}

fn not_read(board: &Board, before: Option<&List>, cleared: Option<DateTime<Utc>>) -> Said {
    if let (Some(list), Some(cleared)) = (before, cleared) {
        let at = words::time(cleared);
        let detail = format!("codes were cleared at {at}, after the list was read; read it again");
        return Said::new(Verdict::Stale, detail).resting_on([list.sample.id]);
    }
    match unreadable(board) {
        Some((sample, reason)) => {
            let detail = format!("codes were not readable ({reason}), needs a list");
            Said::new(Verdict::Missing, detail).resting_on([sample.id])
        }
        None => Said::new(Verdict::Missing, "no list of stored codes was read"),
    }
}

/// Whether a list belongs to the last reading of its kind.
fn is_current(list: &List, all: &[List]) -> bool {
    let latest = all.iter().rfind(|other| other.of == list.of);
    latest.is_some_and(|latest| latest.sample.taken_at - list.sample.taken_at <= ONE_READING)
}

fn lists<'a>(board: &Board<'a>, unverified: bool) -> Vec<List<'a>> {
    board.counted(unverified).filter_map(List::of).collect()
}

fn unreadable<'a>(board: &Board<'a>) -> Option<(&'a Sample, &'a str)> {
    board.counted(true).rev().find_map(|sample| match &sample.kind {
        Kind::CodesNotReadable { reason } => Some((sample, reason.as_str())),
        _ => None,
    })
}
