//! Words that nobody knows: which of them leave open what was done, and which can change nothing.
//!
//! Every part and every kind of work has its words in the lexicon, so a word that is none of them, is not called as
//! parts are and lies by no known word can only matter where it stands beside a part or an action: it may make another
//! part of it, or be what the action is about. Elsewhere it tells a story, a place or a number.

use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::line::{Current, Line};
use crate::reader::piece::{Joint, Named, Piece};

/// After one of these comes where, how or with what, not what.
const PREPOSITIONS: &[&str] = &[
    "on", "in", "at", "under", "behind", "inside", "near", "from", "to", "into", "onto", "over",
    "through", "via", "per", "by", "against", "between", "within", "beneath", "above", "until",
    "using",
];

impl Line<'_, '_> {
    /// Asks about the unknown words of a piece, except where they can change nothing.
    pub(super) fn weigh_unknown(
        &mut self,
        joint: Joint,
        items: &[Item],
        piece: &Piece,
        real: bool,
    ) {
        let with = items.first().is_some_and(|first| self.is_behind_with(first.from));
        let no_part = piece.parts().next().is_none();
        // A word by itself may be a job as short as `LOF`.
        let alone = items.iter().filter(|item| !item.means(Meaning::Filler)).count() == 1;
        // `sensor cleaned and gapped`: what was done besides is no work that a part asks for.
        let done = alone && joint != Joint::Start && self.ends_in_ed(piece);
        let acted = items.iter().any(|item| item.action().is_some());
        let next = matches!(joint, Joint::Start | Joint::Comma | Joint::Then) && !alone;
        let apart = !acted && (next || done) || with;
        for &(from, to) in &piece.unknown {
            let words = self.words(from, to);
            // Without an action that goes on, a short word is no part that it is about: `road tst 5 mi`.
            let listed = matches!(self.current, Current::Actions(_)) || !self.carried.is_empty();
            let bare = no_part && piece.places.is_empty();
            let short = !acted && bare && !listed && words.len() < 4;
            let matters = || !short && self.lexicon.may_matter(&words.to_lowercase());
            let told = !real
                && piece.state
                && (no_part || self.says_where(items, from))
                && !self.lexicon.looks_like_action(&words.to_lowercase());
            let idle = if real {
                (self.says_where(items, from) || !no_part && stands_apart(items, from))
                    && !matters()
            } else {
                told || apart && no_part && (piece.same_part || !matters())
                    || self.says_where(items, from) && !matters()
            };
            let heads = alone && joint == Joint::Start && self.is_before_a_colon(to);
            let idle = idle && !(no_part && self.says_too(piece));
            if idle || heads || words.len() > 3 && small_part_behind(items, from) {
                self.aside.push((from, to));
            } else if !acted && !no_part && !self.lexicon.looks_like_action(&words.to_lowercase()) {
                // `Alternator puts out 12 V, alternator replaced`
                let why = format!("\"{words}\" is not known");
                let parts = piece.parts().cloned().collect();
                if piece.parts().any(|part| self.is_job_alone(part)) {
                    // `strung the toe`
                    self.doubts.push(why);
                } else if words.len() > 3 && matters() {
                    self.ask_unless_named_again(parts, why);
                } else {
                    self.ask_unless_worked_on(parts, why);
                }
            } else {
                self.doubts.push(format!("\"{words}\" is not known"));
            }
        }
    }

    pub(super) fn is_job_alone(&self, part: &Named) -> bool {
        self.lexicon.nouns[usize::from(part.noun)].alone.is_some()
    }

    /// `JB: replaced throttle body`: what heads the rest of the line.
    fn is_before_a_colon(&self, to: usize) -> bool {
        let mark = self.tokens.get(to).map(|mark| &self.text[mark.from..mark.to]);
        mark == Some(":") && self.tokens.len() > to + 1
    }

    fn ends_in_ed(&self, piece: &Piece) -> bool {
        let ends =
            |&(from, to): &(usize, usize)| self.words(from, to).to_lowercase().ends_with("ed");
        piece.unknown.iter().all(ends)
    }

    /// A line of which nothing was read must not be settled by words that nobody knows.
    pub(super) fn ask_what_stands_aside(&mut self) {
        if self.taken.is_empty() {
            for (from, to) in std::mem::take(&mut self.aside) {
                let words = self.words(from, to);
                self.doubts.push(format!("\"{words}\" is not known"));
            }
        }
    }

    /// Whether a piece that begins at this token is joined by `with`.
    pub(super) fn is_behind_with(&self, from: usize) -> bool {
        let before = self.tokens[..from].iter().rev();
        let mut words = before.map(|token| &self.text[token.from..token.to]);
        let word = words.find(|word| *word != "/").unwrap_or_default().to_lowercase();
        ["w", "with", "incl", "including", "includes"].contains(&&*word)
    }

    /// `replaced yaw sensor under the mat`: behind a part, after a word that says where or how.
    fn says_where(&self, items: &[Item], unknown: usize) -> bool {
        let before = || items.iter().rev().skip_while(|item| item.from >= unknown);
        let idle = |item: &&Item| {
            let meanings = [Meaning::Filler, Meaning::To, Meaning::NewPart, Meaning::State];
            matches!(item.what, What::Unknown | What::Number | What::Means(Meaning::Place(_)))
                || meanings.iter().any(|meaning| item.means(*meaning))
        };
        let says = |item: &Item| {
            let words = self.words(item.from, item.to).to_lowercase();
            words.split(' ').any(|word| PREPOSITIONS.contains(&word))
        };
        before().any(|item| item.noun().is_some()) && before().take_while(idle).any(says)
    }
}

/// Whether an unknown word of a job stands neither beside its action nor right behind a part, so that it is no part that
/// the action is about and makes no other of one.
fn stands_apart(items: &[Item], unknown: usize) -> bool {
    let Some(index) = items.iter().position(|item| item.from == unknown) else { return false };
    let weight = |item: &&Item| item.what != What::Unknown && !item.means(Meaning::Filler);
    let before = items[..index].iter().rev().find(weight);
    let part_before = items[..index].iter().any(|item| item.noun().is_some());
    let behind_an_action = before.is_some_and(|item| item.action().is_some());
    part_before && before.is_some_and(|item| item.noun().is_none())
        || behind_an_action && items[index..].iter().any(|item| item.noun().is_some())
}

/// `pan gasket`: an unknown word right before a small part belongs to it.
fn small_part_behind(items: &[Item], unknown: usize) -> bool {
    let mut behind = items.iter().skip_while(|item| item.from <= unknown);
    let small = behind.find(|item| item.what != What::Unknown);
    small.is_some_and(|item| item.means(Meaning::SmallPart))
        && behind.next().is_none_or(|item| item.noun().is_none())
}
