//! What a draft of a catalogue would change on open orders.

use crate::compare::{Begun, Changes, Held, compare};
use crate::derive::derive;
use crate::index::Compiled;
use crate::repair::Repair;

/// An open order as it stands.
#[derive(Debug, Clone)]
pub struct OpenOrder<'a, I, T> {
    /// What the caller knows it by.
    pub id: I,
    /// What a derivation starts from.
    pub repair: Repair<'a>,
    /// Its tasks.
    pub held: &'a [Held<T>],
    /// What was begun on its vehicle.
    pub begun: &'a [Begun<T>],
}

/// The orders whose tasks would change, in the given order, with what would change.
pub fn impact<'a, I: Clone, T: Ord + 'a>(
    draft: &Compiled,
    orders: impl IntoIterator<Item = OpenOrder<'a, I, T>>,
) -> Vec<(I, Changes)> {
    orders
        .into_iter()
        .map(|order| {
            let derivation = derive(draft, &order.repair);
            (order.id.clone(), compare(draft, order.held, &derivation, order.begun))
        })
        .filter(|(_, changes)| !changes.is_none())
        .collect()
}
