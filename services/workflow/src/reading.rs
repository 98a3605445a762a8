//! What a line says: its operations, the shop's own words, then the text.

use contract::orders::NewLine;
use domain::order::{LineOperation, ReadLine, ReadOperation, Reading};

use crate::flow::Step;
use crate::refusal::Refusal;

/// Reads lines with the shop's own words before the lexicon.
#[derive(Debug, Default)]
pub struct Reader {
    own: Vec<(String, Vec<LineOperation>)>,
}

impl Step {
    /// A reader with this shop's own words.
    pub(crate) async fn reader(&mut self) -> Result<Reader, Refusal> {
        let shop = self.shop();
        Ok(Reader { own: store::catalogues::labour_words(self.conn(), shop).await? })
    }
}

impl Reader {
    /// What a line says.
    pub fn read(&self, line: &NewLine) -> ReadLine {
        let known = line
            .labour_code
            .as_deref()
            .and_then(|code| self.own(code))
            .or_else(|| self.own(&line.text));
        if !line.operations.is_empty() {
            return sure(line.line, &line.operations, "");
        }
        if let Some(operations) = known {
            return sure(line.line, operations, &line.text);
        }
        ReadLine { line: line.line, reading: Reading::Unread, operations: Vec::new() }
    }

    fn own(&self, words: &str) -> Option<&[LineOperation]> {
        let wanted = phrase(words);
        let found = self.own.iter().find(|(own, _)| !wanted.is_empty() && phrase(own) == wanted);
        found.map(|(_, operations)| operations.as_slice())
    }
}

/// A phrase in the form in which phrases are compared: lower case, single blanks.
pub(crate) fn phrase(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

fn sure(line: i32, operations: &[LineOperation], words: &str) -> ReadLine {
    ReadLine {
        line,
        reading: if operations.is_empty() { Reading::None } else { Reading::Sure },
        operations: operations
            .iter()
            .map(|operation| ReadOperation {
                action: operation.action.clone(),
                component: operation.component.clone(),
                place: operation.place.clone(),
                confidence: 1.0,
                words: words.to_owned(),
            })
            .collect(),
    }
}
