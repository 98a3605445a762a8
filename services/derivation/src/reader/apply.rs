//! Takes down the operations of actions on parts.

use crate::lexicon::kinds::Place;
use crate::reader::line::{Line, Taken};
use crate::reader::outcome::{self, Read};
use crate::reader::piece::{Done, Named};

/// A line with more is no line of work.
const MOST_OPERATIONS: usize = 128;

impl Line<'_, '_> {
    pub(super) fn job(&mut self, actions: &[Done], parts: &[Named], same_part: bool, factor: f64) {
        for part in parts {
            // `replace tie rods and alignment`: what is a job by itself takes no action that does not fit it.
            let unfit = actions
                .iter()
                .any(|done| outcome::resolve(self.lexicon, done, part, same_part).doubt.is_some());
            let own = self.lexicon.nouns[usize::from(part.noun)].alone.as_deref();
            let gives =
                |done: &Done| self.lexicon.actions[usize::from(done.action)].gives.as_deref();
            // `tire rotation with oil change`
            let other = own.is_some() && !actions.iter().any(|done| gives(done) == own);
            if own.is_some() && (unfit || other) {
                self.alone(part, factor);
                continue;
            }
            for done in actions {
                self.apply(done, part, factor, same_part);
            }
        }
    }

    /// Reads one action on one part.
    pub(super) fn apply(&mut self, done: &Done, part: &Named, factor: f64, same_part: bool) {
        // `replaced front pads, resurfaced rotors`: the axle that was said holds until another is.
        let mut part = part.clone();
        if part.places.is_empty() && !part.all {
            // `found LF strut leaking, replaced strut`: the place that was said holds.
            let same = self
                .recent
                .iter()
                .find(|known| known.noun == part.noun && !known.places.is_empty());
            // `seat mat RF replaced, R&I seat`: so does that of what sits in it, or in what it sits.
            let around = |known: &&Named| {
                let its = &self.lexicon.nouns[usize::from(known.noun)].its;
                !known.places.is_empty()
                    && (self.sits_in(known, &part)
                        || self.sits_in(&part, known)
                        || its.values().any(|its| *its == part.noun))
            };
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            let vague = noun.aimed && noun.by_axle.is_some();
            let known = same
                .or_else(|| self.recent.iter().find(around).filter(|_| !vague))
                .or_else(|| self.spoken_at(|known| known.noun == part.noun))
                .or_else(|| self.spoken_at(|known| self.sits_in(&part, known)).filter(|_| !vague));
            part.places.extend(known.into_iter().flat_map(|known| known.places.clone()));
            if part.places.is_empty()
                && !self.lexicon.nouns[usize::from(part.noun)].single
                && let [place] = self.told[..]
            {
                part.places.push(place);
            }
            if same.is_none() && self.lexicon.nouns[usize::from(part.noun)].by_axle.is_some() {
                part.places.retain(|place| place.axle.is_some());
                part.places.iter_mut().for_each(|place| place.side = None);
                part.places.dedup();
            }
        }
        if self.lexicon.nouns[usize::from(part.noun)].by_axle.is_some() && !part.all {
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            if part.places.is_empty() && noun.aimed {
                // `R&I front bumper, R&R radar`: a corner of it may hold one too.
            } else if part.places.is_empty() {
                part.places.extend(self.axle);
            } else if let (
                [place @ Place { axle: None, side: Some(_), .. }],
                Some(Place { axle, .. }),
            ) = (&mut part.places[..], self.axle)
            {
                // `rear brakes: pads, RH caliper`
                place.axle = axle;
            } else if let [place] = part.places[..] {
                self.axle = Some(Place { side: None, either: false, ..place });
            }
        }
        let axle_only = self.lexicon.nouns[usize::from(part.noun)].on_axle || self.several(&part);
        if axle_only {
            // `RR subframe`, `RR shocks`: the rear axle, not its right side.
            part.places.iter_mut().for_each(|place| place.either = false);
        }
        let part = &part;
        let outcomes = outcome::resolve(self.lexicon, done, part, same_part);
        self.settled |= outcomes.nothing;
        let action = &self.lexicon.actions[usize::from(done.action)];
        // Whether the procedure itself was asked for is seen when the whole line is read.
        if action.gives.as_deref() == Some("repair") && self.mends_a_complaint(done, part) {
            let words = self.words(part.from, done.to);
            self.doubts.push(format!("\"{words}\": what was repaired is not said"));
        }
        let later = action.follows || action.doubted || action.slight;
        if let Some(doubt) = outcomes.doubt.filter(|_| !later) {
            let words = self.words(done.from.min(part.from), done.to.max(part.to));
            self.doubts.push(format!("\"{words}\": {doubt}"));
        }
        let typed = if done.corrected || part.corrected { 0.97 } else { 1.0 };
        let noun = &self.lexicon.nouns[usize::from(part.noun)];
        let (refitted, aimed) = (noun.often_refitted, noun.aimed);
        if self.taken.len() + outcomes.reads.len() > MOST_OPERATIONS {
            self.doubts.push(format!("it names more than {MOST_OPERATIONS} operations"));
            return;
        }
        for read in outcomes.reads {
            self.taken.push(Taken {
                read,
                refitted,
                aimed,
                done: Some(*done),
                confidence: 0.99 * factor * typed,
                from: done.from.min(part.from),
                to: done.to.max(part.to),
                group: self.group,
                guessed: false,
            });
        }
    }

