//! Pairs the actions of a line with its parts.
//!
//! A line falls into sentences and these into pieces. Within a piece an action belongs to the parts after it
//! (`replace pads`) or, where a part comes first, to the parts before it (`pads replaced`); a piece without an action
//! takes that of the piece before it, or waits for one.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Meaning, Place};
use crate::reader::cut::pieces;
use crate::reader::items::{Item, What};
use crate::reader::outcome::Read;
use crate::reader::own::OwnPhrases;
use crate::reader::passing::Passing;
use crate::reader::piece::{Done, Element, Joint, Named, Piece};
use crate::reader::tokens::Token;

/// What the words before a piece make of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mode {
    Plain,
    /// The customer tells.
    Said,
    /// The technician saw.
    Found,
    /// A reason; asks for nothing.
    Reason,
}

/// The action that a piece without one takes.
#[derive(Debug, Clone)]
pub(super) enum Current {
    None,
    Actions(Vec<Done>),
    Negated,
    Looked,
}

/// An operation read so far.
#[derive(Debug, Clone)]
pub(super) struct Taken<'l> {
    pub(super) read: Read<'l>,
    pub(super) done: Option<Done>,
    /// "R&R" of the part may mean that the same one goes back.
    pub(super) refitted: bool,
    /// Aiming the part follows from fitting it.
    pub(super) aimed: bool,
    pub(super) confidence: f64,
    /// Tokens from and to.
    pub(super) from: usize,
    pub(super) to: usize,
    /// Operations of one piece have one number.
    pub(super) group: usize,
    /// Only a candidate: nothing was said about the part.
    pub(super) guessed: bool,
}

/// A part that was refused or not touched.
#[derive(Debug)]
pub(super) struct Untouched {
    pub(super) part: Named,
    /// What was not done to it; empty for anything.
    pub(super) actions: Vec<Done>,
}

/// A line on its way from items to a reading.
#[expect(clippy::struct_excessive_bools, reason = "each is a thing of its own that was said")]
pub(super) struct Line<'l, 't> {
    pub(super) lexicon: &'l Lexicon,
    pub(super) own: &'l OwnPhrases,
    pub(super) text: &'t str,
    pub(super) tokens: &'t [Token],
    pub(super) taken: Vec<Taken<'l>>,
    pub(super) doubts: Vec<String>,
    /// Doubts that other work of the line may settle.
    pub(super) passing: Vec<Passing>,
    /// Words that nobody knows, where they can change nothing that was read.
    pub(super) aside: Vec<(usize, usize)>,
    /// Something says that nothing is done: a look, a refusal, a job that asks for nothing.
    pub(super) settled: bool,
    /// Parts that were refused or not touched.
    pub(super) untouched: Vec<Untouched>,
    pub(super) mode: Mode,
    pub(super) current: Current,
    /// What was denied last.
    pub(super) denied: Vec<Done>,
    /// Parts that wait for an action.
    pub(super) pending: Vec<Named>,
    /// Actions that wait for a part.
    pub(super) carried: Vec<Done>,
    pub(super) carried_places: Vec<Place>,
    /// Other words stood beside an action that waits.
    pub(super) carried_beside: bool,
    /// Every part that the line named.
    pub(super) spoken: Vec<Named>,
    /// Parts that the line spoke of last.
    pub(super) recent: Vec<Named>,
    /// What was spoken of last is a small part of something.
    pub(super) small: bool,
    /// The piece before told what is wrong with a part.
    pub(super) found_before: bool,
    /// The piece before said what is wrong with its parts.
    pub(super) worn_before: bool,
    /// Everything to the end of the sentence is refused or only priced.
    pub(super) refused: bool,
    /// Places that were told before any part was named: `LR corner low, air spring replaced`.
    pub(super) told: Vec<Place>,
    /// The axle that this sentence spoke of last.
    pub(super) axle: Option<Place>,
    pub(super) group: usize,
    pub(super) sentence_from: usize,
}

impl<'l, 't> Line<'l, 't> {
    pub(super) fn new(
        lexicon: &'l Lexicon,
        own: &'l OwnPhrases,
        text: &'t str,
        tokens: &'t [Token],
    ) -> Self {
        Self {
            lexicon,
            own,
            text,
            tokens,
            taken: Vec::new(),
            doubts: Vec::new(),
            passing: Vec::new(),
            told: Vec::new(),
            aside: Vec::new(),
            settled: false,
            untouched: Vec::new(),
            mode: Mode::Plain,
            current: Current::None,
            denied: Vec::new(),
            pending: Vec::new(),
            carried: Vec::new(),
            carried_places: Vec::new(),
            carried_beside: false,
            axle: None,
            spoken: Vec::new(),
            recent: Vec::new(),
            small: false,
            found_before: false,
            worn_before: false,
            refused: false,
            group: 0,
            sentence_from: 0,
        }
    }

    pub(super) fn read(mut self, items: &[Item]) -> super::LineReading {
        for sentence in items.split(|item| item.what == What::Stop) {
            self.sentence(sentence);
        }
        self.conclude()
    }

