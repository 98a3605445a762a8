//! A piece of a line between two marks or joining words: which actions and parts it holds, in their order.

use crate::lexicon::kinds::{Axle, Meaning, Place, Side};
use crate::reader::items::{Item, What};

/// How a piece hangs on the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Joint {
    /// The first of its sentence.
    Start,
    /// After a comma, colon, bracket or dash.
    Comma,
    /// After `and`, `with`, `/`.
    And,
    /// After `then`, or `to` before an action.
    Then,
    /// After `before`, `after`.
    Around,
}

/// A part as the line names it.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "each is said or not, on its own")]
pub(crate) struct Named {
    pub(crate) noun: u16,
    pub(crate) places: Vec<Place>,
    /// On every axle or wheel.
    pub(crate) all: bool,
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) corrected: bool,
    /// A small part or an unknown word beside it makes it another part.
    pub(crate) compound: bool,
    /// Joined by `and` to the part before it.
    pub(crate) joined: bool,
}

impl Named {
    /// Whether the action stands right beside it: `align radar`, not `control arm LF, align`.
    pub(crate) fn said_with(&self, done: &Done) -> bool {
        done.to == self.from || self.to == done.from
    }
}

/// An action as the line names it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Done {
    pub(crate) action: u16,
    pub(crate) weak: bool,
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) corrected: bool,
    /// A new part is named with it.
    pub(crate) new_part: bool,
}

#[derive(Debug, Clone)]
pub(crate) enum Element {
    Action(Done),
    Part(Named),
}

/// What a run of items holds.
#[derive(Debug, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is said or not, on its own")]
pub(crate) struct Piece {
    pub(crate) elements: Vec<Element>,
    /// Places that belong to no part of this piece.
    pub(crate) places: Vec<Place>,
    /// Items that nobody knows.
    pub(crate) unknown: Vec<(usize, usize)>,
    pub(crate) own: Vec<(usize, usize, usize)>,
    pub(crate) all: bool,
    pub(crate) new_part: bool,
    pub(crate) same_part: bool,
    pub(crate) state: bool,
    /// What is wrong or well stands behind the last part: `rotors worn`, not `worn rotors`.
    pub(crate) state_behind: bool,
    pub(crate) nothing: bool,
    pub(crate) small_part: bool,
    pub(crate) access: bool,
    pub(crate) condition: bool,
    pub(crate) recommended: bool,
    pub(crate) history: bool,
    pub(crate) not: bool,
    pub(crate) correction: bool,
    pub(crate) number: bool,
    /// It says `only`, and begins with it.
    pub(crate) only: bool,
    pub(crate) only_first: bool,
    pub(crate) other_side: bool,
    /// Tokens from and to.
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// How many words and phrases it has.
    pub(crate) length: usize,
}

impl Piece {
    pub(crate) fn scan(items: &[Item]) -> Self {
        let mut piece = Self {
            length: items.len(),
            from: items.first().map_or(0, |item| item.from),
            to: items.last().map_or(0, |item| item.to),
            ..Self::default()
        };
        let mut pending: Vec<Place> = Vec::new();
        let mut joined = false;
        for (index, item) in items.iter().enumerate() {
            let What::Means(meaning) = item.what else {
                match item.what {
                    What::Unknown => piece.unknown.push((item.from, item.to)),
                    What::Number => piece.number = true,
                    What::Own(phrase) => piece.own.push((phrase, item.from, item.to)),
                    _ => {}
                }
                continue;
            };
            match meaning {
                Meaning::Action(action) | Meaning::WeakAction(action) => {
                    piece.elements.push(Element::Action(Done {
                        action,
                        weak: matches!(meaning, Meaning::WeakAction(_)),
                        from: item.from,
                        to: item.to,
                        corrected: item.corrected,
                        new_part: false,
                    }));
                }
                Meaning::Noun(noun) => {
                    piece.state_behind = false;
                    piece.elements.push(Element::Part(Named {
                        noun,
                        places: std::mem::take(&mut pending),
                        all: false,
                        from: item.from,
                        to: item.to,
                        corrected: item.corrected,
                        compound: is_compound(items, index),
                        joined,
                    }));
                }
                Meaning::Place(place) => {
                    let before_part = items[index + 1..]
                        .iter()
                        .find(|item| {
                            !matches!(
                                item.what,
                                What::Means(
                                    Meaning::Filler
                                        | Meaning::Place(_)
                                        | Meaning::Join
                                        | Meaning::NewPart
                                ) | What::Number
                            )
                        })
                        .is_some_and(|item| item.noun().is_some());
                    let target = match piece.elements.last_mut() {
                        Some(Element::Part(part)) if !before_part => &mut part.places,
                        _ => &mut pending,
                    };
                    add(target, place, joined);
                }
                Meaning::AllRound => piece.all = true,
                Meaning::NewPart => piece.new_part = true,
                Meaning::SamePart => piece.same_part = true,
                Meaning::State => {
                    piece.state = true;
                    piece.state_behind = matches!(piece.elements.last(), Some(Element::Part(_)));
                }
                Meaning::Nothing | Meaning::Beside => piece.nothing |= meaning == Meaning::Nothing,
                Meaning::SmallPart => piece.small_part = true,
                Meaning::Access => piece.access = true,
                Meaning::Condition => piece.condition = true,
                Meaning::Recommended => (piece.condition, piece.recommended) = (true, true),
                Meaning::History => piece.history = true,
                Meaning::Not => piece.not = true,
                Meaning::Correction => piece.correction = true,
                Meaning::Only => {
                    piece.only = true;
                    piece.only_first |= piece.elements.is_empty();
                }
                Meaning::OtherSide => piece.other_side = true,
                _ => {}
            }
            joined = meaning == Meaning::Join;
        }
        piece.finish(pending);
        piece
    }

