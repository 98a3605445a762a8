//! What a line says: its operations, the shop's own words, then the text.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use contract::orders::NewLine;
use derivation::lexicon::Lexicon;
use derivation::reader::own::{OwnPhrase, OwnPhrases};
use derivation::reader::{self, LineReading};
use domain::operation::Operation;
use domain::order::{LineOperation, ReadLine, ReadOperation, Reading};
use uuid::Uuid;

use crate::flow::{Flow, Step};
use crate::refusal::Refusal;

static LEXICON: LazyLock<Lexicon> = LazyLock::new(Lexicon::starter);

/// Reads lines with the shop's own words before the lexicon.
#[derive(Debug, Default)]
pub struct Reader {
    own: OwnPhrases,
}

/// Readers by shop, each with the mark of the words that it was made of.
#[derive(Debug, Default)]
pub(crate) struct Readers(Mutex<HashMap<Uuid, (Uuid, Arc<Reader>)>>);

/// How many readers are kept; beyond that they are dropped and made again.
const ROOM: usize = 64;

impl Readers {
    fn get(&self, shop: Uuid, mark: Uuid) -> Option<Arc<Reader>> {
        let readers = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        readers.get(&shop).filter(|(known, _)| *known == mark).map(|(_, reader)| Arc::clone(reader))
    }

    fn put(&self, shop: Uuid, mark: Uuid, reader: &Arc<Reader>) {
        let mut readers = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if readers.len() >= ROOM {
            readers.clear();
        }
        readers.insert(shop, (mark, Arc::clone(reader)));
    }
}

impl Step {
    /// A reader with this shop's own words. The words are loaded when their mark is another one, on whichever server they
    /// changed; the mark is read first, so that a reader is never older than it says.
    pub(crate) async fn reader(&mut self, flow: &Flow) -> Result<Arc<Reader>, Refusal> {
        let shop = self.shop();
        let mark = store::labour_words::mark(self.conn(), shop).await?;
        if let Some(known) = flow.readers.get(shop, mark) {
            return Ok(known);
        }
        let words = store::labour_words::every(self.conn(), shop).await?;
        let phrases = words.into_iter().map(|word| OwnPhrase {
            phrase: word.phrase,
            operations: word.operations.iter().map(LineOperation::operation).collect(),
        });
        let reader = Arc::new(Reader { own: OwnPhrases::new(&LEXICON, phrases.collect()) });
        flow.readers.put(shop, mark, &reader);
        Ok(reader)
    }
}

impl Reader {
    /// What a line says. Posted operations count as they stand, and those of a labour code that the shop knows; text
    /// beside them that surely says something else as well makes the line a question.
    pub fn read(&self, line: &NewLine) -> ReadLine {
        let code = line.labour_code.as_deref().unwrap_or_default();
        self.read_words(line.line, &line.operations, &line.text, code)
    }

    /// The same of a line's parts.
    pub(crate) fn read_words(
        &self,
        line: i32,
        posted: &[LineOperation],
        text: &str,
        code: &str,
    ) -> ReadLine {
        let known = self.own.whole(&LEXICON, code);
        let stated: Vec<ReadOperation> = match known {
            _ if !posted.is_empty() => posted.iter().map(|o| stated(&o.operation(), "")).collect(),
            Some(own) => own.operations.iter().map(|operation| stated(operation, code)).collect(),
            None => {
                let read = self.unstated(text, code);
                let LineReading { reading, operations, explanation } = read;
                return ReadLine { line, reading, operations, explanation };
            }
        };
        let read = self.text(text);
        let others: Vec<ReadOperation> = read
            .operations
            .into_iter()
            .filter(|other| {
                let same =
                    |o: &ReadOperation| o.action == other.action && o.component == other.component;
                read.reading == Reading::Sure && !stated.iter().any(same)
            })
            .collect();
        let reading = match (others.is_empty(), stated.is_empty()) {
            (false, _) => Reading::Unsure,
            (true, false) => Reading::Sure,
            (true, true) => Reading::None,
        };
        let explanation = match (reading, known) {
            (Reading::Unsure, _) => "The text says more than the operations beside it.".to_owned(),
            (_, Some(own)) if posted.is_empty() => {
                format!("`{}` is a word of the shop.", own.phrase)
            }
            _ => String::new(),
        };
        let operations = stated.into_iter().chain(others).collect();
        ReadLine { line, reading, operations, explanation }
    }

    /// A line that states no operation: its text. A code without text that the shop does not know says nothing.
    fn unstated(&self, text: &str, code: &str) -> LineReading {
        if !text.trim().is_empty() {
            return self.text(text);
        }
        LineReading {
            reading: Reading::Unread,
            operations: Vec::new(),
            explanation: format!("`{}` is no labour code that the shop keeps.", code.trim()),
        }
    }

    fn text(&self, text: &str) -> LineReading {
        reader::read(&LEXICON, text, &self.own)
    }
}

/// The names of what a customer complains of, besides the words themselves.
pub(crate) fn complaints(texts: &[String]) -> Vec<String> {
    let named = texts.iter().flat_map(|text| reader::complaints(&LEXICON, text)).map(str::to_owned);
    let mut all: Vec<String> = texts.iter().cloned().chain(named).collect();
    all.sort();
    all.dedup();
    all
}

/// A phrase in the form in which phrases are kept: lower case, single blanks.
pub(crate) fn phrase(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Whether a text can be kept as a phrase.
pub(crate) fn is_phrase(text: &str) -> bool {
    OwnPhrases::is_phrase(&LEXICON, text)
}

fn stated(operation: &Operation, words: &str) -> ReadOperation {
    ReadOperation {
        action: operation.action.clone(),
        component: operation.component.clone(),
        place: operation.place.clone(),
        confidence: 1.0,
        words: words.to_owned(),
    }
}