    fn sentence(&mut self, items: &[Item]) {
        self.mode = Mode::Plain;
        self.current = Current::None;
        self.refused = false;
        self.found_before = false;
        self.axle = None;
        self.sentence_from = self.group;
        let pieces = pieces(items);
        for (index, &(joint, piece)) in pieces.iter().enumerate() {
            let next = pieces
                .get(index + 1)
                .is_some_and(|&(joint, next)| joint == Joint::And && self.begins_a_job(next));
            self.piece(joint, piece, next);
        }
        let waiting = std::mem::take(&mut self.pending);
        if !waiting.is_empty() {
            // `Yaw sensor full of coffee. New one in.`
            self.recent.clone_from(&waiting);
        }
        for part in waiting {
            let words = self.words(part.from, part.to);
            let why = format!("nothing says what is done with \"{words}\"");
            let mark = self.tokens.get(part.to).map_or("", |mark| &self.text[mark.from..mark.to]);
            if self.is_heading(&part) && part.places.is_empty() && matches!(mark, ":" | "-") {
                // `ENGINE: replaced water pump`
                self.ask_unless_work_is_done(why);
                continue;
            }
            self.ask_unless_worked_on(vec![part.clone()], why);
            self.guess(&part);
        }
        for done in std::mem::take(&mut self.carried) {
            let words = self.words(done.from, done.to);
            self.doubts.push(format!("nothing says what \"{words}\" is about"));
        }
    }

    /// Whether a piece begins with an action and names a part after it.
    fn begins_a_job(&self, items: &[Item]) -> bool {
        let piece = Piece::scan(items);
        matches!(piece.elements.first(), Some(Element::Action(done)) if !self.looks(done))
            && piece.parts().next().is_some()
    }

    pub(super) fn piece(&mut self, joint: Joint, items: &[Item], next_is_job: bool) {
        let at = |meaning: Meaning| items.iter().position(|item| item.means(meaning));
        if self.mode == Mode::Plain && items.first().is_some_and(|item| self.is_code(item)) {
            // `P2138 accelerator pedal position`: what a trouble code is called is a finding.
            self.mode = Mode::Found;
        }
        if self.mode == Mode::Said && !self.leaves_story(joint, items) {
            return;
        }
        let why =
            at(Meaning::Purpose).filter(|why| at(Meaning::Said).is_some_and(|said| said > *why));
        if why.is_some() || joint == Joint::Around && at(Meaning::Said).is_some() {
            // `reflashed for the hesitation complaint`
            self.head(joint, &items[..why.unwrap_or(0)]);
        } else if let Some(index) = at(Meaning::Said) {
            if index > 0 {
                self.piece(joint, &items[..index], false);
            }
            self.mode = Mode::Said;
            let rest = &items[index + 1..];
            if let Some(found) = rest.iter().position(|item| item.means(Meaning::Found)) {
                self.piece(Joint::Comma, &rest[found..], next_is_job);
            }
        } else if at(Meaning::Declined).or(at(Meaning::Quote)).is_some() {
            self.refuse(joint, items);
        } else if self.refused {
            self.settled = true;
            if self.tells_of_work(items) {
                if !self.begins_with_past_work(items) {
                    // `quoted radiator, hose replaced`
                    self.doubts.push("whether this was only priced is not clear".to_owned());
                }
                self.plain(joint, items, next_is_job);
            }
        } else if let Some(index) = at(Meaning::Found) {
            self.head(joint, &items[..index]);
            self.find(&items[index + 1..]);
        } else if let Some(index) = at(Meaning::Reason) {
            self.head(joint, &items[..index]);
            self.mode = Mode::Reason;
            let reason = &items[index..];
            let undone = reason.iter().any(|item| item.means(Meaning::Not));
            if undone && reason.iter().any(|item| item.action().is_some()) {
                self.doubts.push("a reason says \"not\"".to_owned());
            }
        } else if let Some(index) = at(Meaning::Access) {
            if Piece::scan(&items[index..]).condition {
                self.doubts.push("it depends on something".to_owned());
            }
            let purpose = items[..index].iter().position(|item| item.means(Meaning::Purpose));
            self.head(joint, &items[..purpose.unwrap_or(index)]);
        } else if let Some(index) = at(Meaning::Purpose) {
            self.head(joint, &items[..index]);
            self.purpose(&items[index + 1..]);
        } else if let Some(index) = at(Meaning::Not) {
            let items = self.read_jobs_before(joint, items, index);
            let index = items.iter().position(|item| item.means(Meaning::Not)).unwrap_or(0);
            let head = Piece::scan(&items[..index]);
            // `coding not needed`, `BCM update not available`: what stands before it is not done either.
            let needless = items[index..].iter().take(2).any(|item| {
                let words = self.words(item.from, item.to).to_lowercase();
                ["need", "requ", "nece", "avail"].iter().any(|word| words.contains(word))
            });
            let only_named = || {
                let last = items[..index].iter().rfind(|item| !item.means(Meaning::Filler));
                last.is_some_and(|last| {
                    last.action().is_some() && !self.in_the_past(last.from, last.to)
                })
            };
            let complete = head.actions().any(|done| !done.weak && !self.looks(done))
                && !(needless && (head.parts().next().is_none() || only_named()));
            if complete {
                self.plain(joint, &items[..index], false);
            }
            self.leave(&items[if complete { index } else { 0 }..], complete);
        } else {
            self.plain(joint, items, next_is_job);
        }
    }

