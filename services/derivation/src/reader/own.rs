//! A shop's own phrases and labour codes; they come before the lexicon.

use domain::operation::Operation;
use rustc_hash::FxHashMap;

use crate::lexicon::Lexicon;
use crate::reader::tokens::{self, Kind, Token};

/// A phrase of more words is no phrase.
const MOST_WORDS: usize = 64;

/// What a shop means by a phrase or labour code of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnPhrase {
    /// The phrase or code; letter case, blanks and marks do not matter.
    pub phrase: String,
    /// Its operations; none for work that needs nothing.
    pub operations: Vec<Operation>,
}

/// The phrases of one shop, ready for reading.
#[derive(Debug, Default)]
pub struct OwnPhrases {
    phrases: Vec<OwnPhrase>,
    /// By first word: the words of the phrase, and which phrase it is.
    by_first: ByFirst,
}

type ByFirst = FxHashMap<Box<str>, Vec<(Vec<Box<str>>, usize)>>;

impl OwnPhrases {
    /// Makes phrases ready. Of two with the same words the later one holds; one without a word is left out.
    pub fn new(lexicon: &Lexicon, phrases: Vec<OwnPhrase>) -> Self {
        let mut by_first = ByFirst::default();
        for (index, phrase) in phrases.iter().enumerate() {
            let tokens =
                tokens::cut(&lexicon.words, &phrase.phrase, MOST_WORDS).unwrap_or_default();
            let words: Vec<Box<str>> = tokens
                .iter()
                .filter(|token| counts(token))
                .map(|token| lower(&phrase.phrase, token).into())
                .collect();
            let Some(first) = words.first() else { continue };
            let same_first = by_first.entry(first.clone()).or_default();
            same_first.retain(|(known, _)| *known != words);
            same_first.push((words, index));
        }
        Self { phrases, by_first }
    }

    /// Whether a text can be a phrase: it has a word, and not too many of them.
    pub fn is_phrase(lexicon: &Lexicon, text: &str) -> bool {
        let tokens = tokens::cut(&lexicon.words, text, MOST_WORDS);
        tokens.is_some_and(|tokens| tokens.iter().any(counts))
    }

    /// The phrase that a whole text is, a labour code for example.
    pub fn whole(&self, lexicon: &Lexicon, text: &str) -> Option<&OwnPhrase> {
        let mut tokens = tokens::cut(&lexicon.words, text, MOST_WORDS)?;
        tokens.retain(counts);
        let (index, taken) = self.longest(text, &tokens)?;
        (taken == tokens.len()).then(|| self.get(index))
    }

    pub(crate) fn get(&self, index: usize) -> &OwnPhrase {
        &self.phrases[index]
    }

    /// The longest phrase that the tokens begin with, and how many tokens it takes.
    pub(crate) fn longest(&self, text: &str, tokens: &[Token]) -> Option<(usize, usize)> {
        if self.by_first.is_empty() {
            return None;
        }
        let first = tokens.first().filter(|token| counts(token))?;
        let candidates = self.by_first.get(lower(text, first).as_str())?;
        candidates
            .iter()
            .filter_map(|(words, index)| {
                let mut taken = 0;
                for word in words {
                    let skipped = tokens[taken..].iter().take_while(|token| !counts(token)).count();
                    let token = tokens.get(taken + skipped)?;
                    if lower(text, token) != **word {
                        return None;
                    }
                    taken += skipped + 1;
                }
                Some((*index, taken))
            })
            .max_by_key(|(_, taken)| *taken)
    }
}

/// Letters and digits count; commas and dashes do not.
fn counts(token: &Token) -> bool {
    matches!(token.kind, Kind::Word | Kind::Number)
}

fn lower(text: &str, token: &Token) -> String {
    text[token.from..token.to].to_lowercase()
}
