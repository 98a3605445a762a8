//! Proofs that an entry is in a tree, and that a tree only grew (RFC 9162 sections 2.1.3, 2.1.4).
//!
//! Making one is two steps, so that the caller can load between them what it needs: a [`Plan`]
//! names stored nodes, [`Plan::fold`] turns their hashes into the proof.

use crate::hash::{Hash, node};
use crate::tree::{NodeId, cover, fold};

/// Which stored nodes a proof is made of. Each of its hashes is one node or, at the tree's right
/// edge, the fold of several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    parts: Vec<Vec<NodeId>>,
}

/// There is no such proof.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoProof {
    /// The entry is not in the tree.
    #[error("a tree of {size} entries has no entry at position {index}")]
    NotInTree {
        /// The position asked for, from 0.
        index: u64,
        /// The tree's size.
        size: u64,
    },
    /// From nothing everything follows, so such a proof would show nothing.
    #[error("a tree without entries is consistent with every tree: it can't be proven from")]
    FromNothing,
    /// The old tree is larger than the new one.
    #[error("a tree of {new} entries can't have grown from one of {old}")]
    Shrunk {
        /// Size of the older tree.
        old: u64,
        /// Size of the newer tree.
        new: u64,
    },
    /// A node that the plan names was not given.
    #[error("the stored node at level {}, index {} is missing", .0.level, .0.index)]
    MissingNode(NodeId),
    /// The hashes don't lead to the root.
    #[error("the proof does not lead to the root")]
    WrongRoot,
}

impl Plan {
    /// Every stored node that [`Plan::fold`] will ask for.
    pub fn nodes(&self) -> impl Iterator<Item = NodeId> + '_ {
        self.parts.iter().flatten().copied()
    }

    /// The proof, from the hashes of the stored nodes.
    ///
    /// # Errors
    /// [`NoProof::MissingNode`] when `hash_of` doesn't know a node.
    pub fn fold(&self, hash_of: impl Fn(NodeId) -> Option<Hash>) -> Result<Vec<Hash>, NoProof> {
        self.parts
            .iter()
            .map(|part| {
                let hashes = part
                    .iter()
                    .map(|&id| hash_of(id).ok_or(NoProof::MissingNode(id)))
                    .collect::<Result<Vec<_>, _>>()?;
                Ok(fold(&hashes).expect("no part of a plan is empty"))
            })
            .collect()
    }
}

/// The nodes that prove the entry at `index` (from 0) in the tree of `size` entries.
///
/// # Errors
/// [`NoProof::NotInTree`].
pub fn inclusion_nodes(index: u64, size: u64) -> Result<Plan, NoProof> {
    if index >= size {
        return Err(NoProof::NotInTree { index, size });
    }
    let mut parts = Vec::new();
    let (mut begin, mut end) = (0, size);
    while end - begin > 1 {
        let middle = begin + split(end - begin);
        if index < middle {
            parts.push(cover(middle, end));
            end = middle;
        } else {
            parts.push(cover(begin, middle));
            begin = middle;
        }
    }
    parts.reverse();
    Ok(Plan { parts })
}

/// The nodes that prove that the tree of `new` entries begins with the tree of `old` entries.
///
/// # Errors
/// [`NoProof::FromNothing`] when `old` is 0, [`NoProof::Shrunk`] when it is larger than `new`.
pub fn consistency_nodes(old: u64, new: u64) -> Result<Plan, NoProof> {
    check_sizes(old, new)?;
    let mut parts = Vec::new();
    let (mut begin, mut end) = (0, new);
    // The old tree ends at `old`: walk down to the complete subtree that ends there too.
    while end != old {
        let middle = begin + split(end - begin);
        if old <= middle {
            parts.push(cover(middle, end));
            end = middle;
        } else {
            parts.push(cover(begin, middle));
            begin = middle;
        }
    }
    if begin != 0 {
        parts.push(cover(begin, end));
    }
    parts.reverse();
    Ok(Plan { parts })
}

/// Checks that `leaf` stands at `index` (from 0) in the tree of `size` entries under `root`.
///
/// # Errors
/// [`NoProof::NotInTree`], [`NoProof::WrongRoot`].
pub fn verify_inclusion(
    leaf: &Hash,
    index: u64,
    size: u64,
    proof: &[Hash],
    root: &Hash,
) -> Result<(), NoProof> {
    if index >= size {
        return Err(NoProof::NotInTree { index, size });
    }
    // RFC 9162 section 2.1.3.2; fn and sn are `at` and `last` here.
    let (mut at, mut last) = (index, size - 1);
    let mut hash = *leaf;
    for sibling in proof {
        if last == 0 {
            return Err(NoProof::WrongRoot);
        }
        if at & 1 == 1 || at == last {
            hash = node(sibling, &hash);
            while at & 1 == 0 && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            hash = node(&hash, sibling);
        }
        at >>= 1;
        last >>= 1;
    }
    if last == 0 && hash == *root { Ok(()) } else { Err(NoProof::WrongRoot) }
}

/// Checks that the tree of `new` entries under `new_root` begins with that of `old` entries under
/// `old_root`.
///
/// # Errors
/// [`NoProof::FromNothing`], [`NoProof::Shrunk`], [`NoProof::WrongRoot`].
pub fn verify_consistency(
    old: u64,
    new: u64,
    proof: &[Hash],
    old_root: &Hash,
    new_root: &Hash,
) -> Result<(), NoProof> {
    check_sizes(old, new)?;
    if old == new {
        return if proof.is_empty() && old_root == new_root {
            Ok(())
        } else {
            Err(NoProof::WrongRoot)
        };
    }
    // RFC 9162 section 2.1.4.2; fn and sn are `at` and `last` here.
    let whole = old.is_power_of_two();
    let (first, rest) =
        if whole { (old_root, proof) } else { proof.split_first().ok_or(NoProof::WrongRoot)? };
    if rest.is_empty() && whole {
        return Err(NoProof::WrongRoot);
    }
    let shift = (old - 1).trailing_ones();
    let (mut at, mut last) = ((old - 1) >> shift, (new - 1) >> shift);
    let (mut older, mut newer) = (*first, *first);
    for sibling in rest {
        if last == 0 {
            return Err(NoProof::WrongRoot);
        }
        if at & 1 == 1 || at == last {
            older = node(sibling, &older);
            newer = node(sibling, &newer);
            while at & 1 == 0 && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            newer = node(&newer, sibling);
        }
        at >>= 1;
        last >>= 1;
    }
    if last == 0 && older == *old_root && newer == *new_root {
        Ok(())
    } else {
        Err(NoProof::WrongRoot)
    }
}

fn check_sizes(old: u64, new: u64) -> Result<(), NoProof> {
    if old > new {
        return Err(NoProof::Shrunk { old, new });
    }
    if old == 0 {
        return Err(NoProof::FromNothing);
    }
    Ok(())
}

/// The largest power of two below `size`, which is at least 2.
fn split(size: u64) -> u64 {
    1 << (size - 1).ilog2()
}
