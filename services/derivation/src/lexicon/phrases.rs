//! Words and phrases of the lexicon, and the longest phrase at a place of a text.

use rustc_hash::{FxHashMap, FxHashSet};

use crate::lexicon::forms::stem;
use crate::lexicon::kinds::Meaning;
use crate::lexicon::spelling::Spelling;

pub(crate) type WordId = u32;

/// All words that the lexicon knows, each way of writing one under the same id.
#[derive(Debug, Default)]
pub(crate) struct Words {
    ids: FxHashMap<Box<str>, WordId>,
    short: FxHashMap<Box<str>, Box<str>>,
    /// Words of their own that mean the same as another; no short forms.
    same: FxHashMap<Box<str>, Box<str>>,
    pub(super) spelling: Spelling,
    /// What a word means by itself.
    alone: FxHashMap<WordId, Meaning>,
    /// Words of their own that mean nothing here.
    left_alone: FxHashSet<Box<str>>,
}

impl Words {
    pub(super) fn shorten(&mut self, short: &str, word: &str) {
        self.short.insert(short.into(), word.into());
    }

    pub(super) fn rename(&mut self, other: &str, word: &str) {
        self.same.insert(other.into(), word.into());
    }

    fn whole(&self, word: &str) -> Option<&str> {
        self.short.get(word).or_else(|| self.same.get(word)).map(|whole| &**whole)
    }

    /// The word's id, which is made if it has none.
    pub(super) fn learn(&mut self, word: &str) -> WordId {
        let word = stem(word).into_owned();
        let word = self.whole(&word).unwrap_or(&word).to_owned();
        if let Some(&id) = self.ids.get(word.as_str()) {
            return id;
        }
        let id = WordId::try_from(self.ids.len()).unwrap_or(WordId::MAX);
        self.spelling.learn(&word);
        self.ids.insert(word.into(), id);
        id
    }

    /// Makes a word known that means nothing, so that it is not taken for a mistyped other one.
    pub(super) fn leave_alone(&mut self, word: &str) {
        let id = WordId::try_from(self.ids.len()).unwrap_or(WordId::MAX);
        self.ids.entry(stem(word).into()).or_insert(id);
        self.left_alone.insert(word.into());
    }

    /// Whether it is a word of its own, however near it lies to another.
    pub(crate) fn is_left_alone(&self, word: &str) -> bool {
        self.left_alone.contains(word)
    }

    /// The id of a word in small letters as it stands in a text.
    pub(crate) fn id(&self, word: &str) -> Option<WordId> {
        let whole = |word: &str| self.whole(word).map(|whole| self.ids.get(whole).copied());
        whole(word).flatten().or_else(|| self.ids.get(word).copied()).or_else(|| {
            let stem = stem(word);
            whole(&stem).flatten().or_else(|| self.ids.get(&*stem).copied())
        })
    }

    /// Whether the word is written in short, so that a full stop after it need not end a sentence.
    pub(crate) fn is_short(&self, word: &str) -> bool {
        self.short.contains_key(word)
    }

    /// The id of the long word that was probably meant.
    pub(crate) fn corrected(&self, word: &str) -> Option<WordId> {
        let id = |word: &str| self.ids.get(word).copied();
        let alone = |word: &str| id(word).and_then(|id| self.alone.get(&id));
        let same = |one: &str, other: &str| {
            id(one) == id(other) || alone(one).is_some() && alone(one) == alone(other)
        };
        self.spelling.correct(&stem(word), same).and_then(id)
    }

    /// Tells what a word means by itself.
    pub(super) fn stands_for(&mut self, word: WordId, meaning: Meaning) {
        self.alone.insert(word, meaning);
    }

    /// What a word means by itself.
    pub(crate) fn alone(&self, id: WordId) -> Option<Meaning> {
        self.alone.get(&id).copied()
    }

    /// The ids of the words that may have been meant.
    pub(crate) fn near(&self, word: &str) -> Vec<WordId> {
        let near = self.spelling.near(&stem(word));
        near.into_iter().filter_map(|word| self.ids.get(word).copied()).collect()
    }
}

/// Phrases as a tree of words.
#[derive(Debug, Default)]
pub(crate) struct Phrases {
    steps: FxHashMap<(u32, WordId), u32>,
    meanings: Vec<Option<Meaning>>,
}

impl Phrases {
    /// The meaning of the longest phrase that the words begin with, and how many words it takes.
    pub(crate) fn longest(
        &self,
        words: impl Iterator<Item = Option<WordId>>,
    ) -> Option<(Meaning, usize)> {
        let (mut node, mut best) = (0, None);
        for (index, word) in words.enumerate() {
            let Some(&next) = word.and_then(|word| self.steps.get(&(node, word))) else { break };
            node = next;
            if let Some(meaning) = self.meanings[node as usize] {
                best = Some((meaning, index + 1));
            }
        }
        best
    }

