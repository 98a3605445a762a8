//! An edge between points while the order of an answer is worked out, small enough to be sorted as one number.

use crate::derive::EdgeKind;

/// By the point before, then by the other, then by kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct RawEdge(u64);

pub(super) const KINDS: [EdgeKind; 4] =
    [EdgeKind::Phase, EdgeKind::Needs, EdgeKind::After, EdgeKind::Disturbs];
/// Bits of a point; no order comes near that many tasks and lines.
const BITS: u32 = 30;

impl RawEdge {
    pub(crate) fn new(before: usize, then: usize, kind: EdgeKind) -> Self {
        let point = |point: usize| point as u64 & ((1 << BITS) - 1);
        Self(point(before) << (BITS + 2) | point(then) << 2 | kind as u64)
    }

    pub(crate) fn before(self) -> usize {
        usize::try_from(self.0 >> (BITS + 2)).unwrap_or_default()
    }

    pub(crate) fn then(self) -> usize {
        usize::try_from(self.0 >> 2 & ((1 << BITS) - 1)).unwrap_or_default()
    }

    pub(crate) fn kind(self) -> EdgeKind {
        KINDS[usize::try_from(self.0 & 3).unwrap_or_default()]
    }
}