    /// `coolant leak fixed`, `TPMS light, repaired`: what was mended is not the part that is named.
    fn mends_a_complaint(&self, done: &Done, part: &Named) -> bool {
        if part.to >= done.from {
            return false;
        }
        // `headlamp out, fixed` against `cluster out, repaired, back in`
        let fixed = self.words(done.from, done.to).to_lowercase().starts_with("fix");
        let words = self.words(part.to, done.from).to_lowercase();
        words.split(|letter: char| !letter.is_alphanumeric()).any(|word| {
            ["light", "lamp", "leak", "noise", "code", "issue", "problem"].contains(&word)
                || fixed && word == "out"
        })
    }

    /// Such a part as the line named it before, where it always was at one place.
    fn spoken_at(&self, such: impl Fn(&Named) -> bool) -> Option<&Named> {
        let mut before = self.spoken.iter().filter(|known| such(known) && !known.places.is_empty());
        let first = before.next()?;
        before.all(|other| other.places == first.places).then_some(first)
    }

    /// Whether a part is named in the plural.
    fn several(&self, part: &Named) -> bool {
        let words = self.words(part.from, part.to).to_lowercase();
        let last = words.rsplit(' ').next().unwrap_or_default();
        last.len() > 4 && last.ends_with('s') && !last.ends_with("ss")
    }

    pub(super) fn take_own(&mut self, phrase: usize, from: usize, to: usize) {
        self.begin_group();
        let own = self.own.get(phrase);
        self.settled = true;
        for operation in &own.operations {
            self.taken.push(Taken {
                read: Read {
                    action: &operation.action,
                    component: &operation.component,
                    place: operation.place.as_deref(),
                    sure: true,
                },
                done: None,
                refitted: false,
                aimed: false,
                confidence: 1.0,
                from,
                to,
                group: self.group,
                guessed: false,
            });
        }
    }

    /// Parts side by side without a joining word: one of them may say where the other sits.
    pub(super) fn side_by_side<'p>(&self, parts: impl Iterator<Item = &'p Named>) -> Vec<Named> {
        let all: Vec<Named> = parts.cloned().collect();
        let beside = |index: usize| {
            let before = (index > 0 && !all[index].joined).then(|| &all[index - 1]);
            let after = all.get(index + 1).filter(|after| !after.joined);
            before.into_iter().chain(after)
        };
        let mut kept: Vec<Named> = Vec::with_capacity(all.len());
        for (index, part) in all.iter().enumerate() {
            if beside(index).any(|other| self.sits_in(other, part)) {
                continue;
            }
            let mut part = part.clone();
            let location = beside(index).find(|location| self.sits_in(&part, location));
            let said = location.map(|location| location.places.clone()).unwrap_or_default();
            match (&mut part.places[..], &said[..]) {
                ([], _) => part.places = said,
                // `RT PARK SENSOR REAR BUMPER`
                (places, [Place { axle: Some(axle), side: None, .. }]) => {
                    for place in places.iter_mut().filter(|place| place.axle.is_none()) {
                        place.axle = Some(*axle);
                    }
                }
                _ => {}
            }
            kept.push(part);
        }
        for index in 1..kept.len() {
            if !self.same_component(&kept[index], &kept[index - 1]) && !kept[index].joined {
                kept[index].compound = true;
                kept[index - 1].compound = true;
            }
        }
        kept
    }

    pub(super) fn sits_in(&self, part: &Named, location: &Named) -> bool {
        self.noun_sits_in(part.noun, location.noun)
    }

    pub(super) fn noun_sits_in(&self, part: u16, location: u16) -> bool {
        let location = &self.lexicon.nouns[usize::from(location)];
        let names = location.by_axle.iter().flatten().chain([&location.component]);
        let part = &self.lexicon.nouns[usize::from(part)];
        names.into_iter().any(|name| part.sits_in.iter().any(|known| known == name))
    }

    pub(super) fn same_component(&self, one: &Named, other: &Named) -> bool {
        let component = |part: &Named| &self.lexicon.nouns[usize::from(part.noun)].component;
        component(one) == component(other)
    }

    /// Whether an operation is about this part, where the part names no other place.
    pub(super) fn is_about(&self, taken: &Taken<'_>, part: &Named) -> bool {
        taken.group > self.sentence_from
            && part.places.is_empty()
            && *self.lexicon.nouns[usize::from(part.noun)].component == *taken.read.component
    }

    pub(super) fn only_location(&self, location: &Named, parts: &[Named]) -> bool {
        parts.iter().any(|part| self.sits_in(part, location))
    }
}
