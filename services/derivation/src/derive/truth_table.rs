//! Truth tables, many rows at a time.

use crate::facts::Logic;

/// Rows of a table.
pub(crate) const ROWS: usize = u64::BITS as usize;

/// A statement in [`ROWS`] cases, a bit for each: whether it must hold there, and whether it may.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Table {
    must: u64,
    may: u64,
}

impl Table {
    /// Nobody knows in any case.
    pub(crate) const OPEN: Self = Self { must: 0, may: u64::MAX };

    /// A statement that is known in each of so many rows.
    pub(crate) fn of(rows: usize, holds: impl Fn(usize) -> bool) -> Self {
        let bits = (0..rows).fold(0, |bits, row| bits | u64::from(holds(row)) << row);
        Self { must: bits, may: bits }
    }

    pub(crate) fn must(self, row: usize) -> bool {
        self.must >> row & 1 != 0
    }

    pub(crate) fn may(self, row: usize) -> bool {
        self.may >> row & 1 != 0
    }
}

impl From<bool> for Table {
    fn from(holds: bool) -> Self {
        if holds { Self::YES } else { Self::NO }
    }
}

impl std::ops::Not for Table {
    type Output = Self;

    fn not(self) -> Self {
        Self { must: !self.may, may: !self.must }
    }
}

impl Logic for Table {
    const YES: Self = Self { must: u64::MAX, may: u64::MAX };
    const NO: Self = Self { must: 0, may: 0 };

    fn and(self, other: Self) -> Self {
        Self { must: self.must & other.must, may: self.may & other.may }
    }

    fn or(self, other: Self) -> Self {
        Self { must: self.must | other.must, may: self.may | other.may }
    }
}
