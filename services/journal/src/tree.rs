//! The shop's Merkle tree (RFC 9162 section 2.1) as a right edge that grows.
//!
//! Only nodes over complete subtrees are kept: they never change, so the database writes fewer
//! than two per entry on average and never updates one. Every root and proof folds from O(log n).

use crate::hash::{Hash, digest, node};

/// A node over a complete subtree: it covers the leaves from `index << level` on, `1 << level`
/// of them. Leaves are level 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId {
    /// Height above the leaves.
    pub level: u8,
    /// Number among the nodes of that level, from 0.
    pub index: u64,
}

/// A node to store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Node {
    /// Where it stands.
    pub id: NodeId,
    /// Its hash.
    pub hash: Hash,
}

/// The right edge of a tree: all that is needed to append and to tell the root.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

/// The stored peaks don't belong to a tree of the size given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a tree of {size} entries has {expected} peaks, not {given}")]
pub struct WrongPeaks {
    size: u64,
    expected: usize,
    given: usize,
}

/// The nodes that hold the right edge of a tree of `size` entries, left to right.
pub fn peaks(size: u64) -> Vec<NodeId> {
    cover(0, size)
}

impl Frontier {
    /// The tree without entries.
    pub fn new() -> Self {
        Self { size: 0, peaks: Vec::new() }
    }

    /// Takes up a tree of `size` entries from the hashes of [`peaks`], in that order.
    ///
    /// # Errors
    /// When there are more or fewer than such a tree has.
    pub fn resume(size: u64, hashes: Vec<Hash>) -> Result<Self, WrongPeaks> {
        let expected = peaks(size).len();
        if hashes.len() != expected {
            return Err(WrongPeaks { size, expected, given: hashes.len() });
        }
        Ok(Self { size, peaks: hashes })
    }

    /// How many entries the tree has.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// The root hash; that of no entries is the hash of nothing.
    pub fn root(&self) -> Hash {
        fold(&self.peaks).unwrap_or_else(|| digest(b""))
    }

    /// Appends leaves and returns every node that became complete, the leaves among them.
    pub fn append(&mut self, leaves: &[Hash]) -> Vec<Node> {
        let mut complete = Vec::with_capacity(leaves.len() * 2);
        for &leaf in leaves {
            let mut hash = leaf;
            let mut id = NodeId { level: 0, index: self.size };
            complete.push(Node { id, hash });
            while id.index & 1 == 1
                && let Some(left) = self.peaks.pop()
            {
                hash = node(&left, &hash);
                id = NodeId { level: id.level + 1, index: id.index >> 1 };
                complete.push(Node { id, hash });
            }
            self.peaks.push(hash);
            self.size += 1;
        }
        complete
    }
}

impl Default for Frontier {
    fn default() -> Self {
        Self::new()
    }
}

/// The complete subtrees that make up the leaves `begin..end` of a subtree beginning at `begin`,
/// largest first.
pub(crate) fn cover(begin: u64, end: u64) -> Vec<NodeId> {
    let mut nodes = Vec::new();
    let mut from = begin;
    while from < end {
        let level = (end - from).ilog2();
        nodes.push(NodeId {
            level: u8::try_from(level).expect("the logarithm of a u64 is below 64"),
            index: from >> level,
        });
        from += 1 << level;
    }
    nodes
}

/// One hash over neighbouring subtrees, from the right; none over nothing.
pub(crate) fn fold(hashes: &[Hash]) -> Option<Hash> {
    let (last, rest) = hashes.split_last()?;
    Some(rest.iter().rev().fold(*last, |right, left| node(left, &right)))
}
