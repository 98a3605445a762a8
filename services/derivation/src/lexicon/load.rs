//! Fills a lexicon from its files.

use std::collections::BTreeMap;

use crate::lexicon::document::{ActionEntry, NounEntry, WordsDocument};
use crate::lexicon::kinds::{Action, Axle, Meaning, Noun, Outcome, Place};
use crate::lexicon::{Lexicon, LexiconError, forms};

impl Lexicon {
    pub(super) fn add_nouns(
        &mut self,
        entries: &BTreeMap<String, NounEntry>,
        faults: &mut Vec<LexiconError>,
    ) {
        for (index, (name, entry)) in entries.iter().enumerate() {
            let its = entry.its.iter().filter_map(|(word, part)| {
                let index = entries.keys().position(|known| known == part);
                if index.is_none() {
                    let (entry, name) = (name.clone(), part.clone());
                    faults.push(LexiconError::Unknown { entry, name });
                }
                Some((word.as_str().into(), index.and_then(|index| u16::try_from(index).ok())?))
            });
            let its = its.collect();
            let pair = |text: &String| {
                text.split_once(' ').map(|(action, component)| (action.into(), component.into()))
            };
            let means = entry.means.iter().map(|(action, outcome)| {
                let outcome = match outcome.as_str() {
                    "nothing" => Outcome::Nothing,
                    "nothing_known" => Outcome::NothingKnown,
                    text => text.split_once(' ').map_or(Outcome::NothingKnown, |(action, part)| {
                        Outcome::Operation(action.into(), part.into())
                    }),
                };
                (action.as_str().into(), outcome)
            });
            self.nouns.push(Noun {
                component: entry.is.as_deref().unwrap_or(name).into(),
                also: entry.also.as_deref().map(Into::into),
                by_axle: entry
                    .front
                    .as_deref()
                    .zip(entry.rear.as_deref())
                    .map(|(front, rear)| [front.into(), rear.into()]),
                otherwise: entry.otherwise.as_deref().map(Into::into),
                takes: boxed(&entry.takes),
                fluid: entry.fluid,
                means: means.collect(),
                alone: entry.alone.as_deref().map(Into::into),
                only: boxed(&entry.only),
                often_refitted: entry.often_refitted,
                sits_in: boxed(&entry.sits_in),
                asks: entry.asks.iter().filter_map(pair).collect(),
                nothing: entry.nothing,
                single: entry.single,
                aimed: entry.aimed,
                own_coolant: entry.own_coolant,
                its,
                heads: Vec::new(),
                any: entry.any.as_deref().map(Into::into),
                placed: entry.placed,
                set_after: boxed(&entry.set_after),
                on_axle: entry.on_axle,
                behind: entry
                    .behind
                    .iter()
                    .filter_map(|(action, meant)| Some((action.as_str().into(), pair(meant)?)))
                    .collect(),
            });
            let meaning = Meaning::Noun(u16::try_from(index).unwrap_or(u16::MAX));
            self.add(name, &entry.said, meaning, faults);
        }
    }

    /// Notes what each word means by itself, and for each part the last words of its longer names.
    pub(super) fn note_last_words(&mut self) {
        for (word, meaning, alone) in self.phrases.last_words() {
            match meaning {
                _ if alone => self.words.stands_for(word, meaning),
                Meaning::Noun(noun) => self.nouns[usize::from(noun)].heads.push(word),
                _ => {}
            }
        }
        for noun in &mut self.nouns {
            noun.heads.sort_unstable();
            noun.heads.dedup();
        }
    }