    pub(super) fn head(&mut self, joint: Joint, items: &[Item]) {
        if !items.is_empty() {
            self.piece(joint, items, false);
        }
    }

    pub(super) fn plain(&mut self, joint: Joint, items: &[Item], next_is_job: bool) {
        let mut piece = Piece::scan(items);
        for &(phrase, from, to) in &piece.own {
            self.take_own(phrase, from, to);
        }
        if self.says_used_again(&piece) {
            self.settled = true;
            let mut parts: Vec<Named> = piece.parts().cloned().collect();
            if parts.is_empty() {
                // `rotors, front, reuse`
                parts = std::mem::take(&mut self.pending);
            }
            self.use_again(parts);
            return;
        }
        if self.only_recommended(&piece) {
            self.refuse_parts(piece.parts().cloned().collect());
            self.current = Current::Negated;
            self.ask_of_what_is_recommended();
            return;
        }
        if piece.condition {
            self.doubts.push("it depends on something".to_owned());
        }
        if piece.history && piece.parts().any(|part| self.is_job_alone(part)) {
            // `alignment was performed last week`
            self.doubts.push("it may tell of earlier work".to_owned());
        } else if piece.history && piece.actions().next().is_none() {
            // `clockspring overwound by previous shop, put in a new one`
            self.ask_unless_work_is_done("it may tell of earlier work".to_owned());
        } else if piece.history {
            self.doubts.push("it may tell of earlier work".to_owned());
        }
        if matches!(joint, Joint::Around | Joint::Then) && matches!(self.current, Current::Negated)
        {
            self.doubts.push("how far \"not\" reaches is not clear".to_owned());
        }
        if self.takes_off_something_else(items) {
            self.doubts.push("something else may be taken off the part".to_owned());
        }
        for at in items.windows(3) {
            // `windshield w/ rain sensor` may only say which windshield.
            let fitted = self.is_with(&at[1]).then(|| at[0].noun().zip(at[2].noun())).flatten();
            if fitted.is_some_and(|(whole, part)| self.noun_sits_in(part, whole)) {
                let words = self.words(at[0].from, at[2].to);
                self.doubts.push(format!("\"{words}\": whether both are exchanged is not said"));
            }
        }
        if piece.correction && self.mode != Mode::Reason {
            self.mode = Mode::Plain;
        }
        self.resolve_shared(&mut piece);
        let real = self.keep_real_actions(&mut piece) && !self.only_looked_at(items);
        let looks = piece.actions().next().is_some() && !real;
        if real {
            self.name_again(&mut piece);
        }
        let aside = joint == Joint::Around && piece.parts().next().is_none();
        let happened = joint == Joint::Around && piece.state && !piece.new_part;
        let story = (aside || happened || matches!(self.mode, Mode::Found | Mode::Reason)) && !real;
        if aside && real {
            // `MAF replaced after cleaning did not help`
            self.doubts.push("whether work before or after this was done is not clear".to_owned());
        }
        if looks || story {
            self.tolerate(&piece);
        } else {
            self.weigh_unknown(joint, items, &piece, real);
        }
        self.spoken.extend(piece.parts().cloned());
        self.small &= piece.parts().next().is_none();
        let said = piece.parts().filter(|part| self.is_heading(part)).last();
        if let Some([place @ Place { axle: Some(_), .. }]) = said.map(|part| &part.places[..]) {
            self.axle = Some(Place { side: None, either: false, ..*place });
        }
        if piece.nothing {
            self.settled = true;
            self.ask_of_a_low_fluid(&piece);
            if real && piece.parts().next().is_some() {
                self.doubts.push("work is named beside something that asks for nothing".to_owned());
            }
        }
        if looks {
            self.look(joint, &piece);
        } else if real {
            self.mode = Mode::Plain;
            self.found_before = false;
            for part in piece.parts() {
                self.leave_heading(part);
            }
            let named = joint == Joint::Around
                && piece.parts().next().is_some()
                && items.iter().any(|item| item.action().is_some() && self.names_work(item));
            let before = if named { self.recent.clone() } else { Vec::new() };
            self.work(joint, &piece, next_is_job);
            // `sensor damaged during hub removal, replaced`: either may be meant behind it.
            self.recent.splice(0..0, before);
        } else if piece.parts().next().is_none() {
            self.bare(joint, &piece);
        } else {
            self.parts_only(joint, &piece);
        }
        self.worn_before = piece.state;
    }

    pub(super) fn begin_group(&mut self) {
        self.group += 1;
    }

    pub(super) fn words(&self, from: usize, to: usize) -> &'t str {
        let (Some(first), Some(last)) = (self.tokens.get(from), self.tokens.get(to.max(1) - 1))
        else {
            return "";
        };
        self.text.get(first.from..last.to).unwrap_or_default()
    }
}
