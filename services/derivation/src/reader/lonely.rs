//! Pieces that hold only parts, only actions, or neither: they wait, or take up what was named before.

use crate::reader::line::{Current, Line, Mode, Taken};
use crate::reader::outcome::{self, Read};
use crate::reader::piece::{Done, Joint, Named, Piece};
use crate::reader::work::share_places;

impl Line<'_, '_> {
    pub(super) fn look(&mut self, joint: Joint, piece: &Piece) {
        self.settled = true;
        if let Some(done) = piece.actions().find(|done| done.corrected) {
            // What was probably meant must not silence a line.
            let words = self.words(done.from, done.to);
            self.doubts.push(format!("\"{words}\" is not known"));
        }
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
        if parts.iter().any(|part| self.aims(part)) {
            // `radar alignment checked, aligned`
            parts.retain(|part| !self.is_job_alone(part));
        }
        if !parts.is_empty() {
            self.recent = parts;
        }
        self.current = Current::Looked;
    }

    /// A piece that only names parts.
    pub(super) fn parts_only(&mut self, joint: Joint, piece: &Piece) {
        let mut parts = self.side_by_side(piece.parts());
        // `Alignment, 4 wheel` names one thing twice, and so does `filled with fluid`.
        let again = |part: &Named| {
            let fluid = self.lexicon.nouns[usize::from(part.noun)].fluid;
            joint == Joint::Comma || joint == Joint::And && fluid && self.is_behind_with(piece.from)
        };
        let about = |part: &Named| {
            // `new tires, tire rotation` is another job on the same part.
            let job = self.lexicon.nouns[usize::from(part.noun)].alone.as_deref();
            let same = |taken: &Taken<'_>| job.is_none_or(|job| job == taken.read.action);
            self.taken.iter().any(|taken| same(taken) && self.is_about(taken, part))
        };
        parts.retain(|part| !(again(part) && about(part)));
        let listed = matches!(joint, Joint::And | Joint::Comma);
        let small = piece.small_part && piece.unknown.is_empty();
        if small && self.is_behind_with(piece.from) && parts.iter().all(|part| part.compound) {
            // `windshield with camera bracket, replace`
            return;
        }
        if self.mode == Mode::Reason {
            if joint == Joint::Comma && !piece.state {
                let words = self.words(piece.from, piece.to);
                self.doubts.push(format!("\"{words}\" may be part of the reason or another job"));
            }
            return;
        }
        match self.current.clone() {
            Current::Negated if listed && piece.only_first && !self.denied.is_empty() => {
                // `not replacing struts, only control arms`
                self.begin_group();
                let denied = std::mem::take(&mut self.denied);
                self.job(&denied, &parts, piece.same_part, 0.97);
                self.recent = parts;
            }
            Current::Negated if piece.only => {
                self.doubts.push("how far \"not\" reaches is not clear".to_owned());
                for part in &parts {
                    self.guess(part);
                }
            }
            Current::Negated if listed && !piece.new_part => self.refuse_parts(parts),
            Current::Looked if listed && !piece.correction => self.recent.extend(parts),
            Current::Actions(actions)
                if listed
                    && !(piece.state_behind || piece.nothing)
                    && !self.is_new_besides(piece, &actions) =>
            {
                self.go_on(joint, piece, &actions, parts);
            }
            Current::None
                if joint == Joint::And
                    && self.is_behind_with(piece.from)
                    && let Some(done) = self.came_off() =>
            {
                self.take_off_too(&done, parts);
            }
            Current::None
                if listed
                    && (self.says_too(piece) || self.is_together(joint, piece))
                    && piece.unknown.is_empty()
                    && !piece.small_part
                    && let Some(done) = self.taken.last().and_then(|taken| taken.done) =>
            {
                // `rear rotors replaced, pads too`
                for part in &parts {
                    self.apply(&done, part, 0.97, piece.same_part);
                }
                self.recent.extend(parts);
            }
            _ if joint == Joint::Around && piece.state && !piece.new_part => {
                // `clock spring replaced after the horn stopped working`
            }
            _ if joint == Joint::Around => {
                self.doubts
                    .push("whether work before or after this is ordered is not clear".to_owned());
                for part in parts {
                    self.guess(&part);
                }
            }
            _ if self.mode == Mode::Found && !(piece.new_part && joint == Joint::Comma) => {
                self.ask_of_words_beside(piece, &parts);
                self.recent = parts;
            }
            _ if piece.state => self.find_parts(joint, parts),
            _ => self.name_parts(joint, piece, parts),
        }
    }

