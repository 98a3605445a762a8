//! What is told but not done: a customer's words, findings, purposes, refusals.

use crate::lexicon::kinds::{Half, Meaning, Noun};
use crate::reader::items::{Item, What};
use crate::reader::line::{Current, Line, Mode, Taken, Untouched};
use crate::reader::outcome;
use crate::reader::piece::{Done, Element, Joint, Named, Piece};

impl Line<'_, '_> {
    /// Whether a piece after a customer's words is no longer his.
    pub(super) fn leaves_story(&mut self, joint: Joint, items: &[Item]) -> bool {
        let first = items.iter().find(|item| !item.means(Meaning::Filler));
        let Some(first) = first else { return false };
        if items.iter().any(|item| item.means(Meaning::Found)) || first.means(Meaning::Correction) {
            self.mode = Mode::Plain;
            return true;
        }
        let Some((action, false)) = first.action() else {
            // `complains of no cold air, compressor replaced`
            let told = joint == Joint::Comma
                && items.iter().any(|item| item.noun().is_some())
                && items.iter().any(|item| {
                    item.action().is_some_and(|(action, weak)| {
                        !weak && !self.lexicon.actions[usize::from(action)].looks
                    })
                });
            if told {
                self.doubts.push("work may belong to what the customer tells".to_owned());
                self.mode = Mode::Plain;
            }
            return told;
        };
        let told = self.words(first.from, first.to).to_lowercase();
        let mark = items.first().and_then(|item| self.tokens.get(item.from.checked_sub(1)?));
        let mark = mark.map_or("", |mark| &self.text[mark.from..mark.to]);
        let past = joint == Joint::Comma
            && mark != ","
            && told.split(' ').next().is_some_and(|verb| verb.ends_with("ed"));
        if !past && !self.lexicon.actions[usize::from(action)].looks {
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
        self.spoken.extend(parts.iter().cloned());
        if !parts.is_empty() {
            self.leave_waiting();
            self.small = false;
            self.recent = parts;
        } else if self.speaks_of_a_thing(&seen) {
            self.speak_of_a_small_part();
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
        let named = part || piece.small_part || !piece.unknown.is_empty();
        if job && part {
            self.plain(Joint::Then, items, false);
        } else if self.gives_way() && named {
            // `R&I column for dash job`: what came off for it went back.
        } else {
            self.doubts.push("what the work is for is not clear".to_owned());
        }
    }

    /// Whether all that was read is taken off and put back, as what is in the way of other work.
    fn gives_way(&self) -> bool {
        !self.taken.is_empty()
            && self.pending.is_empty()
            && self.taken.iter().all(|taken| {
                let again = taken.done.is_some_and(|done| {
                    let action = &self.lexicon.actions[usize::from(done.action)];
                    !action.doubted_where_often_refitted
                });
                again && matches!(taken.read.action, "remove_install" | "disconnect")
            })
    }

    /// `4 wheel alignment + sensors not replaced`: a job by itself before the part that is left. Gives back the rest.
    pub(super) fn read_jobs_before<'i>(
        &mut self,
        joint: Joint,
        items: &'i [Item],
        not: usize,
    ) -> &'i [Item] {
        let join = items[..not].iter().rposition(|item| item.means(Meaning::Join));
        let Some(join) = join.filter(|join| items[*join..not].iter().any(|i| i.noun().is_some()))
        else {
            return items;
        };
        let job = |item: &Item| {
            let noun = item.noun().map(|noun| &self.lexicon.nouns[usize::from(noun)]);
            noun.is_none_or(|noun| noun.alone.is_some())
        };
        if !items[..join].iter().all(job) || !items[..join].iter().any(|i| i.noun().is_some()) {
            return items;
        }
        self.plain(joint, &items[..join], false);
        &items[join + 1..]
    }

    /// Whether a piece depends on something else than what is said not to be needed.
    fn depends(&self, items: &[Item]) -> bool {
        items.iter().any(|item| {
            let words = self.words(item.from, item.to).to_lowercase();
            let need = ["need", "req", "nec"].iter().any(|word| words.starts_with(word));
            item.means(Meaning::Recommended) || item.means(Meaning::Condition) && !need
        })
    }

