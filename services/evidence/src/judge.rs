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
use said::Said;

/// The stretch of time that is judged, and what else the verdict depends on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// When the task was taken: evidence from before does not count.
    pub attempt_from: DateTime<Utc>,
    /// When it was started, if it was.
    pub running_from: Option<DateTime<Utc>>,
    /// The present moment.
    pub now: DateTime<Utc>,
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

/// Every signal that the preconditions speak of; readings of others are kept, marked `not_asked`.
pub fn asked(preconditions: &[Precondition]) -> BTreeSet<String> {
    let mut signals = BTreeSet::new();
    for one in preconditions {
        for condition in std::iter::once(&one.condition).chain(&one.while_running) {
            each_leaf(condition, &mut |leaf| match leaf {
                Condition::Range(range) => drop(signals.insert(range.signal.clone())),
                Condition::State { signal, .. } => drop(signals.insert(signal.clone())),
                Condition::Elapsed { since, .. } => {
                    signals.extend(elapsed::state_of(since).map(|(signal, _)| signal.to_owned()));
                }
                _ => {}
            });
        }
    }
    signals
}

/// How far back numbers and states are needed to judge as of `now`, besides the last of each signal and place
/// before that, and all else.
///
/// What must hold throughout needs the run as a whole once. A caller that keeps the moment at which a precondition
/// was last met in [`Phase::Running`] may pass that moment as `running_from`: the verdict is the same, and no
/// reading from before the horizon is needed again. When a reading arrives that was taken before that moment, the
/// moment is set back to where it was before.
pub fn horizon(preconditions: &[Precondition], now: DateTime<Utc>) -> DateTime<Utc> {
    let longest = preconditions.iter().flat_map(|one| {
        let mut spans = Vec::new();
        for condition in std::iter::once(&one.condition).chain(&one.while_running) {
            each_leaf(condition, &mut |leaf| {
                if let Condition::Range(domain::precondition::Range { signal, .. })
                | Condition::State { signal, .. } = leaf
                {
                    let gap = Signal::of_name(signal).map_or(0, |signal| signal.allowed_gap);
                    let age = one.max_age.unwrap_or(gap);
                    spans.push(i64::from(one.hold_for) + i64::from(gap) + i64::from(age));
                }
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
        Condition::Any(parts) => Said::any(each(parts)),
    }
}

fn each_leaf(condition: &Condition, tell: &mut impl FnMut(&Condition)) {
    match condition {
        Condition::All(parts) | Condition::Any(parts) => {
            for part in parts {
                each_leaf(part, tell);
            }
        }
        leaf => tell(leaf),
    }
}

fn add(contradiction: &mut Option<String>, more: String) {
    *contradiction = Some(match contradiction.take() {
        Some(told) => format!("{told}; {more}"),
        None => more,
    });
}
