//! Takes down the operations of actions on parts.

use crate::lexicon::kinds::Place;
use crate::reader::line::{Line, Taken};
use crate::reader::outcome::{self, Read};
use crate::reader::piece::{Done, Named};

/// A line with more is no line of work.
const MOST_OPERATIONS: usize = 128;

impl Line<'_, '_> {
    pub(super) fn job(&mut self, actions: &[Done], parts: &[Named], same_part: bool, factor: f64) {
        for part in parts {
            // `replace tie rods and alignment`: what is a job by itself takes no action that does not fit it.
            let unfit = actions
                .iter()
                .any(|done| outcome::resolve(self.lexicon, done, part, same_part).doubt.is_some());
            if unfit && self.lexicon.nouns[usize::from(part.noun)].alone.is_some() {
                self.alone(part, factor);
                continue;
            }
            for done in actions {
                self.apply(done, part, factor, same_part);
            }
        }
    }

    /// Reads one action on one part.
    pub(super) fn apply(&mut self, done: &Done, part: &Named, factor: f64, same_part: bool) {
        // `replaced front pads, resurfaced rotors`: the axle that was said holds until another is.
        let mut part = part.clone();
        if part.places.is_empty() && !part.all {
            // `found LF strut leaking, replaced strut`: the place that was said holds.
            let known = self.recent.iter().find(|known| known.noun == part.noun);
            part.places.extend(known.into_iter().flat_map(|known| known.places.clone()));
        }
        if self.lexicon.nouns[usize::from(part.noun)].by_axle.is_some() && !part.all {
            if part.places.is_empty() {
                part.places.extend(self.axle);
            } else if let [place] = part.places[..] {
                self.axle = Some(Place { side: None, either: false, ..place });
            }
        }
        let part = &part;
        let outcomes = outcome::resolve(self.lexicon, done, part, same_part);
        self.settled |= outcomes.nothing;
        let action = &self.lexicon.actions[usize::from(done.action)];
        // Whether the procedure itself was asked for is seen when the whole line is read.
        let later = action.follows || action.doubted || action.slight;
        if let Some(doubt) = outcomes.doubt.filter(|_| !later) {
            let words = self.words(done.from.min(part.from), done.to.max(part.to));
            self.doubts.push(format!("\"{words}\": {doubt}"));
        }
        let typed = if done.corrected || part.corrected { 0.97 } else { 1.0 };
        let refitted = self.lexicon.nouns[usize::from(part.noun)].often_refitted;
        if self.taken.len() + outcomes.reads.len() > MOST_OPERATIONS {
            self.doubts.push(format!("it names more than {MOST_OPERATIONS} operations"));
            return;
        }
        for read in outcomes.reads {
            self.taken.push(Taken {
                read,
                refitted,
                done: Some(*done),
                confidence: 0.99 * factor * typed,
                from: done.from.min(part.from),
                to: done.to.max(part.to),
                group: self.group,
            });
        }
    }

    pub(super) fn take_own(&mut self, phrase: usize, from: usize, to: usize) {
        self.begin_group();
        let own = self.own.get(phrase);
        self.settled = true;
        for operation in &own.operations {
            self.taken.push(Taken {
                read: Read {
                    action: &operation.action,
                    component: &operation.component,
                    place: operation.place.as_deref(),
                    sure: true,
                },
                done: None,
                refitted: false,
                confidence: 1.0,
                from,
                to,
                group: self.group,
            });
        }
    }

    /// Parts side by side without a joining word: one of them may say where the other sits.
    pub(super) fn side_by_side<'p>(&self, parts: impl Iterator<Item = &'p Named>) -> Vec<Named> {
        let all: Vec<Named> = parts.cloned().collect();
        let beside = |index: usize| {
            let before = (index > 0 && !all[index].joined).then(|| &all[index - 1]);
            let after = all.get(index + 1).filter(|after| !after.joined);
            before.into_iter().chain(after)
        };
        let mut kept: Vec<Named> = Vec::with_capacity(all.len());
        for (index, part) in all.iter().enumerate() {
            if beside(index).any(|other| self.sits_in(other, part)) {
                continue;
            }
            let mut part = part.clone();
            if part.places.is_empty() {
                let location = beside(index).find(|location| self.sits_in(&part, location));
                part.places = location.map(|location| location.places.clone()).unwrap_or_default();
            }
            kept.push(part);
        }
        for index in 1..kept.len() {
            if !self.same_component(&kept[index], &kept[index - 1]) && !kept[index].joined {
                kept[index].compound = true;
                kept[index - 1].compound = true;
            }
        }
        kept
    }

    pub(super) fn sits_in(&self, part: &Named, location: &Named) -> bool {
        let location = &self.lexicon.nouns[usize::from(location.noun)];
        let names = location.by_axle.iter().flatten().chain([&location.component]);
        names.into_iter().any(|name| {
            self.lexicon.nouns[usize::from(part.noun)].sits_in.iter().any(|known| known == name)
        })
    }

    pub(super) fn same_component(&self, one: &Named, other: &Named) -> bool {
        let component = |part: &Named| &self.lexicon.nouns[usize::from(part.noun)].component;
        component(one) == component(other)
    }

    /// Whether an operation is about this part, where the part names no other place.
    pub(super) fn is_about(&self, taken: &Taken<'_>, part: &Named) -> bool {
        taken.group > self.sentence_from
            && part.places.is_empty()
            && *self.lexicon.nouns[usize::from(part.noun)].component == *taken.read.component
    }

    pub(super) fn only_location(&self, location: &Named, parts: &[Named]) -> bool {
        parts.iter().any(|part| self.sits_in(part, location))
    }
}
