//! The lexicon: which words on a line of work stand for which action, part and place.
//!
//! It is data (`data/lexicon/*.yaml`, with its own explanation) made ready for the line reader: every phrase has one
//! meaning, and a second one is a fault of the data that loading refuses.

pub(crate) mod complaints;
mod document;
pub(crate) mod forms;
pub(crate) mod kinds;
mod load;
pub(crate) mod phrases;
mod spelling;

use std::collections::BTreeMap;

use rustc_hash::FxHashSet;
use serde::Deserialize;

use complaints::Complaint;
use document::{ActionEntry, ComplaintEntry, NounEntry, WordsDocument};
use kinds::{Action, Meaning, Noun, Usual};
use phrases::{Phrases, WordId, Words};

/// Actions, parts and the words around them, ready for reading lines.
#[derive(Debug)]
pub struct Lexicon {
    pub(crate) words: Words,
    pub(crate) phrases: Phrases,
    pub(crate) actions: Vec<Action>,
    pub(crate) usual: Usual,
    pub(crate) nouns: Vec<Noun>,
    pub(crate) complaints: Vec<Complaint>,
    /// Every form of every verb, for words that look like one.
    verbs: Vec<Box<str>>,
    /// Words that many parts are called by.
    part_words: FxHashSet<WordId>,
    /// Words that right behind a part make another thing of it.
    things_behind: FxHashSet<WordId>,
    /// What a module holds.
    software: FxHashSet<WordId>,
}

/// Why a lexicon can't be used.
#[derive(Debug, thiserror::Error)]
pub enum LexiconError {
    /// A file is not of the shape that it must have.
    #[error("{file}: {fault}")]
    Shape {
        /// Which file.
        file: &'static str,
        /// What the YAML reader says, with line and column.
        fault: String,
    },
    /// One phrase has two meanings.
    #[error("{phrase:?} of {entry} already means something else: {known}")]
    TwoMeanings {
        /// The phrase.
        phrase: String,
        /// Where it is said again.
        entry: String,
        /// What it means already.
        known: String,
    },
    /// An entry names an action or part that no entry describes.
    #[error("{entry} names {name:?}, which is not there")]
    Unknown {
        /// Which entry.
        entry: String,
        /// The name.
        name: String,
    },
}

/// The files of a lexicon as text.
#[derive(Debug, Clone, Copy)]
pub struct Files<'t> {
    /// Short forms, places, negations and fillers.
    pub words: &'t str,
    /// Actions.
    pub actions: &'t str,
    /// Parts.
    pub components: &'t str,
    /// Complaints.
    pub complaints: &'t str,
}

/// The lexicon that comes with the starter catalogue.
pub const STARTER: Files<'static> = Files {
    words: include_str!("../data/lexicon/words.yaml"),
    actions: include_str!("../data/lexicon/actions.yaml"),
    components: include_str!("../data/lexicon/components.yaml"),
    complaints: include_str!("../data/lexicon/complaints.yaml"),
};

impl Lexicon {
    /// The lexicon that comes with the starter catalogue.
    ///
    /// # Panics
    /// Never: a test reads the same text.
    pub fn starter() -> Self {
        Self::read(STARTER).expect("the starter lexicon is tested")
    }

    /// Reads a lexicon; all faults at once.
    pub fn read(files: Files<'_>) -> Result<Self, Vec<LexiconError>> {
        let words: WordsDocument = parse("words", files.words).map_err(|fault| vec![fault])?;
        let actions: BTreeMap<String, ActionEntry> =
            parse("actions", files.actions).map_err(|fault| vec![fault])?;
        let nouns: BTreeMap<String, NounEntry> =
            parse("components", files.components).map_err(|fault| vec![fault])?;
        let complaints: BTreeMap<String, ComplaintEntry> =
            parse("complaints", files.complaints).map_err(|fault| vec![fault])?;
        let mut lexicon = Self {
            words: Words::default(),
            phrases: Phrases::default(),
            actions: Vec::new(),
            usual: Usual::default(),
            nouns: Vec::new(),
            complaints: complaints::compile(complaints),
            verbs: Vec::new(),
            part_words: FxHashSet::default(),
            things_behind: FxHashSet::default(),
            software: FxHashSet::default(),
        };
        for (word, shorts) in &words.short {
            for short in shorts {
                lexicon.words.shorten(&short.replace('\'', ""), word);
            }
        }
        for (word, others) in &words.same {
            for other in others {
                lexicon.words.rename(other, word);
            }
        }
        let mut faults = Vec::new();
        lexicon.add_nouns(&nouns, &mut faults);
        lexicon.add_actions(&actions, &nouns, &mut faults);
        lexicon.add_words(&words, &mut faults);
        lexicon.usual = Usual {
            install: lexicon.action("install"),
            remove: lexicon.action("remove"),
            disconnect: lexicon.action("disconnect"),
            program: lexicon.action("program"),
            transfer: lexicon.action("transfer"),
            clean: lexicon.action("clean"),
        };
        lexicon.note_last_words();
        if faults.is_empty() { Ok(lexicon) } else { Err(faults) }
    }

