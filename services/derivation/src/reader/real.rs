//! Which actions of a piece are work, and what only looks like it.

use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::line::Line;
use crate::reader::piece::{Done, Element, Piece};

impl Line<'_, '_> {
    pub(super) fn is_code(&self, item: &Item) -> bool {
        let text = self.words(item.from, item.to).as_bytes();
        item.what == What::Number
            && matches!(text, [b'P' | b'B' | b'C' | b'U' | b'p' | b'b' | b'c' | b'u', b'0'..=b'3', rest @ ..]
                if rest.len() == 3 && rest.iter().all(u8::is_ascii_hexdigit))
    }

    pub(super) fn is_with(&self, item: &Item) -> bool {
        let words = self.words(item.from, item.to);
        item.means(Meaning::Join) && words.to_lowercase().starts_with('w')
    }

    /// `aim checked`, `headlamp aim checked`, `check headlamp aim`: it says that work was looked at.
    pub(super) fn only_looked_at(&self, items: &[Item]) -> bool {
        let looks = |item: &&Item| {
            item.action().is_some_and(|(action, _)| self.lexicon.actions[usize::from(action)].looks)
        };
        let mut actions = items.iter().filter(|item| item.action().is_some());
        if actions.clone().count() < 2 {
            return false;
        }
        if items.iter().all(|item| item.noun().is_none()) {
            return actions.next_back().as_ref().is_some_and(looks);
        }
        let (Some(first), Some(last)) = (actions.next(), actions.next_back()) else { return false };
        let only = || actions.clone().next().is_none();
        let part_behind = |item: &Item| {
            items.iter().any(|other| other.from > item.from && other.noun().is_some())
        };
        only()
            && !part_behind(last)
            && (looks(&last) && self.names_work(first) && !part_behind(first)
                || looks(&first) && self.names_work(last))
    }

    /// Whether an action is named as a thing: `aim`, `coding`, `replacement`.
    pub(super) fn names_work(&self, item: &Item) -> bool {
        let words = self.words(item.from, item.to).to_lowercase();
        words == "aim" || ["ment", "ion", "ing", "al"].iter().any(|end| words.ends_with(end))
    }

    /// Drops actions that weigh nothing beside others; says whether one is left that does something.
    pub(super) fn keep_real_actions(&self, piece: &mut Piece) -> bool {
        let strong = |done: &Done| {
            let action = &self.lexicon.actions[usize::from(done.action)];
            !done.weak && !action.looks && !action.slight
        };
        let slight = |done: &Done| !done.weak && !self.looks(done);
        let any_strong = piece.actions().any(strong);
        let any_slight = piece.actions().any(slight);
        let any_looks = piece.actions().any(|done| self.looks(done));
        piece.elements.retain(|element| match element {
            Element::Action(done) if any_strong => strong(done),
            Element::Action(done) if any_slight => slight(done),
            Element::Action(done) if any_looks => self.looks(done),
            Element::Part(_) | Element::Action(_) => true,
        });
        let weak_only = !any_strong && !any_slight && !any_looks;
        // `code 1234` against `coded 0.9`
        let past = piece.actions().any(|done| self.in_the_past(done.from, done.to));
        let said_alone =
            piece.places.is_empty() && (past || !piece.number) && !self.recent.is_empty();
        if weak_only && piece.parts().next().is_none() && !said_alone {
            piece.elements.clear();
        }
        piece.actions().any(|done| !self.looks(done))
    }

    pub(super) fn looks(&self, done: &Done) -> bool {
        self.lexicon.actions[usize::from(done.action)].looks
    }
}
