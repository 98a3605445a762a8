//! Reproducible chance.

/// A small generator (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators": `SplitMix64`).
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    pub(crate) const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A whole number below `n` (0 for `n` = 0).
    #[expect(clippy::cast_possible_truncation, reason = "the product's upper half is below n")]
    pub(crate) const fn below(&mut self, n: usize) -> usize {
        ((self.next() as u128 * n as u128) >> 64) as usize
    }

    /// Uniform in (0, 1].
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit")]
    pub(crate) const fn unit(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }
}
