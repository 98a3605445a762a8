//! What the words of a line mean: the longest known phrase at each place.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::Meaning;
use crate::reader::own::OwnPhrases;
use crate::reader::tokens::{Kind, Token};

/// A phrase, word or mark of the line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Item {
    pub(crate) what: What,
    /// Tokens from and to (exclusive).
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) corrected: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum What {
    Means(Meaning),
    /// One of the shop's own phrases, by its index.
    Own(usize),
    Number,
    Unknown,
    Comma,
    Stop,
}

impl Item {
    pub(crate) fn means(&self, meaning: Meaning) -> bool {
        self.what == What::Means(meaning)
    }

    /// The index of the action, and whether it is a weak one.
    pub(crate) fn action(&self) -> Option<(u16, bool)> {
        match self.what {
            What::Means(Meaning::Action(index)) => Some((index, false)),
            What::Means(Meaning::WeakAction(index)) => Some((index, true)),
            _ => None,
        }
    }

    pub(crate) fn noun(&self) -> Option<u16> {
        match self.what {
            What::Means(Meaning::Noun(index)) => Some(index),
            _ => None,
        }
    }
}

pub(crate) fn recognise(
    lexicon: &Lexicon,
    own: &OwnPhrases,
    text: &str,
    tokens: &[Token],
) -> Vec<Item> {
    let mut items = Vec::with_capacity(tokens.len());
    let mut from = 0;
    while from < tokens.len() {
        let (what, length) = if let Some((index, length)) = own.longest(text, &tokens[from..]) {
            (What::Own(index), length)
        } else {
            let words = tokens[from..].iter().map(|token| token.word);
            match lexicon.phrases.longest(words) {
                Some((meaning, length)) => (What::Means(meaning), length),
                None => (alone(tokens[from]), 1),
            }
        };
        let to = from + length;
        let corrected = tokens[from..to].iter().any(|token| token.corrected);
        items.push(Item { what, from, to, corrected });
        from = to;
    }
    // `to` begins a job where an action follows: `R&I bumper cover to replace radar`.
    for index in 1..items.len() {
        if items[index].action().is_some() && items[index - 1].means(Meaning::To) {
            items[index - 1].what = What::Means(Meaning::Then);
        }
    }
    items
}

fn alone(token: Token) -> What {
    match token.kind {
        Kind::Word => What::Unknown,
        Kind::Number => What::Number,
        Kind::Comma => What::Comma,
        Kind::Stop => What::Stop,
    }
}
