//! The verdicts: what the samples of an attempt say of each precondition or proof, at a moment.
//!
//! A condition is judged on the samples that count: unmarked (or with marks that do not matter), taken in the
//! attempt, not later than now. `max_age`, `hold_for` and `throughout` apply to every leaf of `all` and `any`, so
//! that an alternative must be proven on its own. `max_age` bounds the age of the last reading; `hold_for` wants
//! an unbroken run of readings, as long as that, none further apart than the signal's allowed gap; going on
//! `throughout` wants the same from the start to now. A negative response violates the condition that it names,
//! until that is read again; it is told as a contradiction when readings said otherwise.

mod attested;
mod board;
mod cleared;
pub mod codes;
mod elapsed;
mod measured;
pub mod routine;
mod said;
pub mod series;
mod words;

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use domain::precondition::{Condition, Precondition};
use domain::signal::Signal;
use domain::verdict::{Finding, Verdict};

use board::Board;
pub use elapsed::state_of;
pub use routine::STATUS_ATTESTATION;
use said::Said;
pub use words::number;

/// Moments looked at for one next change; beyond them the last one is told, which is early, never late.
const MOST_ROUNDS: usize = 64;

/// The stretch of time that is judged, and what else the verdict depends on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// When the task was taken: evidence from before does not count.
    pub attempt_from: DateTime<Utc>,
    /// When it was started, if it was.
    pub running_from: Option<DateTime<Utc>>,
    /// The present moment.
    pub now: DateTime<Utc>,
    /// Who holds the task now: their own word is no second person's, whoever held it when they gave it.
    pub holder: Option<String>,
    /// The place that the task is for, when there is one task per place.
    pub place: Option<String>,
    /// The routine identifier that the technician named, four hex digits, for proofs that name none.
    pub routine: Option<String>,
}

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// May it start: every precondition as of now.
    Starting,
    /// Does it go on: what must hold throughout, from the start to now, in its `while_running` form if there is
    /// one; and whatever a negative response has named since.
    Running,
    /// Has it passed: proofs, as of now, on evidence from after the start.
    Finishing,
}

/// The verdict of every precondition that the phase asks for, in their order.
pub fn judge(
    preconditions: &[Precondition],
    samples: &[crate::sample::Sample],
    window: &Window,
    phase: Phase,
) -> Vec<Finding> {
    let board = Board::new(samples, window, phase);
    preconditions.iter().filter_map(|one| finding(&board, one)).collect()
}

/// When time alone next changes one of these verdicts, if no more evidence comes; exact, by judging again then.
pub fn next_change(
    preconditions: &[Precondition],
    samples: &[crate::sample::Sample],
    window: &Window,
    phase: Phase,
) -> Option<DateTime<Utc>> {
    let verdicts = |found: &[Finding]| found.iter().map(|one| one.verdict).collect::<Vec<_>>();
    let mut found = judge(preconditions, samples, window, phase);
    let before = verdicts(&found);
    let mut now = window.now;
    // Each round leaves a moment behind at which one part of a condition changed and the whole did not.
    for _ in 0..MOST_ROUNDS {
        now = found.iter().filter_map(|one| one.changes_at).filter(|at| *at > now).min()?;
        found = judge(preconditions, samples, &Window { now, ..window.clone() }, phase);
        if verdicts(&found) != before {
            return Some(now);
        }
    }
    Some(now)
}

/// Marks a run whose proof says passed while something that must hold throughout was violated: a contradiction,
/// shown on both sides and not resolved.
pub fn confront(running: &mut [Finding], proof: &mut [Finding]) {
    let violated = running.iter_mut().filter(|finding| finding.verdict == Verdict::Violated);
    for broken in violated {
        for passed in proof.iter_mut().filter(|finding| finding.verdict == Verdict::Met) {
            let say =
                |own: &str, other: &Finding| format!("{own} `{}`: {}", other.id, other.detail);
            add(&mut broken.contradiction, say("yet proof says passed,", passed));
            add(&mut passed.contradiction, say("yet while it ran", broken));
        }
    }
}