    /// `not replaced`, `do not disconnect battery`.
    pub(super) fn leave(&mut self, items: &[Item], after_a_job: bool) {
        let piece = Piece::scan(items);
        self.tolerate(&piece);
        let unclear = piece.unknown.iter().any(|&(from, to)| {
            after_a_job && self.lexicon.may_matter(&self.words(from, to).to_lowercase())
        });
        if self.depends(items) || piece.history || unclear {
            self.doubts.push("what is left undone depends on something".to_owned());
        }
        if piece.actions().next().is_none() && !piece.unknown.is_empty() && !after_a_job {
            // `ABS module not responding` tells what is wrong, not what was left.
            self.recent = piece.parts().cloned().collect();
            return;
        }
        self.settled = true;
        let actions: Vec<Done> = piece.actions().copied().collect();
        if self.failed(items) && actions.iter().any(|done| !self.looks(done)) {
            self.doubts.push("something could not be done".to_owned());
        }
        // `LF strut, RF left alone` is about another place than the part that waits.
        let elsewhere = self.pending.iter().any(|part| {
            !(piece.places.is_empty() || part.places.is_empty()) && part.places != piece.places
        }) || self.pending.is_empty();
        let waiting = piece.parts().next().is_none() && !after_a_job && !elsewhere;
        let mut parts = if waiting { std::mem::take(&mut self.pending) } else { Vec::new() };
        parts.extend(piece.parts().cloned());
        // `charger no AC charge, replace`: without work that is denied it tells what is wrong.
        if !actions.is_empty() || after_a_job || self.leaves_it(items) {
            self.untouched.extend(
                parts.iter().map(|part| Untouched { part: part.clone(), actions: actions.clone() }),
            );
        }
        if !parts.is_empty() {
            self.recent = parts;
        }
        if !after_a_job || piece.actions().next().is_some() {
            self.current = Current::Negated;
        }
        self.denied = actions.into_iter().filter(|done| !self.looks(done)).collect();
    }

    /// `transmission fluid low, topped off`: whether that was all is not said.
    pub(super) fn ask_of_a_low_fluid(&mut self, piece: &Piece) {
        let fluid = |part: &Named| {
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            noun.fluid && noun.any.is_none()
        };
        let words = self.words(piece.from, piece.to).to_lowercase();
        if self.found_before && words.contains("top") && self.recent.iter().any(fluid) {
            self.doubts.push("why a fluid was low is not said".to_owned());
        }
    }

    /// `not touched`, `kept the old pads`
    fn leaves_it(&self, items: &[Item]) -> bool {
        items.iter().filter(|item| item.means(Meaning::Not)).any(|item| {
            let words = self.words(item.from, item.to).to_lowercase();
            ["touch", "left", "leave", "kept", "keep", "stay"]
                .iter()
                .any(|word| words.contains(word))
        })
    }

    /// `could not be programmed`, `unable to remove`
    fn failed(&self, items: &[Item]) -> bool {
        items.iter().filter(|item| item.means(Meaning::Not)).any(|item| {
            let words = self.words(item.from, item.to).to_lowercase();
            ["could", "couldn", "cannot", "unable"].iter().any(|word| words.starts_with(word))
        })
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
        let unknown = piece
            .unknown
            .iter()
            .any(|&(from, to)| self.lexicon.may_matter(&self.words(from, to).to_lowercase()));
        if piece.parts().next().is_none() && piece.unknown.is_empty() {
            self.refuse_what_is_recommended();
        }
        if piece.parts().next().is_some() {
            if joint == Joint::And && before && !word_first && !self.stands_apart(piece.from) {
                self.doubts.push("how far the refusal reaches is not clear".to_owned());
            }
            self.refuse_parts(piece.parts().cloned().collect());
            self.current = Current::Negated;
            self.refused = quote && word_first;
        } else if piece.unknown.is_empty() && self.is_another_place(&piece) {
            // `RR tire replaced, LR declined`
        } else if matches!(self.current, Current::Negated) && self.group == self.sentence_from {
            // `front pads recommended, declined`: what was spoken of is refused, not the work before.
        } else if !unknown && !piece.unknown.is_empty() && piece.actions().next().is_none() {
            // `windshield replaced, new blades declined`: something else was refused.
        } else if (!piece.unknown.is_empty() || !piece.places.is_empty())
            && (self.group > 0 || !self.pending.is_empty())
        {
            // `front pads replaced, rears declined`: another place was refused than that which was worked on.
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
            let spoken_since = self.spoken_since_work();
            if other_work {
                // `replace windshield - calibration declined`: the work stands.
            } else if !spoken_since.is_empty() {
                // `Replaced front pads. Rear rotors rusted, customer declined`: what was spoken of last.
                self.refuse_parts(spoken_since);
                self.current = Current::Negated;
            } else if self.group - from == 1 {
                self.taken.retain(|taken| taken.group <= from);
            } else {
                self.doubts.push("how far the refusal reaches is not clear".to_owned());
            }
        }
        self.carried.clear();
    }