    pub(super) fn add_actions(
        &mut self,
        entries: &BTreeMap<String, ActionEntry>,
        nouns: &BTreeMap<String, NounEntry>,
        faults: &mut Vec<LexiconError>,
    ) {
        for (index, (name, entry)) in entries.iter().enumerate() {
            let mut noun = |noun: &String| {
                let index = nouns.keys().position(|known| known == noun);
                let index = index.and_then(|index| u16::try_from(index).ok());
                if index.is_none() {
                    let (entry, name) = (name.clone(), noun.clone());
                    faults.push(LexiconError::Unknown { entry, name });
                }
                index
            };
            self.actions.push(Action {
                name: name.as_str().into(),
                gives: entry.gives.as_deref().map(Into::into),
                elsewhere: entry.elsewhere.as_deref().map(Into::into),
                asks: boxed(&entry.asks),
                looks: entry.looks,
                half: entry.half,
                alone: entry.alone.as_ref().and_then(&mut noun),
                doubted: entry.doubted,
                doubted_where_often_refitted: entry.doubted_where_often_refitted,
                fluids_only: entry.fluids_only,
                slight: entry.slight,
                follows: entry.follows,
                only_on: entry.only_on.iter().filter_map(&mut noun).collect(),
            });
            let index = u16::try_from(index).unwrap_or(u16::MAX);
            let verbs: Vec<String> =
                entry.verbs.iter().flat_map(|verb| forms::in_all_writings(verb)).collect();
            if !entry.looks {
                let single = verbs.iter().filter(|verb| !verb.contains(' '));
                self.verbs.extend(single.map(|verb| verb.as_str().into()));
            }
            self.add(name, &entry.weak, Meaning::WeakAction(index), faults);
            self.add(name, &verbs, Meaning::Action(index), faults);
            self.add(name, &entry.said, Meaning::Action(index), faults);
        }
    }

    pub(super) fn add_words(&mut self, words: &WordsDocument, faults: &mut Vec<LexiconError>) {
        for (name, phrases) in &words.places {
            match Place::named(name) {
                Some(place) => self.add(name, phrases, Meaning::Place(place), faults),
                None => faults
                    .push(LexiconError::Unknown { entry: "places".to_owned(), name: name.clone() }),
            }
        }
        let either = Place { axle: Some(Axle::Rear), side: None, either: true };
        let lists = [
            ("rear_or_rear_right", &words.rear_or_rear_right, Meaning::Place(either)),
            ("all_round", &words.all_round, Meaning::AllRound),
            ("joins", &words.joins, Meaning::Join),
            ("then", &words.then, Meaning::Then),
            ("around", &words.around, Meaning::Around),
            ("to", &words.to, Meaning::To),
            ("reasons", &words.reasons, Meaning::Reason),
            ("purposes", &words.purposes, Meaning::Purpose),
            ("access", &words.access, Meaning::Access),
            ("not", &words.not, Meaning::Not),
            ("declined", &words.declined, Meaning::Declined),
            ("quote", &words.quote, Meaning::Quote),
            ("conditions", &words.conditions, Meaning::Condition),
            ("recommended", &words.recommended, Meaning::Recommended),
            ("history", &words.history, Meaning::History),
            ("said", &words.said, Meaning::Said),
            ("found", &words.found, Meaning::Found),
            ("correction", &words.correction, Meaning::Correction),
            ("states", &words.states, Meaning::State),
            ("new_part", &words.new_part, Meaning::NewPart),
            ("same_part", &words.same_part, Meaning::SamePart),
            ("nothing", &words.nothing, Meaning::Nothing),
            ("beside", &words.beside, Meaning::Beside),
            ("small_parts", &words.small_parts, Meaning::SmallPart),
            ("only", &words.only, Meaning::Only),
            ("other_side", &words.other_side, Meaning::OtherSide),
            ("fillers", &words.fillers, Meaning::Filler),
        ];
        for (entry, phrases, meaning) in lists {
            self.add(entry, phrases, meaning, faults);
        }
        for (set, known) in [
            (&mut self.part_words, &words.part_words),
            (&mut self.things_behind, &words.things_behind),
            (&mut self.software, &words.software),
        ] {
            set.extend(known.iter().map(|word| self.words.learn(word)));
        }
        for word in &words.no_typos {
            self.words.leave_alone(word);
        }
    }

    fn add(
        &mut self,
        entry: &str,
        said: &[String],
        meaning: Meaning,
        faults: &mut Vec<LexiconError>,
    ) {
        for pattern in said {
            for (phrase, known) in self.phrases.add(&mut self.words, pattern, meaning) {
                let (entry, known) = (entry.to_owned(), self.name(known));
                faults.push(LexiconError::TwoMeanings { phrase, entry, known });
            }
        }
    }

    fn name(&self, meaning: Meaning) -> String {
        match meaning {
            Meaning::Noun(index) => self.nouns[usize::from(index)].component.to_string(),
            Meaning::Action(index) | Meaning::WeakAction(index) => {
                self.actions[usize::from(index)].name.to_string()
            }
            other => format!("{other:?}"),
        }
    }
}

fn boxed(names: &[String]) -> Vec<Box<str>> {
    names.iter().map(|name| name.as_str().into()).collect()
}