    /// Whether a phrase begins with these words.
    pub(crate) fn begin_with(&self, mut words: impl Iterator<Item = Option<WordId>>) -> bool {
        let step = |node, word: Option<WordId>| self.steps.get(&(node, word?)).copied();
        words.try_fold(0, step).is_some()
    }

    /// Adds every phrase of a pattern; gives back those that already mean something else.
    pub(super) fn add(
        &mut self,
        words: &mut Words,
        pattern: &str,
        meaning: Meaning,
    ) -> Vec<(String, Meaning)> {
        if self.meanings.is_empty() {
            self.meanings.push(None);
        }
        // All phrases grow together, a word at a time: a pattern may stand for thousands of them.
        let (mut ends, mut before) = (vec![0], None);
        for step in steps(pattern) {
            match step {
                Step::Open => before = Some(ends.clone()),
                Step::Close => ends.extend(before.take().unwrap_or_default()),
                Step::Choice(choice) => {
                    let choice: Vec<Vec<WordId>> = choice
                        .split('|')
                        .map(|phrase| phrase.split('_').map(|word| words.learn(word)).collect())
                        .collect();
                    let longer = ends.iter().flat_map(|&end| choice.iter().map(move |c| (end, c)));
                    ends = longer.map(|(end, phrase)| self.grow(end, phrase)).collect();
                }
            }
            ends.sort_unstable();
            ends.dedup();
        }
        let mut clashes = false;
        for end in ends.into_iter().filter(|end| *end != 0) {
            match &mut self.meanings[end as usize] {
                Some(known) if *known != meaning => clashes = true,
                slot => *slot = Some(meaning),
            }
        }
        let phrases = if clashes { expand(pattern) } else { Vec::new() };
        let phrases = phrases.into_iter().filter_map(|phrase| {
            let known = self.longest(phrase.iter().map(|word| words.id(word)));
            let (known, length) = known.filter(|(known, _)| *known != meaning)?;
            (length == phrase.len()).then(|| (phrase.join(" "), known))
        });
        phrases.collect()
    }

    /// The node behind these words, which is made if it is not there.
    fn grow(&mut self, from: u32, words: &[WordId]) -> u32 {
        words.iter().fold(from, |node, &word| {
            let fresh = u32::try_from(self.meanings.len()).unwrap_or(u32::MAX);
            let node = *self.steps.entry((node, word)).or_insert(fresh);
            if node == fresh {
                self.meanings.push(None);
            }
            node
        })
    }

    /// Each word that a phrase ends with, what the phrase says, and whether it is the whole phrase.
    pub(super) fn last_words(&self) -> impl Iterator<Item = (WordId, Meaning, bool)> {
        self.steps.iter().filter_map(|(&(node, word), &end)| {
            Some((word, self.meanings[end as usize]?, node == 0))
        })
    }
}

/// A pattern, piece by piece.
enum Step<'p> {
    /// What follows, up to the next `Close`, may be missing.
    Open,
    Close,
    Choice(&'p str),
}

fn steps(pattern: &str) -> impl Iterator<Item = Step<'_>> {
    pattern.split_whitespace().flat_map(|run| {
        run.split_inclusive(['[', ']']).flat_map(|part| {
            let word = part.trim_end_matches(['[', ']']);
            let mark = match part.bytes().next_back() {
                Some(b'[') => Some(Step::Open),
                Some(b']') => Some(Step::Close),
                _ => None,
            };
            (!word.is_empty()).then_some(Step::Choice(word)).into_iter().chain(mark)
        })
    })
}

/// The phrases that a pattern stands for: `a|b` for alternatives (`_` joins the words of one: `airbag|air_bag`), `[a b]`
/// for words that may be missing.
fn expand(pattern: &str) -> Vec<Vec<String>> {
    let spaced = pattern.replace('[', " [ ").replace(']', " ] ").replace('\'', "");
    let mut phrases: Vec<Vec<String>> = vec![Vec::new()];
    let mut optional: Option<Vec<Vec<String>>> = None;
    for word in spaced.split_whitespace() {
        match word {
            "[" => optional = Some(phrases.clone()),
            "]" => phrases.extend(optional.take().unwrap_or_default()),
            choice => {
                phrases = phrases
                    .iter()
                    .flat_map(|phrase| {
                        choice.split('|').map(move |word| {
                            let mut longer = phrase.clone();
                            longer.extend(word.to_lowercase().split('_').map(str::to_owned));
                            longer
                        })
                    })
                    .collect();
            }
        }
    }
    phrases.retain(|phrase| !phrase.is_empty());
    phrases.sort();
    phrases.dedup();
    phrases
}
