//! Pieces that hold only parts, only actions, or neither: they wait, or take up what was named before.

use crate::reader::line::{Current, Line, Mode, Taken};
use crate::reader::outcome::{self, Read};
use crate::reader::piece::{Done, Joint, Named, Piece, add};
use crate::reader::work::share_places;

impl Line<'_, '_> {
    pub(super) fn look(&mut self, joint: Joint, piece: &Piece) {
        self.settled = true;
        if joint == Joint::Comma && piece.parts().next().is_none() && piece.elements.len() == 1 {
            // `alignment - check only`
            let group = self.group;
            let job = |taken: &Taken<'_>| taken.group == group && taken.done.is_none();
            if piece.unknown.is_empty() {
                self.taken.retain(|taken| !job(taken));
            } else if self.taken.iter().any(job) {
                self.doubts.push("it may only be looked at".to_owned());
            }
        }
        if joint == Joint::And && piece.parts().next().is_some() {
            // `clean and inspect EGR valve`
            let carried = std::mem::take(&mut self.carried);
            let parts: Vec<Named> = piece.parts().cloned().collect();
            self.begin_group();
            self.job(&carried, &parts, piece.same_part, 0.98);
        }
        let mut parts: Vec<Named> = std::mem::take(&mut self.pending);
        parts.extend(piece.parts().cloned());
        if !parts.is_empty() {
            self.recent = parts;
        }
        self.current = Current::Looked;
    }

