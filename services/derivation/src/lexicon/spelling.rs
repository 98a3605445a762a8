//! Typing errors of one letter in long words.

use rustc_hash::FxHashMap;

/// Words shorter than this are taken as written: one letter away lies another word too often.
const LONG: usize = 7;

/// Shorter words than this are not even put right where the words beside them say what was meant.
const SHORT: usize = 4;

/// Known words, found by what is left when one letter is missing.
#[derive(Debug, Default)]
pub(crate) struct Spelling {
    words: Vec<Box<str>>,
    by_remainder: FxHashMap<Box<str>, Vec<u32>>,
}

impl Spelling {
    pub(super) fn learn(&mut self, word: &str) {
        if word.len() < SHORT || !word.bytes().all(|byte| byte.is_ascii_lowercase()) {
            return;
        }
        let Ok(index) = u32::try_from(self.words.len()) else { return };
        self.words.push(word.into());
        for remainder in remainders(word) {
            self.by_remainder.entry(remainder.into()).or_default().push(index);
        }
    }

    /// The known word that differs by one letter (missing, added, wrong, or two swapped); `None` where two different
    /// ones would do, or where only the last letter is another (`cleaner` is not `cleaned`).
    pub(crate) fn correct(&self, word: &str, same: impl Fn(&str, &str) -> bool) -> Option<&str> {
        if word.len() + 1 < LONG || !word.bytes().all(|byte| byte.is_ascii_lowercase()) {
            return None;
        }
        let mut best: Option<&str> = None;
        for remainder in remainders(word) {
            let Some(candidates) = self.by_remainder.get(remainder.as_str()) else { continue };
            for candidate in candidates.iter().map(|&index| &*self.words[index as usize]) {
                let other_ending = candidate.len() == word.len()
                    && candidate[..candidate.len() - 1] == word[..word.len() - 1];
                if other_ending
                    || candidate.len() < LONG
                    || strsim::osa_distance(candidate, word) != 1
                {
                    continue;
                }
                match best {
                    Some(known) if !same(known, candidate) => return None,
                    _ => best = Some(candidate),
                }
            }
        }
        best
    }

    /// The known words that differ by one letter and begin alike: candidates, of which the words beside have to choose.
    pub(crate) fn near(&self, word: &str) -> Vec<&str> {
        if word.len() < SHORT || !word.bytes().all(|byte| byte.is_ascii_lowercase()) {
            return Vec::new();
        }
        let candidates = remainders(word).filter_map(|left| self.by_remainder.get(left.as_str()));
        let words = candidates.flatten().map(|&index| &*self.words[index as usize]);
        let mut near: Vec<&str> = words
            .filter(|known| known[..1] == word[..1] && strsim::osa_distance(known, word) == 1)
            .collect();
        near.sort_unstable();
        near.dedup();
        near
    }
}

/// The word itself and the word without each of its letters.
fn remainders(word: &str) -> impl Iterator<Item = String> + '_ {
    std::iter::once(word.to_owned())
        .chain((0..word.len()).map(|index| format!("{}{}", &word[..index], &word[index + 1..])))
}
