//! What is told but not done: a customer's words, findings, purposes, refusals.

use crate::lexicon::kinds::{Half, Meaning};
use crate::reader::items::Item;
use crate::reader::line::{Current, Line, Mode, Untouched};
use crate::reader::piece::{Done, Element, Joint, Named, Piece};

impl Line<'_, '_> {
    /// Whether a piece after a customer's words is no longer his.
    pub(super) fn leaves_story(&mut self, items: &[Item]) -> bool {
        let first = items.iter().find(|item| !item.means(Meaning::Filler));
        let Some(first) = first else { return false };
        if items.iter().any(|item| item.means(Meaning::Found)) || first.means(Meaning::Correction) {
            self.mode = Mode::Plain;
            return true;
        }
        let Some((action, false)) = first.action() else { return false };
        if !self.lexicon.actions[usize::from(action)].looks {
            let words = self.words(first.from, first.to);
            self.doubts.push(format!("\"{words}\" may belong to what the customer tells"));
        }
        self.mode = Mode::Plain;
        true
    }

    /// What the technician saw: parts to come back to, nothing done.
    pub(super) fn find(&mut self, items: &[Item]) {
        self.mode = Mode::Found;
        let job = items.iter().position(|item| {
            item.action().is_some_and(|(action, weak)| {
                !weak && !self.lexicon.actions[usize::from(action)].looks
            })
        });
        let seen = Piece::scan(&items[..job.unwrap_or(items.len())]);
        self.tolerate(&seen);
        if seen.condition || seen.history {
            self.doubts.push("a finding speaks of what may be done".to_owned());
        }
        self.settled |= seen.actions().any(|done| self.looks(done));
        let parts: Vec<Named> = seen.parts().cloned().collect();
        if !parts.is_empty() {
            self.recent = parts;
        }
        if let Some(job) = job {
            self.doubts.push("work is told within a finding".to_owned());
            self.plain(Joint::Comma, &items[job..], false);
        }
    }

    /// What work is for. A job of its own is read, anything else is a reason.
    pub(super) fn purpose(&mut self, items: &[Item]) {
        let piece = Piece::scan(items);
        let job = piece.actions().any(|done| !done.weak && !self.looks(done));
        let part = piece.parts().next().is_some();
        self.tolerate(&piece);
        if piece.condition {
            self.doubts.push("it depends on something".to_owned());
        }
        if piece.state || !job && !part {
            return;
        }
        if job && part {
            self.plain(Joint::Then, items, false);
        } else {
            self.doubts.push("what the work is for is not clear".to_owned());
        }
    }

    /// `not replaced`, `do not disconnect battery`.
    pub(super) fn leave(&mut self, items: &[Item], after_a_job: bool) {
        let piece = Piece::scan(items);
        self.tolerate(&piece);
        if piece.actions().next().is_none() && !piece.unknown.is_empty() && !after_a_job {
            // `ABS module not responding` tells what is wrong, not what was left.
            self.recent = piece.parts().cloned().collect();
            return;
        }
        self.settled = true;
        if piece.condition || piece.history {
            self.doubts.push("what is left undone depends on something".to_owned());
        }
        let actions: Vec<Done> = piece.actions().copied().collect();
        let waiting = piece.parts().next().is_none() && !after_a_job;
        let mut parts = if waiting { std::mem::take(&mut self.pending) } else { Vec::new() };
        parts.extend(piece.parts().cloned());
        self.untouched.extend(
            parts.iter().map(|part| Untouched { part: part.clone(), actions: actions.clone() }),
        );
        if !parts.is_empty() {
            self.recent = parts;
        }
        if !after_a_job || piece.actions().next().is_some() {
            self.current = Current::Negated;
        }
    }