    /// Whether an unknown word may be a verb with a letter wrong, a long one with two.
    pub(crate) fn looks_like_action(&self, word: &str) -> bool {
        if self.words.is_left_alone(word) {
            // A word of its own is no mistyped verb.
            return false;
        }
        let letters = if word.len() > 8 { 2 } else { 1 };
        // With two letters wrong it begins or ends as it should: most verbs need no comparing.
        let alike = |verb: &str| {
            letters == 1 || verb.bytes().next() == word.bytes().next() || verb.ends_with(word)
        };
        let near = |verb: &str| {
            alike(verb)
                && verb.len().abs_diff(word.len()) <= letters
                && strsim::osa_distance(verb, word) <= letters
        };
        word.len() > 4 && self.verbs.iter().any(|verb| near(verb))
            || word.len() == 4
                && self.words.near(word).iter().any(|id| {
                    matches!(self.words.alone(*id), Some(Meaning::Action(action))
                        if !self.actions[usize::from(action)].looks)
                })
    }

    /// Whether a word without a meaning of its own may stand for a part, for work, or against it: parts are called so,
    /// it is too short to tell, or one letter away lies a word that does.
    pub(crate) fn may_matter(&self, word: &str) -> bool {
        let told = |id: &WordId| {
            use Meaning::{Beside, Correction, Filler, Found, Nothing, Place, Said, State};
            !matches!(
                self.words.alone(*id),
                None | Some(
                    Filler | State | Nothing | Place(_) | Found | Said | Correction | Beside
                )
            )
        };
        match self.words.id(word) {
            _ if word.len() < 4 => true,
            Some(id) => self.part_words.contains(&id),
            None => {
                let near = |id: &WordId| self.part_words.contains(id) || told(id);
                self.words.near(word).iter().any(near)
                    || word.len() > 8 && self.looks_like_action(word)
            }
        }
    }

    /// The index of an action; they stand in the order of their names.
    pub(crate) fn action(&self, name: &str) -> Option<u16> {
        let index = self.actions.binary_search_by(|action| (*action.name).cmp(name)).ok()?;
        u16::try_from(index).ok()
    }

    /// Whether a word means what a module holds: `firmware`.
    pub(crate) fn is_software(&self, word: WordId) -> bool {
        self.software.contains(&word)
    }

    /// Whether parts are called by this word: `wiring`, `sensor`.
    pub(crate) fn makes_part(&self, word: WordId) -> bool {
        self.part_words.contains(&word)
    }

    /// Whether a word right behind a part names another thing: `mount`, `plug`.
    pub(crate) fn makes_another(&self, word: WordId) -> bool {
        self.things_behind.contains(&word)
    }

    /// Every action that a line can be read as.
    pub fn actions(&self) -> impl Iterator<Item = &str> {
        self.actions
            .iter()
            .flat_map(|action| action.gives.iter().chain(&action.asks).map(|name| &**name))
    }

    /// Every component that a line can be read as, those that ask for nothing among them.
    pub fn components(&self) -> impl Iterator<Item = &str> {
        self.nouns.iter().flat_map(|noun| {
            let axles = noun.by_axle.iter().flatten().map(|name| &**name);
            let whole =
                (noun.by_axle.is_none() && noun.asks.is_empty()).then_some(&*noun.component);
            let asked = noun.asks.iter().map(|(_, component)| &**component);
            axles
                .chain(whole)
                .chain(noun.also.as_deref())
                .chain(noun.otherwise.as_deref())
                .chain(asked)
        })
    }

    /// Every complaint that can be heard.
    pub fn complaints(&self) -> impl Iterator<Item = &str> {
        self.complaints.iter().map(|complaint| &*complaint.name)
    }
}

fn parse<T: for<'de> Deserialize<'de>>(file: &'static str, text: &str) -> Result<T, LexiconError> {
    serde_saphyr::from_str(text)
        .map_err(|error| LexiconError::Shape { file, fault: error.to_string() })
}
