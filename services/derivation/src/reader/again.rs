//! Pieces that lean on what was named before: a finding in a row of findings, what came off with another part, `it`.

use crate::lexicon::kinds::Half;
use crate::reader::line::{Line, Taken, Untouched};
use crate::reader::piece::{Done, Joint, Named, Piece};

impl Line<'_, '_> {
    /// What is wrong with parts. Findings in a row stay together: which of them work behind is about is not said.
    pub(super) fn find_parts(&mut self, joint: Joint, parts: Vec<Named>) {
        let matters = |part: &Named| !self.lexicon.nouns[usize::from(part.noun)].nothing;
        if joint != Joint::Comma || !self.found_before {
            self.recent = std::mem::take(&mut self.pending);
        } else if !parts.iter().any(matters) {
            // `clock spring faulty, horn not working, replaced it`
            return;
        }
        self.found_before = true;
        self.recent.append(&mut self.pending);
        self.recent.extend(parts);
    }

    /// `grille removed to clean the condenser and refitted`: what came out before went back.
    pub(super) fn puts_back(&self, done: &Done) -> bool {
        let half = |done: &Done| self.lexicon.actions[usize::from(done.action)].half;
        let gives = |done: &Done| &self.lexicon.actions[usize::from(done.action)].gives;
        half(done) == Some(Half::Back)
            && self.taken.iter().any(|taken| {
                taken.done.is_some_and(|first| {
                    half(&first) == Some(Half::Out) && gives(&first) == gives(done)
                })
            })
    }

