//! What a new derivation changes for the tasks that an order has.

use domain::operation::Operation;

use crate::derive::Derivation;
use crate::index::{Compiled, Interned};

/// A task that an order has. `T` is any measure of time that rises.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held<T> {
    /// Procedure and place.
    pub key: Key,
    /// When it passed, if it did.
    pub passed_at: Option<T>,
}

/// What tells one task of an order from another.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// The procedure.
    pub procedure: String,
    /// Where on the vehicle.
    pub place: Option<String>,
}

/// Something that was begun on the vehicle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Begun<T> {
    /// When.
    pub at: T,
    /// The task that it is, if it is one: nothing undoes itself.
    pub task: Option<Key>,
    /// What is done.
    pub operations: Vec<Operation>,
}

/// What changes; each list ascending, each task in one list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Changes {
    /// It stays, with its evidence. A passed task stays even when nothing requires it any more.
    pub kept: Vec<Key>,
    /// It is new.
    pub added: Vec<Key>,
    /// It is no longer required, and had not passed.
    pub withdrawn: Vec<Key>,
    /// It had passed and was undone since; if it is still required, a new task takes its place.
    pub disturbed: Vec<Key>,
}

impl Changes {
    /// Whether all stays as it is.
    pub fn is_none(&self) -> bool {
        self.added.is_empty() && self.withdrawn.is_empty() && self.disturbed.is_empty()
    }
}

/// Compares the tasks that an order has with what is derived now. What would be disturbed on some vehicle counts as
/// disturbed: `begun` lists everything that started, in any order.
pub fn compare<T: Ord>(
    compiled: &Compiled,
    held: &[Held<T>],
    derivation: &Derivation<'_>,
    begun: &[Begun<T>],
) -> Changes {
    let mut wanted: Vec<(Key, bool)> = derivation
        .tasks
        .iter()
        .map(|task| {
            let (procedure, place) = (task.procedure.id.clone(), task.place.map(str::to_owned));
            (Key { procedure, place }, task.required)
        })
        .collect();
    wanted.sort_unstable();
    let mut changes = Changes::default();
    for task in held {
        let is_wanted = wanted.binary_search_by(|(key, _)| key.cmp(&task.key)).is_ok();
        let list = match &task.passed_at {
            Some(passed_at) if undone(compiled, &task.key, passed_at, begun) => {
                &mut changes.disturbed
            }
            Some(_) => &mut changes.kept,
            None if is_wanted => &mut changes.kept,
            None => &mut changes.withdrawn,
        };
        list.push(task.key.clone());
    }
    // What is undetermined stays where it is, and is not there before it is required.
    changes.added = wanted
        .into_iter()
        .filter(|(key, required)| *required && held.iter().all(|task| task.key != *key))
        .map(|(key, _)| key)
        .collect();
    for list in [&mut changes.kept, &mut changes.withdrawn, &mut changes.disturbed] {
        list.sort_unstable();
    }
    changes
}

fn undone<T: Ord>(compiled: &Compiled, key: &Key, passed_at: &T, begun: &[Begun<T>]) -> bool {
    begun
        .iter()
        .filter(|one| one.at > *passed_at && one.task.as_ref() != Some(key))
        .flat_map(|one| &one.operations)
        .any(|operation| disturbs(compiled, operation, key))
}

/// Whether an operation, with all that it amounts to, undoes a pass of this task.
pub fn disturbs(compiled: &Compiled, operation: &Operation, key: &Key) -> bool {
    let Some(procedure) = compiled.procedure_id(&key.procedure) else { return false };
    let Some(operation) = compiled.symbols.intern(operation) else { return false };
    let place = key.place.as_ref().and_then(|place| compiled.symbols.get(place));
    let meets = |one: &Interned| place.is_none() || one.place.is_none() || place == one.place;
    compiled
        .amounts_to(operation)
        .into_iter()
        .filter(meets)
        .any(|one| compiled.disturbed.by(one).contains(procedure))
}
