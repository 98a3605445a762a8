//! What a line says: its operations, the shop's own words, then the text.

use std::sync::LazyLock;

use contract::orders::NewLine;
use derivation::lexicon::Lexicon;
use derivation::reader::own::{OwnPhrase, OwnPhrases};
use derivation::reader::{self, LineReading};
use domain::order::{LineOperation, ReadLine, ReadOperation, Reading};

use crate::flow::Step;
use crate::refusal::Refusal;

static LEXICON: LazyLock<Lexicon> = LazyLock::new(Lexicon::starter);

/// Reads lines with the shop's own words before the lexicon.
#[derive(Debug, Default)]
pub struct Reader {
    own: OwnPhrases,
}

impl Step {
    /// A reader with this shop's own words.
    pub(crate) async fn reader(&mut self) -> Result<Reader, Refusal> {
        let shop = self.shop();
        let words = store::catalogues::labour_words(self.conn(), shop).await?;
        let phrases = words.into_iter().map(|(phrase, operations)| OwnPhrase {
            phrase,
            operations: operations.iter().map(LineOperation::operation).collect(),
        });
        Ok(Reader { own: OwnPhrases::new(&LEXICON, phrases.collect()) })
    }
}

impl Reader {
    /// What a line says. Posted operations count as they stand; text beside them that surely says something else as
    /// well makes the line a question.
    pub fn read(&self, line: &NewLine) -> ReadLine {
        let coded = line
            .labour_code
            .as_deref()
            .map(|code| self.text(code))
            .filter(|read| read.reading != Reading::Unread);
        let read = coded.unwrap_or_else(|| self.text(&line.text));
        if line.operations.is_empty() {
            return ReadLine {
                line: line.line,
                reading: read.reading,
                operations: read.operations,
            };
        }
        let mut operations: Vec<ReadOperation> = line.operations.iter().map(posted).collect();
        let others: Vec<ReadOperation> = read
            .operations
            .into_iter()
            .filter(|other| {
                let same =
                    |o: &LineOperation| o.action == other.action && o.component == other.component;
                read.reading == Reading::Sure && !line.operations.iter().any(same)
            })
            .collect();
        let reading = if others.is_empty() { Reading::Sure } else { Reading::Unsure };
        operations.extend(others);
        ReadLine { line: line.line, reading, operations }
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

fn posted(operation: &LineOperation) -> ReadOperation {
    ReadOperation {
        action: operation.action.clone(),
        component: operation.component.clone(),
        place: operation.place.clone(),
        confidence: 1.0,
        words: String::new(),
    }
}