    /// A list goes on: the action named before is done to these parts too.
    fn go_on(&mut self, joint: Joint, piece: &Piece, actions: &[Done], mut parts: Vec<Named>) {
        self.begin_group();
        if joint == Joint::Comma && piece.state && !self.worn_before && !piece.new_part {
            // `rebuild transmission, burnt clutches`
            let words = self.words(piece.from, piece.to);
            self.doubts.push(format!("\"{words}\" may only tell what was wrong"));
        }
        if !std::mem::take(&mut self.carried).is_empty() && self.carried_beside {
            self.doubts.push("an action before this one names no part".to_owned());
        }
        for part in parts.iter_mut().filter(|part| part.places.is_empty()) {
            part.places.clone_from(&self.carried_places);
        }
        self.carried_places.clear();
        let before = self.recent.last().cloned();
        self.ask_what_is_fitted(&parts);
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

    /// `booster diaphragm leaking`: a word that nobody knows may make another part of it.
    fn ask_of_words_beside(&mut self, piece: &Piece, parts: &[Named]) {
        if !piece.unknown.is_empty() && parts.iter().any(|part| part.compound) {
            let why = "an unknown word stands beside a part".to_owned();
            self.ask_unless_worked_on(parts.to_vec(), why);
        }
    }

    /// Parts that no action stands beside: jobs by themselves, new ones, amounts of a fluid; others wait.
    fn name_parts(&mut self, joint: Joint, piece: &Piece, parts: Vec<Named>) {
        self.begin_group();
        for part in parts {
            let nothing = self.lexicon.nouns[usize::from(part.noun)].nothing;
            if self.alone(&part, 1.0) {
                self.recent = vec![part];
            } else if self.is_filled_up(joint, piece, &part)
                && let Some(refill) = self.action_named("refill", &part)
            {
                self.apply(&refill, &part, 0.96, false);
                self.recent = vec![part];
            } else if nothing && !part.compound {
                self.settled = true;
                if self.taken.is_empty() && self.pending.is_empty() && self.recent.is_empty() {
                    // `Spark plugs, all, renew`
                    self.recent = vec![part];
                }
            } else if piece.new_part
                && let Some(replace) = self.action_named("replace", &part)
            {
                // `SRS unit and both front pretensioners new`
                self.leave_heading(&part);
                let joined = joint == Joint::And;
                let before = if joined { std::mem::take(&mut self.pending) } else { Vec::new() };
                for part in before.iter().chain([&part]) {
                    self.apply(&replace, part, 0.96, false);
                }
                self.recent = vec![part];
            } else {
                self.leave_heading(&part);
                self.pending.push(part);
            }
        }
    }

    /// `recharge A/C, condenser new`: the action before does not fit what is new.
    fn is_new_besides(&self, piece: &Piece, actions: &[Done]) -> bool {
        let unfit = |part: &Named, done: &Done| {
            outcome::resolve(self.lexicon, done, part, false).doubt.is_some()
        };
        piece.new_part && piece.parts().any(|part| actions.iter().any(|done| unfit(part, done)))
    }

    /// `reman transmission installed, 10 qt ATF`: beside other work an amount of a fluid was filled in.
    fn is_filled_up(&self, joint: Joint, piece: &Piece, part: &Named) -> bool {
        let noun = &self.lexicon.nouns[usize::from(part.noun)];
        matches!(joint, Joint::Comma | Joint::And)
            && noun.fluid
            && noun.asks.is_empty()
            && piece.number
            && piece.unknown.is_empty()
            && !piece.state
            && !self.taken.is_empty()
    }

    /// `Front brakes: pads, rotors`: a whole that its parts follow is a heading; its axle holds for them.
    pub(super) fn leave_heading(&mut self, part: &Named) {
        let mut pending = std::mem::take(&mut self.pending);
        pending.retain(|whole| !(self.is_heading(whole) && self.sits_in(part, whole)));
        self.pending = pending;
    }

    /// A whole that takes no action by itself, `brakes`.
    pub(super) fn is_heading(&self, part: &Named) -> bool {
        !self.lexicon.nouns[usize::from(part.noun)].asks.is_empty()
    }

    /// `replaced`, `and program`: about parts that wait, that were named last, or that follow.
    pub(super) fn actions_only(&mut self, piece: &Piece, next_is_job: bool) {
        let actions: Vec<Done> = piece.actions().copied().collect();
        if !self.pending.is_empty() {
            let mut parts = std::mem::take(&mut self.pending);
            if parts.iter().all(|part| part.places.is_empty()) {
                // `tie rods, inner and outer RT replaced`
                for part in &mut parts {
                    part.places.clone_from(&piece.places);
                }
            }
            share_places(&mut parts);
            self.begin_group();
            self.ask_of_a_location(&actions, &parts);
            self.job(&actions, &parts, piece.same_part, 1.0);
            self.recent = parts;
            return;
        }
        if next_is_job && (self.recent.is_empty() || !self.points_back(piece)) {
            self.carried.extend(actions);
            self.carried_beside = false;
            return;
        }
        let actions = if self.small { self.leave_small_part(actions) } else { actions };
        if piece.small_part {
            if self.taken.is_empty() {
                self.ask_unless_work_is_done("a small part is named by itself".to_owned());
            }
            // `Repl hood, LF headlamp`
            self.current = Current::Actions(actions);
            return;
        }
        for done in actions {
            let action = &self.lexicon.actions[usize::from(done.action)];
            if piece.nothing && (action.slight || done.weak) {
                continue;
            }
            self.begin_group();
            let aimed = matches!(&self.recent[..], [part] if self.aims(part));
            if let Some(noun) = action.alone.filter(|_| !done.weak && !aimed) {
                let (from, to) = (done.from, done.to);
                let part = Named {
                    noun,
                    places: piece.places.clone(),
                    all: false,
                    from,
                    to,
                    corrected: false,
                    compound: false,
                    joined: false,
                };
                self.apply(&done, &part, 1.0, false);
                if self.recent.is_empty() {
                    self.recent = vec![part];
                }
                continue;
            }
            if self.puts_back(&done) {
                self.ask_whether_found_so(&done);
                continue;
            }
            if self.apply_behind(&done) {
                continue;
            }
            let targets = self.targets(&done);
            if let ([part], true) = (&targets[..], self.comes_coded(piece, &done)) {
                let replace = self.action_named("replace", part);
                if let Some(replace) = &replace {
                    self.apply(replace, part, 0.96, false);
                }
            }
            match &targets[..] {
                [] if self.taken.is_empty() || self.recent.is_empty() => {
                    self.carried.push(done);
                    self.carried_beside = piece.length > 1;
                    self.carried_places.clone_from(&piece.places);
                    self.current = Current::Actions(vec![done]);
                }
                [part] => {
                    let mut part = part.clone();
                    // `inspected tie rods, replaced RF outer`
                    if !piece.places.is_empty() {
                        part.places.clone_from(&piece.places);
                    }
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

    /// `caliper replaced, bled`: behind work on a part an action may be about something that belongs to it.
    fn apply_behind(&mut self, done: &Done) -> bool {
        let name = &self.lexicon.actions[usize::from(done.action)].name;
        let behind = |part: &Named| self.lexicon.nouns[usize::from(part.noun)].behind.get(name);
        let mut meant: Vec<_> = self.recent.iter().filter_map(behind).collect();
        meant.dedup();
        let [(action, component)] = meant[..] else { return false };
        self.taken.push(Taken {
            read: Read { action, component, place: None, sure: true },
            done: Some(*done),
            refitted: false,
            aimed: false,
            confidence: 0.97,
            from: done.from,
            to: done.to,
            group: self.group,
            guessed: false,
        });
        true
    }

    /// The parts that an action without a part is about: those named last that it fits.
    pub(super) fn targets(&self, done: &Done) -> Vec<Named> {
        let fits = |part: &&Named| {
            let outcomes = outcome::resolve(self.lexicon, done, part, false);
            outcomes.doubt.is_none() || self.lexicon.actions[usize::from(done.action)].follows
        };
        let fitting: Vec<Named> = self.recent.iter().filter(fits).cloned().collect();
        let mut targets: Vec<Named> = Vec::new();
        for part in if fitting.is_empty() { self.recent.clone() } else { fitting } {
            // The same part named twice, with its place only once.
            match targets.iter_mut().find(|known| known.noun == part.noun) {
                Some(known) if known.places.is_empty() => known.places = part.places,
                Some(known) if part.places.is_empty() || known.places == part.places => {}
                _ => targets.push(part),
            }
        }
        targets
    }

    /// A part whose aim is set when it is fitted.
    fn aims(&self, part: &Named) -> bool {
        self.lexicon.nouns[usize::from(part.noun)].aimed
    }

    /// A candidate for a part that nothing is said about.
    pub(super) fn guess(&mut self, part: &Named) {
        self.begin_group();
        if let Some(replace) = self.action_named("replace", part) {
            let before = self.taken.len();
            self.apply(&replace, part, 0.5, false);
            self.taken[before..].iter_mut().for_each(|taken| taken.guessed = true);
        }
    }

    /// A part whose name is a job by itself: `4 wheel alignment`.
    pub(super) fn alone(&mut self, part: &Named, factor: f64) -> bool {
        let noun = &self.lexicon.nouns[usize::from(part.noun)];
        let Some(action) = &noun.alone else { return false };
        let asked = !noun.asks.is_empty();
        if part.compound {
            let words = self.words(part.from, part.to);
            self.doubts.push(format!("\"{words}\": a small part of it is named"));
        }
        if asked {
            let words = self.words(part.from, part.to);
            self.doubts.push(format!("\"{words}\": somebody has to say whether it counts"));
        }
        let component = noun.asks.first().map_or(&*noun.component, |(_, component)| component);
        self.taken.push(Taken {
            read: Read { action, component, place: None, sure: !asked },
            done: None,
            refitted: false,
            aimed: false,
            confidence: 0.98 * factor * if part.corrected { 0.97 } else { 1.0 },
            from: part.from,
            to: part.to,
            group: self.group,
            guessed: false,
        });
        true
    }

    pub(super) fn action_named(&self, name: &str, part: &Named) -> Option<Done> {
        Some(Done {
            action: self.lexicon.action(name)?,
            weak: false,
            from: part.from,
            to: part.to,
            corrected: false,
            new_part: false,
        })
    }
}
