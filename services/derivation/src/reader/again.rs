//! Pieces that lean on what was named before: a finding in a row of findings, what came off with another part, `it`.

use crate::reader::line::Line;
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

    /// `pads reused`
    pub(super) fn says_used_again(&self, piece: &Piece) -> bool {
        let words = self.words(piece.from, piece.to).to_lowercase();
        piece.same_part
            && piece.actions().all(|done| done.weak)
            && ["reused", "re-used"].iter().any(|word| words.ends_with(word))
    }
}