/// The names of all signals, statements and files that the preconditions speak of; what has another name is kept, marked
/// `not_asked`.
pub fn asked(preconditions: &[Precondition]) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for one in preconditions {
        for condition in std::iter::once(&one.condition).chain(&one.while_running) {
            condition.each_leaf(&mut |leaf| match leaf {
                Condition::Range(domain::precondition::Range { signal: name, .. })
                | Condition::State { signal: name, .. }
                | Condition::Attested { statement: name, .. }
                | Condition::Attachment { shows: name } => drop(names.insert(name.clone())),
                Condition::Elapsed { since, .. } => {
                    names.insert(since.clone());
                    names.extend(elapsed::state_of(since).map(|(signal, _)| signal.to_owned()));
                }
                Condition::Routine { .. } => {
                    names.insert(routine::STATUS_ATTESTATION.to_owned());
                }
                _ => {}
            });
        }
    }
    names
}

/// How far back numbers and states are needed to judge as of `now`, besides the last that counts of each signal and
/// place before that, and all else: only holds and waits look further back than the last reading.
///
/// What must hold throughout needs the run as a whole once. A caller that keeps the moment at which a precondition
/// was last met in [`Phase::Running`] may pass that moment as `running_from`: the verdict is the same, and no
/// reading from before the horizon is needed again. When a reading arrives that was taken before that moment, the
/// moment is set back to where it was before.
pub fn horizon(preconditions: &[Precondition], now: DateTime<Utc>) -> DateTime<Utc> {
    let longest = preconditions.iter().flat_map(|one| {
        let mut spans = Vec::new();
        for condition in std::iter::once(&one.condition).chain(&one.while_running) {
            condition.each_leaf(&mut |leaf| match leaf {
                Condition::Range(domain::precondition::Range { signal, .. })
                | Condition::State { signal, .. }
                    if one.hold_for > 0 =>
                {
                    let gap = Signal::of_name(signal).map_or(0, |signal| signal.allowed_gap);
                    let age = one.max_age.unwrap_or(gap);
                    spans.push(i64::from(one.hold_for) + i64::from(age));
                }
                Condition::Elapsed { at_least, .. } => {
                    spans.push(i64::from((*at_least).max(one.max_age.unwrap_or(0))));
                }
                _ => {}
            });
        }
        spans
    });
    now - TimeDelta::seconds(longest.max().unwrap_or(0))
}

/// One precondition, and whether the condition in hand must hold throughout the run.
#[derive(Clone, Copy)]
struct Ask<'a> {
    precondition: &'a Precondition,
    throughout: bool,
}

fn finding(board: &Board, precondition: &Precondition) -> Option<Finding> {
    let goes_on = precondition.throughout || precondition.while_running.is_some();
    let running = board.phase == Phase::Running;
    let ask = Ask { precondition, throughout: running && goes_on };
    let wanted = precondition.while_running.as_ref().filter(|_| running);
    let said = condition(board, ask, wanted.unwrap_or(&precondition.condition));
    let told = !running || goes_on || said.by_refusal;
    told.then(|| said.finding(&precondition.id, &precondition.text))
}

fn condition(board: &Board, ask: Ask, wanted: &Condition) -> Said {
    let each = |parts: &[Condition]| parts.iter().map(|part| condition(board, ask, part)).collect();
    match wanted {
        Condition::Range(range) => measured::range(board, ask, wanted, range),
        Condition::State { signal, is } => measured::state(board, ask, wanted, signal, is),
        Condition::Attested { statement, second_person } => {
            attested::statement(board, ask, statement, *second_person)
        }
        Condition::NoCode { pattern, except } => codes::none(board, ask, wanted, pattern, except),
        Condition::Elapsed { since, at_least } => {
            elapsed::since(board, ask, wanted, since, *at_least)
        }
        Condition::Routine { identifier, passes } => {
            routine::ended(board, ask, identifier.as_deref(), passes.as_deref())
        }
        Condition::CodesRecorded { or_not_readable } => {
            codes::recorded(board, ask, *or_not_readable)
        }
        Condition::Attachment { shows } => attested::attachment(board, ask, shows),
        Condition::All(parts) => Said::all(each(parts)),
        // While it runs, an alternative that nobody showed is no way out for one that was shown and broken.
        Condition::Any(parts) if ask.throughout => Said::any(shown(each(parts))),
        Condition::Any(parts) => Said::any(each(parts)),
    }
}

/// The alternatives that rest on evidence; all of them when none does.
fn shown(parts: Vec<Said>) -> Vec<Said> {
    let (shown, other): (Vec<Said>, Vec<Said>) =
        parts.into_iter().partition(|part| !part.evidence.is_empty());
    if shown.is_empty() { other } else { shown }
}

fn add(contradiction: &mut Option<String>, more: String) {
    *contradiction = Some(match contradiction.take() {
        Some(told) => format!("{told}; {more}"),
        None => more,
    });
}
