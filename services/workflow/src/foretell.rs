//! What deriving an order with another catalogue would change. Deriving anew does the same.

use std::collections::{BTreeSet, HashSet};

use chrono::{DateTime, Utc};
use derivation::compare::{Held, Key, compare, disturbs};
use derivation::derive;
use derivation::index::Compiled;
use derivation::repair::Repair;
use domain::lifecycle::{LineState, TaskState};
use domain::operation::Operation;
use store::lines::LineRow;
use store::tasks::HeldRow;

use crate::checks;
use crate::derive::is_untried;
use crate::disturbance::operations_of_line;

/// What would change on one order.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Foretold {
    pub(crate) adds: Vec<Key>,
    pub(crate) withdraws: Vec<Key>,
    pub(crate) disturbs: Vec<Key>,
    pub(crate) revises: Vec<Key>,
    pub(crate) unknown: Vec<String>,
    pub(crate) asks: Vec<String>,
}

/// The catalogue that an order has, and the one that is tried.
pub(crate) struct Pair<'c> {
    pub(crate) old: &'c Compiled,
    pub(crate) new: &'c Compiled,
    /// Procedures that the two word differently.
    reworded: HashSet<&'c str>,
}

impl<'c> Pair<'c> {
    pub(crate) fn new(old: &'c Compiled, new: &'c Compiled) -> Self {
        let known: std::collections::HashMap<&str, _> =
            old.catalogue().procedures.iter().map(|p| (p.id.as_str(), p)).collect();
        let reworded = new
            .catalogue()
            .procedures
            .iter()
            .filter(|procedure| {
                known.get(procedure.id.as_str()).is_some_and(|old| *old != *procedure)
            })
            .map(|procedure| procedure.id.as_str())
            .collect();
        Self { old, new, reworded }
    }

    /// What the new catalogue would change; `pending` are the questions that are open or waived.
    pub(crate) fn foretell(
        &self,
        repair: &Repair<'_>,
        tasks: &[HeldRow],
        lines: &[LineRow],
        pending: &BTreeSet<String>,
    ) -> Foretold {
        let disturbs = self.undone(tasks, lines);
        let mut live: Vec<&HeldRow> = tasks.iter().filter(|task| lives(task.state)).collect();
        live.sort_by(|a, b| (&a.procedure, &a.place).cmp(&(&b.procedure, &b.place)));
        let held: Vec<Held<DateTime<Utc>>> =
            live.iter().map(|task| Held { key: key(task), passed_at: passed_at(task) }).collect();
        let derivation = derive::derive(self.new, repair);
        let changes = compare(self.new, &held, &derivation, &[]);
        // What was decided to be left undone is not taken back.
        let waived = |key: &Key| {
            live.iter().any(|task| task.state == TaskState::Waived && self::key(task) == *key)
        };
        let untried = |key: &Key| {
            live.iter().any(|task| is_untried(task.state, task.attempt) && self::key(task) == *key)
        };
        let required = |wanted: &Key| {
            derivation.tasks.iter().any(|task| {
                task.required
                    && task.procedure.id == wanted.procedure
                    && task.place == wanted.place.as_deref()
            })
        };
        let mut asks: Vec<String> = derivation
            .questions
            .iter()
            .filter(|asked| !pending.contains(&asked.asks))
            .map(|asked| asked.asks.clone())
            .collect();
        asks.sort_unstable();
        Foretold {
            adds: changes.added,
            withdraws: changes.withdrawn.into_iter().filter(|key| !waived(key)).collect(),
            revises: changes
                .kept
                .into_iter()
                .filter(|key| self.reworded.contains(key.procedure.as_str()))
                .filter(|key| untried(key) && required(key))
                .collect(),
            disturbs,
            unknown: self.unknown(lines).into_iter().map(|(_, words)| words).collect(),
            asks,
        }
    }

    /// Operations of lines that only the new catalogue does not know: the line, and the words. Deriving without them would
    /// miss what they make necessary.
    pub(crate) fn unknown(&self, lines: &[LineRow]) -> Vec<(i32, String)> {
        let mut unknown = Vec::new();
        for line in lines.iter().filter(|line| line.state != LineState::Removed) {
            for operation in operations_of_line(line) {
                let known = |catalogue| checks::operation(catalogue, &operation, "").is_empty();
                if !known(self.new) && known(self.old) {
                    unknown
                        .push((line.line, format!("{} {}", operation.action, operation.component)));
                }
            }
        }
        unknown
    }

    /// Passed tasks that something begun since has undone, as only the new catalogue says. What the old one says too was
    /// judged when it happened.
    pub(crate) fn undone(&self, tasks: &[HeldRow], lines: &[LineRow]) -> Vec<Key> {
        let begun = begun(tasks, lines);
        let mut undone: Vec<Key> = tasks
            .iter()
            .filter_map(|task| Some((key(task), passed_at(task)?)))
            .filter(|(key, passed_at)| {
                let later = begun
                    .iter()
                    .filter(|one| one.at > *passed_at && one.task.as_ref() != Some(key));
                later.flat_map(|one| &one.operations).any(|operation| {
                    disturbs(self.new, operation, key) && !disturbs(self.old, operation, key)
                })
            })
            .map(|(key, _)| key)
            .collect();
        undone.sort_unstable();
        undone
    }
}

/// Something that was begun on the vehicle.
struct Begun {
    at: DateTime<Utc>,
    task: Option<Key>,
    operations: Vec<Operation>,
}

fn begun(tasks: &[HeldRow], lines: &[LineRow]) -> Vec<Begun> {
    let of_lines = lines.iter().filter_map(|line| {
        // What another business did counts from the vehicle's return.
        let at = if line.sublet.is_some() { line.finished_at } else { line.started_at };
        Some(Begun { at: at?, task: None, operations: operations_of_line(line) })
    });
    let of_tasks = tasks.iter().filter(|task| !task.emits.is_empty()).filter_map(|task| {
        let (at, operations) = (task.started_at?, task.emits.clone());
        Some(Begun { at, task: Some(key(task)), operations })
    });
    of_lines.chain(of_tasks).collect()
}

fn lives(state: TaskState) -> bool {
    !matches!(state, TaskState::Withdrawn | TaskState::Disturbed)
}

fn passed_at(task: &HeldRow) -> Option<DateTime<Utc>> {
    task.ended_at.filter(|_| task.state == TaskState::Passed)
}

fn key(task: &HeldRow) -> Key {
    let place = Some(task.place.clone()).filter(|place| !place.is_empty());
    Key { procedure: task.procedure.clone(), place }
}