    /// A piece with neither action nor part.
    pub(super) fn bare(&mut self, joint: Joint, piece: &Piece) {
        if piece.small_part && self.taken.is_empty() && self.pending.is_empty() {
            self.doubts.push("a small part is named by itself".to_owned());
        }
        if piece.new_part && !self.pending.is_empty() {
            // `EGR valve - new`
            for part in std::mem::take(&mut self.pending) {
                if let Some(replace) = self.action_named("replace", &part) {
                    self.apply(&replace, &part, 0.96, false);
                }
                self.recent = vec![part];
            }
        } else if piece.new_part {
            let group = self.group;
            for taken in self.taken.iter_mut().filter(|taken| taken.group == group) {
                if let Some(done) = &mut taken.done {
                    done.new_part = true;
                }
            }
        }
        if piece.places.is_empty() || joint == Joint::Start {
            return;
        }
        let waiting = if self.pending.is_empty() { &mut self.recent } else { &mut self.pending };
        for part in waiting.iter_mut() {
            for place in &piece.places {
                add(&mut part.places, *place, joint == Joint::And);
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

    /// A piece that only names parts.
    pub(super) fn parts_only(&mut self, joint: Joint, piece: &Piece) {
        let mut parts = self.side_by_side(piece.parts());
        if joint == Joint::Comma {
            // `Alignment, 4 wheel` names one thing twice.
            parts.retain(|part| !self.taken.iter().any(|taken| self.is_about(taken, part)));
        }
        let listed = matches!(joint, Joint::And | Joint::Comma);
        if self.mode == Mode::Reason {
            return;
        }
        match self.current.clone() {
            Current::Negated if listed => self.refuse_parts(parts),
            Current::Looked if listed => self.recent.extend(parts),
            Current::Actions(actions) if listed && !piece.state_behind => {
                self.begin_group();
                self.carried.clear();
                for part in parts.iter_mut().filter(|part| part.places.is_empty()) {
                    part.places.clone_from(&self.carried_places);
                }
                self.carried_places.clear();
                let before = self.recent.last().cloned();
                let mut named = Vec::new();
                for mut part in parts {
                    if joint == Joint::And && part.places.is_empty() {
                        part.places = before.iter().flat_map(|part| part.places.clone()).collect();
                        part.all |= before.as_ref().is_some_and(|part| part.all);
                    }
                    let alone = self.alone(&part, 1.0);
                    for done in actions.iter().filter(|_| !alone) {
                        self.apply(done, &part, 0.98, piece.same_part);
                    }
                    named.push(part);
                }
                self.recent.extend(named);
            }
            _ if joint == Joint::Around => {
                self.doubts
                    .push("whether work before or after this is ordered is not clear".to_owned());
                for part in parts {
                    self.guess(&part);
                }
            }
            _ if self.mode == Mode::Found => {
                if parts.iter().any(|part| part.compound) {
                    self.doubts.push("an unknown word stands beside a part".to_owned());
                }
                self.recent = parts;
            }
            _ if piece.state => {
                self.recent = parts;
            }
            _ => {
                self.begin_group();
                for part in parts {
                    let nothing = self.lexicon.nouns[usize::from(part.noun)].nothing;
                    if self.alone(&part, 1.0) {
                        self.recent = vec![part];
                    } else if nothing && !part.compound {
                        self.settled = true;
                    } else if piece.new_part
                        && let Some(replace) = self.action_named("replace", &part)
                    {
                        self.apply(&replace, &part, 0.96, false);
                        self.recent = vec![part];
                    } else {
                        self.pending.push(part);
                    }
                }
            }
        }
    }

    /// `replaced`, `and program`: about parts that wait, that were named last, or that follow.
    pub(super) fn actions_only(&mut self, piece: &Piece, next_is_job: bool) {
        let actions: Vec<Done> = piece.actions().copied().collect();
        if !self.pending.is_empty() {
            let mut parts = std::mem::take(&mut self.pending);
            share_places(&mut parts);
            self.begin_group();
            self.job(&actions, &parts, piece.same_part, 1.0);
            self.recent = parts;
            return;
        }
        if next_is_job {
            self.carried.extend(actions);
            self.carried_beside = false;
            return;
        }
        if piece.small_part {
            if self.taken.is_empty() {
                self.doubts.push("a small part is named by itself".to_owned());
            }
            return;
        }
        for done in actions {
            let action = &self.lexicon.actions[usize::from(done.action)];
            if piece.nothing && (action.slight || done.weak) {
                continue;
            }
            self.begin_group();
            if let Some(noun) = action.alone.filter(|_| !done.weak) {
                let (from, to) = (done.from, done.to);
                let part = Named {
                    noun,
                    places: Vec::new(),
                    all: false,
                    from,
                    to,
                    corrected: false,
                    compound: false,
                    joined: false,
                };
                self.apply(&done, &part, 1.0, false);
                continue;
            }
            let targets = self.targets(&done);
            match &targets[..] {
                [] if self.taken.is_empty() || self.recent.is_empty() => {
                    self.carried.push(done);
                    self.carried_beside = piece.length > 1;
                    self.carried_places.clone_from(&piece.places);
                    self.current = Current::Actions(vec![done]);
                }
                [part] => {
                    let mut part = part.clone();
                    self.apply(&done, &part, 0.97, piece.same_part);
                    part.to = part.to.max(done.to);
                }
                several => {
                    let words = self.words(done.from, done.to);
                    self.doubts.push(format!("which part \"{words}\" is about is not clear"));
                    for part in several {
                        self.apply(&done, part, 0.5, piece.same_part);
                    }
                }
            }
        }
    }

    /// The parts that an action without a part is about: those named last that it fits.
    pub(super) fn targets(&self, done: &Done) -> Vec<Named> {
        let fits = |part: &&Named| {
            let outcomes = outcome::resolve(self.lexicon, done, part, false);
            outcomes.doubt.is_none() || self.lexicon.actions[usize::from(done.action)].follows
        };
        let fitting: Vec<Named> = self.recent.iter().filter(fits).cloned().collect();
        if fitting.is_empty() { self.recent.clone() } else { fitting }
    }

    /// A candidate for a part that nothing is said about.
    pub(super) fn guess(&mut self, part: &Named) {
        self.begin_group();
        if let Some(replace) = self.action_named("replace", part) {
            self.apply(&replace, part, 0.5, false);
        }
    }

    /// A part whose name is a job by itself: `4 wheel alignment`.
    pub(super) fn alone(&mut self, part: &Named, factor: f64) -> bool {
        let noun = &self.lexicon.nouns[usize::from(part.noun)];
        let Some(action) = &noun.alone else { return false };
        let asked = !noun.asks.is_empty();
        if asked {
            let words = self.words(part.from, part.to);
            self.doubts.push(format!("\"{words}\": somebody has to say whether it counts"));
        }
        let component = noun.asks.first().map_or(&*noun.component, |(_, component)| component);
        self.taken.push(Taken {
            read: Read { action, component, place: None, sure: !asked },
            done: None,
            refitted: false,
            confidence: 0.98 * factor * if part.corrected { 0.97 } else { 1.0 },
            from: part.from,
            to: part.to,
            group: self.group,
        });
        true
    }

    pub(super) fn action_named(&self, name: &str, part: &Named) -> Option<Done> {
        let index = self.lexicon.actions.iter().position(|action| *action.name == *name)?;
        Some(Done {
            action: u16::try_from(index).ok()?,
            weak: false,
            from: part.from,
            to: part.to,
            corrected: false,
            new_part: false,
        })
    }
}