    /// `declined`, `quote only`: how far it reaches depends on where it stands.
    pub(super) fn refuse(&mut self, joint: Joint, items: &[Item]) {
        let piece = Piece::scan(items);
        self.tolerate(&piece);
        self.settled = true;
        let quote = items.iter().any(|item| item.means(Meaning::Quote));
        let word_first = items
            .iter()
            .find(|item| item.noun().is_some() || item.action().is_some_and(|(_, weak)| !weak))
            .is_none_or(|first| {
                let word =
                    |item: &&Item| item.means(Meaning::Declined) || item.means(Meaning::Quote);
                items.iter().find(word).is_some_and(|word| word.from < first.from)
            });
        let before = self.group > self.sentence_from || !self.pending.is_empty();
        if piece.parts().next().is_some() {
            if joint == Joint::And && before && !word_first {
                self.doubts.push("how far the refusal reaches is not clear".to_owned());
            }
            self.refuse_parts(piece.parts().cloned().collect());
            self.current = Current::Negated;
            self.refused = quote && word_first;
        } else if !piece.unknown.is_empty() && (self.group > 0 || !self.pending.is_empty()) {
            self.doubts.push("what was refused is not known".to_owned());
        } else if !self.pending.is_empty() {
            let parts = std::mem::take(&mut self.pending);
            self.refuse_parts(parts);
            self.current = Current::Negated;
        } else if piece.small_part && (before || self.group > 0) {
            // Something beside the work was refused.
        } else if self.group == self.sentence_from && self.group == 0 {
            self.current = Current::Negated;
            self.refused = true;
        } else {
            // Behind what was read: it takes back one job, but nobody knows which of several.
            let from = if before { self.sentence_from } else { 0 };
            let gives =
                |done: &Done| self.lexicon.actions[usize::from(done.action)].gives.as_deref();
            let other_work = piece.actions().next().is_some()
                && !self.taken.iter().any(|taken| {
                    piece.actions().any(|done| gives(done) == Some(taken.read.action))
                });
            if other_work {
                // `replace windshield - calibration declined`: the work stands.
            } else if self.group - from == 1 {
                self.taken.retain(|taken| taken.group <= from);
            } else {
                self.doubts.push("how far the refusal reaches is not clear".to_owned());
            }
        }
        self.carried.clear();
    }

    /// Parts on which nothing at all is to be done.
    pub(super) fn refuse_parts(&mut self, parts: Vec<Named>) {
        self.untouched
            .extend(parts.into_iter().map(|part| Untouched { part, actions: Vec::new() }));
    }

    /// Unknown words weigh nothing in a story, unless one looks like an action.
    pub(super) fn tolerate(&mut self, piece: &Piece) {
        for &(from, to) in &piece.unknown {
            let words = self.words(from, to);
            if self.lexicon.looks_like_action(&words.to_lowercase()) {
                self.doubts.push(format!("\"{words}\" looks like an action"));
            }
        }
    }

    /// `remove nail from tire`: between taking out and a part stands what is wrong with it.
    pub(super) fn takes_off_something_else(&self, items: &[Item]) -> bool {
        let mut taking = false;
        items.iter().any(|item| {
            if let Some((action, _)) = item.action() {
                taking = self.lexicon.actions[usize::from(action)].half == Some(Half::Out);
            }
            taking &= item.noun().is_none();
            taking && item.means(Meaning::State)
        })
    }

    /// `EGR valve stuck, replaced valve`: the last word of the part that was named stands for it.
    pub(super) fn name_again(&self, piece: &mut Piece) {
        let ([part], [(from, to)]) = (&self.recent[..], &piece.unknown[..]) else { return };
        let word = |token: usize| self.tokens.get(token).and_then(|token| token.word);
        let named = word(part.to - 1).is_some() && word(part.to - 1) == word(*from);
        if piece.parts().next().is_some() || to - from != 1 || !named {
            return;
        }
        let after = piece.actions().filter(|done| done.from < *from).count();
        let again = Named { from: *from, to: *to, ..part.clone() };
        piece.elements.insert(after, Element::Part(again));
        piece.unknown.clear();
    }
}
