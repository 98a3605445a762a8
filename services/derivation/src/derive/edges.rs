//! The edges of an answer while it is worked out, as bits: each pair of points once, sorted without sorting.

use crate::bits::{WORD, ones, ones_of};
use crate::derive::EdgeKind;

/// For each point and kind of edge, the set of points that come after it.
#[derive(Debug)]
pub(crate) struct Edges {
    words: usize,
    points: usize,
    bits: Vec<u64>,
}

impl Edges {
    pub(crate) fn none(points: usize) -> Self {
        let words = points.div_ceil(WORD);
        Self { words, points, bits: vec![0; points * KINDS.len() * words] }
    }

    pub(crate) fn points(&self) -> usize {
        self.points
    }

    pub(crate) fn add(&mut self, before: usize, then: usize, kind: EdgeKind) {
        let row = (before * KINDS.len() + kind as usize) * self.words;
        self.bits[row + then / 64] |= 1 << (then % WORD);
    }

    /// Whether there is an edge of any kind.
    pub(crate) fn has(&self, before: usize, then: usize) -> bool {
        any(self.word(before, then / WORD)) & 1 << (then % WORD) != 0
    }

    /// What comes after a point by any edge, a word of bits at a time.
    pub(crate) fn then(&self, before: usize) -> impl Iterator<Item = u64> + '_ {
        (0..self.words).map(move |at| any(self.word(before, at)))
    }

    fn word(&self, before: usize, at: usize) -> [u64; KINDS.len()] {
        let row = before * KINDS.len() * self.words + at;
        std::array::from_fn(|kind| self.bits[row + kind * self.words])
    }

    /// The same edges between points with other numbers.
    pub(crate) fn renumbered(&self, number_of: &[usize]) -> Self {
        let mut renumbered = Self::none(self.points);
        for (row, words) in self.bits.chunks_exact(self.words.max(1)).enumerate() {
            let (before, kind) = (row / KINDS.len(), KINDS[row % KINDS.len()]);
            for then in ones(words.iter().copied()) {
                renumbered.add(number_of[before], number_of[then], kind);
            }
        }
        renumbered
    }

    /// Every pair once, of the first kind that it has; by the point before, then by the other.
    pub(crate) fn each(&self) -> impl Iterator<Item = (usize, usize, EdgeKind)> + '_ {
        (0..self.points).flat_map(move |before| {
            (0..self.words).flat_map(move |at| {
                let word = self.word(before, at);
                ones_of(at, any(word)).map(move |then| {
                    let has = |kind: &&EdgeKind| word[**kind as usize] >> (then % WORD) & 1 != 0;
                    (before, then, KINDS.iter().find(has).copied().unwrap_or(KINDS[0]))
                })
            })
        })
    }
}

/// In the order in which they are told.
const KINDS: [EdgeKind; 4] =
    [EdgeKind::Phase, EdgeKind::Needs, EdgeKind::After, EdgeKind::Disturbs];

fn any(kinds: [u64; KINDS.len()]) -> u64 {
    kinds.into_iter().fold(0, |all, bits| all | bits)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn each_pair_comes_once_in_order_and_of_its_first_kind(
            given in prop::collection::vec((0_usize..150, 0_usize..150, 0_usize..4), 0..400),
        ) {
            let mut edges = Edges::none(150);
            let mut pairs: BTreeMap<(usize, usize), EdgeKind> = BTreeMap::new();
            for (before, then, kind) in given {
                edges.add(before, then, KINDS[kind]);
                let known = pairs.entry((before, then)).or_insert(KINDS[kind]);
                *known = KINDS[kind].min(*known);
            }
            let told = edges.each().map(|(before, then, kind)| ((before, then), kind));
            prop_assert!(told.eq(pairs.clone()));
            prop_assert!(pairs.keys().all(|(before, then)| edges.has(*before, *then)));
            let back: Vec<usize> = (0..150).rev().collect();
            prop_assert!(edges.renumbered(&back).renumbered(&back).each().eq(edges.each()));
        }
    }
}