    /// Parts named behind all work that was read, which is on other parts.
    fn spoken_since_work(&self) -> Vec<Named> {
        let end = self.taken.iter().map(|taken| taken.to).max().unwrap_or(0);
        let since = self.spoken.iter().filter(|part| part.from >= end);
        let there = |part: &Named, taken: &Taken<'_>| {
            let place = taken.read.place.unwrap_or_default();
            let names = || part.places.iter().filter_map(|place| outcome::name(*place));
            names().next().is_none()
                || names().any(|name| name.starts_with(place) || place.starts_with(name))
        };
        let worked_on = |part: &Named| {
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            let names = || noun.by_axle.iter().flatten().chain([&noun.component]).chain(&noun.also);
            self.taken.iter().any(|taken| {
                names().any(|name| **name == *taken.read.component) && there(part, taken)
            })
        };
        if since.clone().any(worked_on) { Vec::new() } else { since.cloned().collect() }
    }

    /// Whether a piece says in the past that something was done.
    pub(super) fn tells_of_work(&self, items: &[Item]) -> bool {
        items.iter().any(|item| {
            let words = self.words(item.from, item.to).to_lowercase();
            let past = words.split(' ').next().is_some_and(|verb| verb.ends_with("ed"));
            let does = |action: u16| !self.lexicon.actions[usize::from(action)].looks;
            past && item.action().is_some_and(|(action, weak)| !weak && does(action))
        })
    }

    /// `declined radiator, replaced hose`
    pub(super) fn begins_with_past_work(&self, items: &[Item]) -> bool {
        let first = items.iter().position(|item| !item.means(Meaning::Filler));
        first.is_some_and(|first| self.tells_of_work(&items[first..=first]))
            && items.iter().any(|item| item.noun().is_some())
    }

    /// Whether a piece follows a stroke between blanks: `LOF / front pads declined`.
    fn stands_apart(&self, from: usize) -> bool {
        let before = from.checked_sub(1).and_then(|before| self.tokens.get(before));
        before.is_some_and(|before| {
            &self.text[before.from..before.to] == "/"
                && self.text[..before.from].ends_with(' ')
                && self.text[before.to..].starts_with(' ')
        })
    }

    /// Whether a piece names only places, and all work of the line is at others.
    fn is_another_place(&self, piece: &Piece) -> bool {
        let place =
            |taken: &Taken<'_>, name: &str| taken.read.place.is_none_or(|place| place == name);
        piece.elements.is_empty()
            && !piece.places.is_empty()
            && !self.taken.is_empty()
            && self.pending.is_empty()
            && piece.places.iter().all(|said| {
                said.side.is_some()
                    && said.axle.is_some()
                    && outcome::name(*said)
                        .is_some_and(|name| !self.taken.iter().any(|taken| place(taken, name)))
            })
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
            // `seat removed to dry the carpet`
            taking &= item.noun().is_none()
                && !matches!(item.what, What::Means(Meaning::To | Meaning::Purpose));
            taking && item.means(Meaning::State)
        })
    }

    /// `DEF injector plugged, replaced injector`: one word is the part that was named with it before, if only one was.
    fn resolve_short(&self, part: &mut Named) {
        let last = |part: &Named| self.tokens.get(part.to - 1).and_then(|token| token.word);
        let mut longer = self.spoken.iter().filter(|known| {
            known.to - known.from > 1 && last(known).is_some() && last(known) == last(part)
        });
        let first = longer.next().filter(|_| part.to - part.from == 1);
        if let Some(first) = first.filter(|first| longer.all(|other| other.noun == first.noun)) {
            part.noun = first.noun;
        }
    }

    /// `transmission replaced, filled with fluid`: that of the part that was worked on, where they have one only.
    pub(super) fn resolve_shared(&self, piece: &mut Piece) {
        let noun = |part: &Named| &self.lexicon.nouns[usize::from(part.noun)];
        let Some(word) = piece.parts().find_map(|part| noun(part).any.as_deref()) else { return };
        let worked =
            |noun: &&Noun| self.taken.iter().any(|taken| taken.read.component == &*noun.component);
        let named = self.recent.iter().chain(&self.pending).chain(piece.parts()).map(noun);
        let around = self.lexicon.nouns.iter().filter(worked).chain(named);
        let mut meant: Vec<u16> = around.filter_map(|noun| noun.its.get(word).copied()).collect();
        meant.sort_unstable();
        meant.dedup();
        let [meant] = meant[..] else { return };
        for element in &mut piece.elements {
            if let Element::Part(part) = element
                && self.lexicon.nouns[usize::from(part.noun)].any.as_deref() == Some(word)
            {
                part.noun = meant;
            }
        }
    }

    /// `EGR valve stuck, replaced valve`: the last word of the part that was named stands for it.
    pub(super) fn name_again(&self, piece: &mut Piece) {
        for element in &mut piece.elements {
            if let Element::Part(part) = element {
                self.resolve_short(part);
            }
        }
        let ([part], [(from, to)]) = (&self.recent[..], &piece.unknown[..]) else { return };
        let word = |token: usize| self.tokens.get(token).and_then(|token| token.word);
        let named = word(part.to - 1).is_some() && word(part.to - 1) == word(*from);
        if piece.parts().next().is_some() || to - from != 1 || !named || piece.small_part {
            return;
        }
        let after = piece.actions().filter(|done| done.from < *from).count();
        let again = Named { from: *from, to: *to, ..part.clone() };
        piece.elements.insert(after, Element::Part(again));
        piece.unknown.clear();
    }
}
