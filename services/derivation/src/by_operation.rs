//! What reacts to operations, found by going up from a component through its parents without hashing.

use domain::operation::OperationPattern;

use crate::index::Interned;
use crate::symbols::{Symbol, Symbols};

/// Things by the operations that they react to.
#[derive(Debug)]
pub(crate) struct ByOperation<T> {
    /// By component.
    here: Vec<Reacting<T>>,
}

/// What reacts to operations on one component.
#[derive(Debug)]
struct Reacting<T> {
    to_any_action: Vec<T>,
    /// Few actions each.
    to_action: Vec<(Symbol, Vec<T>)>,
}

impl<T> Default for ByOperation<T> {
    fn default() -> Self {
        Self { here: Vec::new() }
    }
}

impl<T> Default for Reacting<T> {
    fn default() -> Self {
        Self { to_any_action: Vec::new(), to_action: Vec::new() }
    }
}

impl<T: Copy + PartialEq> ByOperation<T> {
    pub(crate) fn add(&mut self, symbols: &Symbols, pattern: &OperationPattern, what: T) {
        let Some(component) = symbols.get(&pattern.component) else { return };
        let component = component as usize;
        if self.here.len() <= component {
            self.here.resize_with(component + 1, Reacting::default);
        }
        let here = &mut self.here[component];
        if pattern.actions.is_empty() {
            push_once(&mut here.to_any_action, what);
        }
        for action in pattern.actions.iter().filter_map(|action| symbols.get(action)) {
            let at =
                here.to_action.iter().position(|(one, _)| *one == action).unwrap_or_else(|| {
                    here.to_action.push((action, Vec::new()));
                    here.to_action.len() - 1
                });
            push_once(&mut here.to_action[at].1, what);
        }
    }

    /// Whether anything names this component itself.
    pub(crate) fn names(&self, component: Symbol) -> bool {
        let here = self.here.get(component as usize);
        here.is_some_and(|here| !here.to_any_action.is_empty() || !here.to_action.is_empty())
    }

    /// The actions on this component itself that something names.
    pub(crate) fn actions(&self, component: Symbol) -> impl Iterator<Item = Symbol> + '_ {
        let here = self.here.get(component as usize).map_or(&[][..], |here| &here.to_action);
        here.iter().map(|(action, _)| *action)
    }

    /// Everything that reacts to this operation on this component or one of its parents.
    pub(crate) fn of<'s>(
        &'s self,
        symbols: &'s Symbols,
        operation: Interned,
    ) -> impl Iterator<Item = T> + 's {
        symbols
            .and_parents(operation.component)
            .filter_map(|component| self.here.get(component as usize))
            .flat_map(move |here| {
                let named = here.to_action.iter().find(|(action, _)| *action == operation.action);
                here.to_any_action.iter().chain(named.map_or(&[][..], |(_, list)| list)).copied()
            })
    }
}

fn push_once<T: PartialEq>(list: &mut Vec<T>, what: T) {
    if list.last() != Some(&what) {
        list.push(what);
    }
}
