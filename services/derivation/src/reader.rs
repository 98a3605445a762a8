//! Reads a line of work as a service writer typed it: operations, with the words that each rests on.
//!
//! A line is cut into words, the longest known phrases are found, and actions are paired with parts by their order.
//! `Sure` needs every word that may matter to be understood (`unknown` says which may not); such a word that nobody knows,
//! a condition, or an action that fits badly makes it a question. Nothing is read from what a customer tells or from what was declined.

mod again;
mod apply;
mod bare;
mod complaints;
mod conclusion;
mod cut;
mod items;
mod line;
mod location;
mod lonely;
mod named_again;
mod outcome;
pub mod own;
mod part_of;
mod passing;
mod piece;
mod real;
mod software;
mod story;
mod tokens;
mod unknown;
mod work;

use domain::order::{ReadOperation, Reading};

use crate::lexicon::Lexicon;

/// A line's reading.
#[derive(Debug, Clone, PartialEq)]
pub struct LineReading {
    /// How well it was understood.
    pub reading: Reading,
    /// The operations taken, or the candidates where it was not sure.
    pub operations: Vec<ReadOperation>,
    /// Why it was read so, in one sentence for a person.
    pub explanation: String,
}

/// Longer lines are no lines of work; nobody reads them by machine.
const MOST_WORDS: usize = 512;

/// Reads a line. The shop's own phrases come first.
pub fn read(lexicon: &Lexicon, text: &str, own: &own::OwnPhrases) -> LineReading {
    let Some(tokens) = tokens::cut(&lexicon.words, text, MOST_WORDS) else {
        return LineReading {
            reading: Reading::Unread,
            operations: Vec::new(),
            explanation: format!("The line has more than {MOST_WORDS} words."),
        };
    };
    let items = items::recognise(lexicon, own, text, &tokens);
    line::Line::new(lexicon, own, text, &tokens).read(&items)
}

/// The names of what a driver complains of, in the order of the lexicon; empty where nothing is recognised.
pub fn complaints<'l>(lexicon: &'l Lexicon, text: &str) -> Vec<&'l str> {
    complaints::find(lexicon, text)
}
