//! Complaints: the words of which each is known.

use std::collections::BTreeMap;

use crate::lexicon::document::ComplaintEntry;
use crate::lexicon::forms::stem;

/// What a driver complains of.
#[derive(Debug)]
pub(crate) struct Complaint {
    pub(crate) name: Box<str>,
    pub(crate) title: Box<str>,
    pub(crate) wordings: Vec<Wording>,
}

/// Words that one part of a sentence must hold together.
#[derive(Debug)]
pub(crate) struct Wording {
    /// For each word that is needed, the ways to say it.
    pub(crate) needed: Vec<Vec<Box<str>>>,
    /// Words that must not be there.
    pub(crate) spoilers: Vec<Box<str>>,
}

pub(super) fn compile(entries: BTreeMap<String, ComplaintEntry>) -> Vec<Complaint> {
    let wording = |text: &String| {
        let mut wording = Wording { needed: Vec::new(), spoilers: Vec::new() };
        for word in text.split_whitespace() {
            match word.strip_prefix('!') {
                Some(spoiler) => wording.spoilers.push(root(spoiler).into()),
                None => {
                    wording
                        .needed
                        .push(word.split('|').map(|choice| root(choice).into()).collect());
                }
            }
        }
        wording
    };
    entries
        .into_iter()
        .map(|(name, entry)| Complaint {
            name: name.into(),
            title: entry.title.into(),
            wordings: entry.wordings.iter().map(wording).collect(),
        })
        .collect()
}

/// A word as complaints compare it: without plural, tense and the many ways to say no.
pub(crate) fn root(word: &str) -> String {
    const SAME: &[(&str, &str)] = &[
        ("light", "lamp"),
        ("headlight", "headlamp"),
        ("tyre", "tire"),
        ("centre", "center"),
        ("centred", "center"),
        ("off-centre", "off-center"),
        ("transmission", "trans"),
        ("doesnt", "not"),
        ("dont", "not"),
        ("didnt", "not"),
        ("isnt", "not"),
        ("arent", "not"),
        ("wont", "not"),
        ("cant", "not"),
        ("cannot", "not"),
        ("couldnt", "not"),
        ("wouldnt", "not"),
        ("never", "not"),
    ];
    let word = word.replace('\'', "");
    let word = stem(&word);
    let word = SAME.iter().find(|(said, _)| *said == word).map_or(&*word, |(_, meant)| meant);
    let cut = ["ing", "ed"].iter().find_map(|ending| word.strip_suffix(ending));
    let Some(head) = cut.filter(|head| head.len() > 2) else {
        return word.strip_suffix('e').filter(|head| head.len() > 2).unwrap_or(word).to_owned();
    };
    // `stopping` is `stop`, but `stalling` is `stall`.
    match head.as_bytes() {
        [.., before, last] if before == last && last.is_ascii() && !b"ls".contains(last) => {
            head[..head.len() - 1].to_owned()
        }
        _ => head.to_owned(),
    }
}
