//! Sets of procedures that are compared with one another a word of bits at a time.

use crate::bits::{WORD, ones, ones_of};
use crate::index::ProcedureId;

/// Those words of a bit set that are not zero, ascending.
#[derive(Debug, Default)]
pub(crate) struct ProcedureSet(Vec<(usize, u64)>);

impl ProcedureSet {
    pub(crate) const EMPTY: &Self = &Self(Vec::new());

    pub(crate) fn contains(&self, procedure: ProcedureId) -> bool {
        self.0.iter().any(|(at, bits)| *at == procedure / WORD && bits & bit(procedure) != 0)
    }

    /// What is in this set and among those.
    pub(crate) fn and<'s>(&'s self, those: &'s Present) -> impl Iterator<Item = ProcedureId> + 's {
        self.0.iter().flat_map(|&(at, bits)| ones_of(at, bits & those.0[at]))
    }
}

impl FromIterator<ProcedureId> for ProcedureSet {
    fn from_iter<I: IntoIterator<Item = ProcedureId>>(procedures: I) -> Self {
        let mut words: Vec<(usize, u64)> =
            procedures.into_iter().map(|one| (one / WORD, bit(one))).collect();
        words.sort_unstable();
        words.dedup_by(|word, last| {
            let same = word.0 == last.0;
            if same {
                last.1 |= word.1;
            }
            same
        });
        Self(words)
    }
}

/// Which procedures of a catalogue an order has tasks of.
#[derive(Debug)]
pub(crate) struct Present(Vec<u64>);

impl Present {
    /// None of so many.
    pub(crate) fn none_of(procedures: usize) -> Self {
        Self(vec![0; procedures.div_ceil(WORD)])
    }

    pub(crate) fn add(&mut self, procedure: ProcedureId) {
        self.0[procedure / WORD] |= bit(procedure);
    }

    /// Ascending.
    pub(crate) fn all(&self) -> impl Iterator<Item = ProcedureId> + '_ {
        ones(self.0.iter().copied())
    }

    pub(crate) fn has(&self, procedure: ProcedureId) -> bool {
        self.0[procedure / WORD] & bit(procedure) != 0
    }
}

fn bit(procedure: ProcedureId) -> u64 {
    1 << (procedure % WORD)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn what_is_in_both_is_what_sets_of_numbers_say(
            some in prop::collection::btree_set(0_usize..300, 0..40),
            others in prop::collection::btree_set(0_usize..300, 0..40),
        ) {
            let set: ProcedureSet = some.iter().copied().collect();
            let mut present = Present::none_of(300);
            for one in &others {
                present.add(*one);
            }
            let both: BTreeSet<usize> = some.intersection(&others).copied().collect();
            prop_assert!(set.and(&present).eq(both));
            prop_assert!((0..300).all(|one| set.contains(one) == some.contains(&one)));
        }
    }
}
