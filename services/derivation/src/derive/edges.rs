//! The edges of an answer while it is worked out, as bits: each pair of points once, sorted without sorting.

use crate::bits::{WORD, ones_of};
use crate::derive::EdgeKind;
use crate::derive::raw_edge::{KINDS, RawEdge};

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

    /// Every pair once, of the first kind that it has; by the point before, then by the other.
    pub(crate) fn sorted(&self) -> Vec<RawEdge> {
        let mut sorted = Vec::with_capacity(4 * self.points);
        for before in 0..self.points {
            for at in 0..self.words {
                let word = self.word(before, at);
                for then in ones_of(at, any(word)) {
                    let kinds = word.map(|bits| bits >> (then % WORD) & 1 != 0);
                    let first = kinds.iter().position(|is| *is).unwrap_or_default();
                    sorted.push(RawEdge::new(before, then, KINDS[first]));
                }
            }
        }
        sorted
    }
}

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
            let sorted = edges.sorted();
            let told = sorted.iter().map(|edge| ((edge.before(), edge.then()), edge.kind()));
            prop_assert!(told.eq(pairs.clone()));
            prop_assert!(pairs.keys().all(|(before, then)| edges.has(*before, *then)));
        }
    }
}