    /// Places without a part after them go to an only part before them, or stay with the piece.
    fn finish(&mut self, pending: Vec<Place>) {
        let mut left = pending;
        for element in &mut self.elements {
            if let Element::Part(part) = element {
                if part.places.is_empty() {
                    part.places = std::mem::take(&mut left);
                }
                complete(&mut part.places);
                part.all = self.all;
            }
        }
        self.share();
        complete(&mut left);
        if let [Element::Part(part), Element::Action(_)] = &mut self.elements[..]
            && let [Place { axle, side: None, .. }] = part.places[..]
            && !left.is_empty()
            && left.iter().all(|place| place.axle.is_none())
        {
            // `front radars replaced L&R`
            part.places = left.drain(..).map(|place| Place { axle, ..place }).collect();
        }
        self.places = left;
        let new_part = self.new_part;
        for element in &mut self.elements {
            if let Element::Action(done) = element {
                done.new_part = new_part;
            }
        }
    }

    /// `rear pads and rotors`, `window regulator and motor LF`: a place said once holds for all that are joined.
    fn share(&mut self) {
        for index in 1..self.elements.len() {
            if let [Element::Part(before), Element::Part(part)] =
                &mut self.elements[index - 1..=index]
                && part.joined
            {
                if part.places.is_empty() {
                    part.places.clone_from(&before.places);
                } else if before.places.is_empty() {
                    before.places.clone_from(&part.places);
                }
            }
        }
    }

    pub(crate) fn parts(&self) -> impl Iterator<Item = &Named> {
        self.elements.iter().filter_map(|element| match element {
            Element::Part(part) => Some(part),
            Element::Action(_) => None,
        })
    }

    pub(crate) fn actions(&self) -> impl Iterator<Item = &Done> {
        self.elements.iter().filter_map(|element| match element {
            Element::Action(done) => Some(done),
            Element::Part(_) => None,
        })
    }
}

/// Adds a place: `left` and `front` beside each other are one wheel, with `and` between them two places.
pub(crate) fn add(places: &mut Vec<Place>, place: Place, joined: bool) {
    if let Some(last) = places.last_mut().filter(|_| !joined) {
        let one_wheel = (last.axle.is_none() || place.axle.is_none() || last.axle == place.axle)
            && (last.side.is_none() || place.side.is_none() || last.side == place.side);
        if one_wheel {
            last.axle = last.axle.or(place.axle);
            last.side = last.side.or(place.side);
            last.either = (last.either || place.either) && last.side.is_none();
            return;
        }
    }
    if !places.contains(&place) {
        places.push(place);
    }
}

/// Whether the part at this place is named as that of another: `throttle body gasket`, `radar front bracket`,
/// `connector at MAF sensor`; or has a word beside it that nobody knows.
fn is_compound(items: &[Item], index: usize) -> bool {
    let idle = |item: &&Item| {
        matches!(item.what, What::Number | What::Means(Meaning::Filler | Meaning::Place(_)))
    };
    let behind = items[index + 1..].iter().find(|item| !idle(item));
    let before = items[..index].iter().rev().find(|item| {
        !matches!(item.what, What::Means(Meaning::Filler | Meaning::To | Meaning::Place(_)))
    });
    let next = items.get(index + 1);
    let last = index.checked_sub(1).and_then(|index| items.get(index));
    behind.into_iter().chain(before).any(|item| item.means(Meaning::SmallPart))
        || next.into_iter().chain(last).any(|item| item.what == What::Unknown)
}

/// `front LH and RH`: the axle that one names holds for all.
fn complete(places: &mut [Place]) {
    // `LR and RR`: beside another wheel it is a wheel.
    if places.iter().any(|place| place.axle.is_some() && place.side.is_some()) {
        for place in places.iter_mut().filter(|place| place.either) {
            *place = Place { side: Some(Side::Right), either: false, ..*place };
        }
    }
    let axles: Vec<Axle> = places.iter().filter_map(|place| place.axle).collect();
    if let [axle] = axles[..] {
        for place in places {
            if place.side.is_some() {
                place.axle = Some(axle);
            }
        }
    }
}
