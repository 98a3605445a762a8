//! Doubts about what stands beside the work of a line: they weigh only where that work does not settle them.

use crate::reader::line::{Line, Taken};
use crate::reader::outcome;
use crate::reader::piece::{Named, Piece};

/// A doubt that waits for the end of the line.
#[derive(Debug)]
pub(super) struct Passing {
    /// Work on any of these settles it; where none is named, any work does.
    about: Vec<Named>,
    /// Only work that names the part again settles it.
    again: bool,
    /// It was only recommended; a refusal settles it too.
    recommended: bool,
    why: String,
}

impl Line<'_, '_> {
    /// `radar housing cracked: new radar`: a part of which nothing was said, until it is worked on.
    pub(super) fn ask_unless_worked_on(&mut self, about: Vec<Named>, why: String) {
        self.passing.push(Passing { about, again: false, recommended: false, why });
    }

    /// `transfer case chain noisy, transfer case exchanged`: what a word beside it makes of a part, until the part itself
    /// is named with its work.
    pub(super) fn ask_unless_named_again(&mut self, about: Vec<Named>, why: String) {
        self.passing.push(Passing { about, again: true, recommended: false, why });
    }

    /// `pan gasket leaks, pan resealed, filled with ATF`: of no weight beside work on something else.
    pub(super) fn ask_unless_work_is_done(&mut self, why: String) {
        self.passing.push(Passing { about: Vec::new(), again: false, recommended: false, why });
    }

    /// `front pads recommended, declined`
    pub(super) fn ask_of_what_is_recommended(&mut self) {
        let why = "it is only recommended".to_owned();
        self.passing.push(Passing { about: Vec::new(), again: false, recommended: true, why });
    }

    /// What was recommended was refused.
    pub(super) fn refuse_what_is_recommended(&mut self) {
        self.passing.retain(|passing| !passing.recommended);
    }

    /// `rotors recommended`: nothing is done, only spoken of.
    pub(super) fn only_recommended(&self, piece: &Piece) -> bool {
        piece.recommended
            && piece.parts().next().is_some()
            && !piece.actions().any(|done| !done.weak && self.in_the_past(done.from, done.to))
    }

    pub(super) fn in_the_past(&self, from: usize, to: usize) -> bool {
        let words = self.words(from, to).to_lowercase();
        words.split(' ').next().is_some_and(|verb| verb.ends_with("ed"))
    }

    /// Makes doubts of those that no work settled, and drops the candidates of those that were.
    pub(super) fn weigh_passing(&mut self) {
        let real: Vec<Taken<'_>> =
            self.taken.iter().filter(|taken| !taken.guessed).cloned().collect();
        let worked_on = |part: &Named, again: bool| {
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            let whole = || {
                let names = noun.by_axle.iter().flatten().chain([&noun.component]);
                names.map(|name| (&**name, None)).collect()
            };
            let meant = outcome::components(noun, part).unwrap_or_else(whole);
            real.iter().any(|taken| {
                meant.iter().any(|(component, place)| {
                    *component == taken.read.component
                        && (!again || taken.from >= part.to)
                        && (place.is_none()
                            || taken.read.place.is_none()
                            || *place == taken.read.place)
                })
            })
        };
        let mut left = Vec::new();
        for Passing { about, again, why, .. } in &self.passing {
            let settled = if about.is_empty() {
                !real.is_empty()
            } else {
                about.iter().any(|part| worked_on(part, *again))
            };
            if !settled {
                left.push(why.clone());
            }
        }
        self.taken.retain(|taken| {
            let same = |other: &Taken<'_>| {
                other.read.component == taken.read.component
                    && (taken.read.place.is_none()
                        || other.read.place.is_none()
                        || other.read.place == taken.read.place)
            };
            !(taken.guessed && real.iter().any(same))
        });
        self.doubts.append(&mut left);
    }
}
