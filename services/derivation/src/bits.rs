//! Bit sets in words of 64.

/// Bits of a word.
pub(crate) const WORD: usize = u64::BITS as usize;

/// The places of the bits that are set, ascending.
pub(crate) fn ones(words: impl Iterator<Item = u64>) -> impl Iterator<Item = usize> {
    words.enumerate().flat_map(|(at, word)| ones_of(at, word))
}

/// The places of the bits that are set in the word at this place among others, ascending.
pub(crate) fn ones_of(at: usize, mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros() as usize;
            word &= word - 1;
            at * WORD + bit
        })
    })
}
