//! Which complaints a sentence names.

use crate::lexicon::Lexicon;
use crate::lexicon::complaints::root;

/// A wording's words stand at most this far apart.
const REACH: usize = 6;

pub(super) fn find<'l>(lexicon: &'l Lexicon, text: &str) -> Vec<&'l str> {
    let whole = text.trim().to_lowercase();
    let parts: Vec<Vec<String>> = text
        .to_lowercase()
        .split([',', '.', ';', '\n', '!', '?', '(', ')'])
        .map(|part| {
            let words =
                part.split(|letter: char| !(letter.is_alphanumeric() || "'’/-".contains(letter)));
            words.filter(|word| !word.is_empty()).map(root).collect()
        })
        .collect();
    lexicon
        .complaints
        .iter()
        .filter(|complaint| {
            *whole == *complaint.name
                || whole == complaint.title.to_lowercase()
                || complaint.wordings.iter().any(|wording| {
                    parts.iter().any(|part| holds(part, &wording.needed, &wording.spoilers))
                })
        })
        .map(|complaint| &*complaint.name)
        .collect()
}

fn holds(part: &[String], needed: &[Vec<Box<str>>], spoilers: &[Box<str>]) -> bool {
    let said = |words: &[Box<str>], word: &String| words.iter().any(|known| **known == **word);
    if part.iter().any(|word| said(spoilers, word)) {
        return false;
    }
    let denied = |word: &str| word == "not" || word == "no";
    let denies = needed.iter().flatten().any(|word| denied(word));
    part.windows(REACH.min(part.len()).max(1)).any(|window| {
        let all_there = needed.iter().all(|words| window.iter().any(|word| said(words, word)));
        all_there && (denies || !window.iter().any(|word| denied(word)))
    })
}
