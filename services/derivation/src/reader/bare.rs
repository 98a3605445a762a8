//! Pieces with neither action nor part: a place or a new part that belongs to what was named before.

use crate::lexicon::kinds::{Half, Place};
use crate::reader::line::{Line, Taken};
use crate::reader::outcome;
use crate::reader::piece::{Joint, Piece, add};

impl Line<'_, '_> {
    /// `took out left headlamp, new one`: the part did not come back.
    fn replace_what_came_out(&mut self) {
        let out = |taken: &Taken<'_>| {
            let action = taken.done.map(|done| &self.lexicon.actions[usize::from(done.action)]);
            action.is_some_and(|action| action.half == Some(Half::Out))
        };
        let last = self.taken.iter().any(|taken| taken.group == self.group && out(taken));
        let [part] = &self.recent[..] else { return };
        let part = part.clone();
        if let Some(replace) = self.action_named("replace", &part).filter(|_| last) {
            self.apply(&replace, &part, 0.96, false);
        }
    }

    /// `bumper cover off, blend RF fender`, `actuator LH replaced, no heat on right`: the place of something else, or of
    /// what was wrong.
    fn is_about_else(&self, piece: &Piece) -> bool {
        let group = self.group;
        let placed = |taken: &Taken<'_>| taken.group == group && taken.read.place.is_some();
        piece.small_part
            || (piece.state || piece.only && !piece.only_first) && self.taken.iter().any(placed)
    }

    /// A piece with neither action nor part.
    pub(super) fn bare(&mut self, joint: Joint, piece: &Piece) {
        if piece.small_part && self.taken.is_empty() && self.pending.is_empty() {
            self.ask_unless_work_is_done("a small part is named by itself".to_owned());
        }
        if piece.state && !piece.new_part && self.speaks_of_a_thing(piece) {
            self.speak_of_a_small_part();
        }
        if joint == Joint::Start && self.taken.is_empty() && self.spoken.is_empty() {
            self.told.clone_from(&piece.places);
        }
        if piece.state && !piece.new_part && joint != Joint::Around && !self.pending.is_empty() {
            // `Throttle body: carbon build-up. Cleaned.`
            self.recent = std::mem::take(&mut self.pending);
        }
        if piece.new_part && !self.pending.is_empty() {
            // `EGR valve - new`
            for part in std::mem::take(&mut self.pending) {
                if let Some(replace) = self.action_named("replace", &part) {
                    self.apply(&replace, &part, 0.96, false);
                }
                self.recent = vec![part];
            }
        } else if piece.new_part && self.taken.is_empty() && self.recent.is_empty() {
            self.ask_unless_work_is_done("what is new is not said".to_owned());
        } else if piece.new_part {
            let group = self.group;
            for taken in self.taken.iter_mut().filter(|taken| taken.group == group) {
                if let Some(done) = &mut taken.done {
                    done.new_part = true;
                }
            }
            self.replace_what_came_out();
        }
        // `same on RH`, `and the other side`
        let again = piece.other_side || piece.same_part && !piece.places.is_empty();
        let joint = if again && joint == Joint::And { Joint::Comma } else { joint };
        let mut places = piece.places.clone();
        if piece.other_side {
            match &self.recent[..] {
                [part] if part.places.len() == 1 => places.extend(part.places[0].other_side()),
                _ => {}
            }
            if places.is_empty() {
                self.doubts.push("which other side is not clear".to_owned());
            }
        }
        if places.is_empty() || joint == Joint::Start || !again && self.is_about_else(piece) {
            return;
        }
        let waiting = if self.pending.is_empty() { &mut self.recent } else { &mut self.pending };
        for part in waiting.iter_mut() {
            if let [Place { axle: axle @ Some(_), side: None, .. }] = part.places[..]
                && places.len() > 1
                && places.iter().all(|place| place.axle.is_none())
            {
                // `rear shock absorbers, left and right`
                part.places = places.iter().map(|place| Place { axle, ..*place }).collect();
                continue;
            }
            for place in &places {
                add(&mut part.places, *place, again || joint == Joint::And);
            }
        }
        if self.pending.is_empty() && joint != Joint::And {
            // The place comes after its job: `replace wheel speed sensor, left rear`.
            let group = self.group;
            let (mut behind, rest) =
                self.taken.drain(..).partition::<Vec<_>, _>(|taken| taken.group == group);
            self.taken = rest;
            let names: Vec<&str> = match &self.recent[..] {
                [part] if !self.lexicon.nouns[usize::from(part.noun)].single => {
                    part.places.iter().filter_map(|place| outcome::name(*place)).collect()
                }
                _ => Vec::new(),
            };
            if let [first, more @ ..] = &names[..] {
                let same = |one: &Taken<'_>, other: &Taken<'_>| {
                    (one.read.action, one.read.component)
                        == (other.read.action, other.read.component)
                };
                behind.dedup_by(|one, other| same(one, other));
                let whole = behind.clone();
                for taken in &mut behind {
                    taken.read.place = Some(first);
                }
                for (name, taken) in
                    more.iter().flat_map(|name| whole.iter().map(move |taken| (name, taken)))
                {
                    let mut another = taken.clone();
                    another.read.place = Some(name);
                    behind.push(another);
                }
            }
            self.taken.append(&mut behind);
        } else if joint == Joint::And {
            self.doubts.push("a place stands by itself".to_owned());
        }
    }
}