    /// `yaw sensor unplugged, connected`: it may have been found so.
    pub(super) fn ask_whether_found_so(&mut self, done: &Done) {
        let unplugged = |taken: &&Taken<'_>| {
            self.words(taken.from, taken.to).to_lowercase().ends_with("unplugged")
        };
        if let Some(taken) = self.taken.last().filter(unplugged)
            && self.words(done.from, done.to).eq_ignore_ascii_case("connected")
        {
            let words = self.words(taken.from, done.to);
            self.doubts.push(format!("\"{words}\": whether it was found so is not said"));
        }
    }

    /// `cluster dark, fuse blown, replaced`: work behind it is about the small part.
    pub(super) fn speak_of_a_small_part(&mut self) {
        self.leave_waiting();
        self.small = true;
    }

    /// Whether a piece without a part speaks of another thing: `clip broken`, `mount broken`, `wiring chafed`; but not
    /// of one that is well, nor of what the part itself is made of (`radar RR, housing cracked, replaced`).
    pub(super) fn speaks_of_a_thing(&self, piece: &Piece) -> bool {
        const WELL: &[&str] = &["ok", "okay", "good", "fine"];
        const OF_IT: &[&str] =
            &["housing", "hsg", "casing", "case", "lens", "tab", "tabs", "ear", "ears", "shell"];
        let words = self.words(piece.from, piece.to).to_lowercase();
        if words.split(' ').any(|word| WELL.contains(&word) || OF_IT.contains(&word)) {
            return false;
        }
        let word = |token: usize| self.tokens.get(token).and_then(|token| token.word);
        let called = |from: usize| word(from).is_some_and(|word| self.lexicon.makes_part(word));
        let mounted =
            |done: &Done| word(done.from).is_some_and(|word| self.lexicon.makes_another(word));
        piece.small_part
            || piece.unknown.iter().any(|&(from, _)| called(from))
            || piece.actions().any(|done| done.weak && mounted(done))
    }

    /// `transmission, found mount broken`: what waited for work is not what the work behind is about.
    pub(super) fn leave_waiting(&mut self) {
        for part in std::mem::take(&mut self.pending) {
            let words = self.words(part.from, part.to);
            let why = format!("nothing says what is done with \"{words}\"");
            self.ask_unless_worked_on(vec![part], why);
        }
    }

    /// Leaves actions that may be about the small part that was spoken of. Gives back the others.
    pub(super) fn leave_small_part(&mut self, mut actions: Vec<Done>) -> Vec<Done> {
        let other = |done: &Done| {
            let action = &self.lexicon.actions[usize::from(done.action)];
            let gives = action.gives.as_deref().unwrap_or_default();
            action.alone.is_some()
                || action.looks
                || ["refill", "bleed", "program", "align"].contains(&gives)
                || self.puts_back(done)
        };
        let before = actions.len();
        actions.retain(other);
        if actions.len() < before {
            self.ask_unless_work_is_done("a small part is named by itself".to_owned());
        }
        actions
    }

    /// `install windshield with HUD and rain sensor`: what is fitted with it may only say which one.
    pub(super) fn ask_what_is_fitted(&mut self, parts: &[Named]) {
        let fitted = |whole: &Named, part: &Named| {
            let words = self.words(whole.from, part.from).to_lowercase();
            self.sits_in(part, whole) && (words.contains(" with ") || words.contains(" w/"))
        };
        let both = self.recent.iter().chain(&self.spoken).find_map(|whole| {
            let part = parts.iter().find(|part| fitted(whole, part))?;
            Some(self.words(whole.from, part.to))
        });
        if let Some(words) = both {
            self.doubts.push(format!("\"{words}\": whether both are exchanged is not said"));
        }
    }

    /// The action of the last job, where it took something off and put it back.
    pub(super) fn came_off(&self) -> Option<Done> {
        let last = self.taken.last().filter(|taken| taken.read.action == "remove_install");
        last.and_then(|taken| taken.done)
    }

    /// `engine R&I w/ transmission`: what comes off with another part comes off where that is.
    pub(super) fn take_off_too(&mut self, done: &Done, mut parts: Vec<Named>) {
        let places = self.recent.last().map(|part| part.places.clone());
        for part in &mut parts {
            if part.places.is_empty() {
                part.places.extend(places.iter().flatten());
            }
            self.apply(done, part, 0.97, false);
        }
        self.recent.extend(parts);
    }

    /// `module water damaged, new unit coded`: the new one went in.
    pub(super) fn comes_coded(&self, piece: &Piece, done: &Done) -> bool {
        let action = &self.lexicon.actions[usize::from(done.action)];
        piece.new_part && piece.actions().count() == 1 && action.gives.as_deref() == Some("program")
    }

    /// `fitted a new one and bled the brakes`: it is about what was named before.
    pub(super) fn points_back(&self, piece: &Piece) -> bool {
        let words = self.words(piece.from, piece.to).to_lowercase();
        let back = ["it", "them", "one", "ones", "another", "these", "those"];
        words.split(' ').any(|word| back.contains(&word))
    }

    /// `pads too`: what was done before was done to these as well.
    pub(super) fn says_too(&self, piece: &Piece) -> bool {
        let words = self.words(piece.from, piece.to).to_lowercase();
        ["too", "as well", "likewise"].iter().any(|word| words.ends_with(word))
    }

    /// `clutch replaced together with flywheel`, `incl. flywheel`: what was done before was done to both.
    pub(super) fn is_together(&self, joint: Joint, piece: &Piece) -> bool {
        let from = piece.from.saturating_sub(3);
        let words = self.words(from, piece.from).to_lowercase();
        let joining =
            ["together with", "along with", "as well as", "in addition to", "incl", "including"];
        joint == Joint::And && joining.iter().any(|joining| words.ends_with(joining))
    }

    /// `pads reused`, `reused rain sensor`
    pub(super) fn says_used_again(&self, piece: &Piece) -> bool {
        let words = self.words(piece.from, piece.to).to_lowercase();
        let says = |word: &&str| words.ends_with(*word) || words.starts_with(*word);
        piece.same_part
            && piece.actions().all(|done| done.weak)
            && ["reused", "re-used", "reuse", "re-use"].iter().any(says)
    }

    /// What is used again is not replaced; it may go onto another part (`sensor reused, transferred`).
    pub(super) fn use_again(&mut self, parts: Vec<Named>) {
        if parts.is_empty() {
            return;
        }
        self.recent.clone_from(&parts);
        self.spoken.extend(parts.iter().cloned());
        for part in parts {
            let actions = self.action_named("replace", &part).into_iter().collect();
            self.untouched.push(Untouched { part, actions });
        }
    }
}
