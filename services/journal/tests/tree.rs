//! The tree and its proofs, against published vectors and against another implementation.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

use std::collections::HashMap;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use ct_merkle::mem_backed_tree::MemoryBackedTree;
use journal::hash::{Hash, leaf};
use journal::proof::{
    NoProof, consistency_nodes, inclusion_nodes, verify_consistency, verify_inclusion,
};
use journal::tree::{Frontier, NodeId, peaks};
use proptest::prelude::*;
use serde::Deserialize;
use sha2::Sha256;

/// RFC 9162 2.1; leaf inputs and roots: transparency-dev/merkle testonly/constants.go
/// (Apache-2.0, commit 417fb0c).
#[derive(Deserialize)]
struct Published {
    leaf_inputs_hex: Vec<String>,
    roots_by_size: Vec<Hash>,
    inclusion: Vec<Inclusion>,
    consistency: Vec<Consistency>,
}

#[derive(Deserialize)]
struct Inclusion {
    leaf_index: u64,
    tree_size: u64,
    leaf_hash: Hash,
    root: Hash,
    proof: Vec<Hash>,
}

#[derive(Deserialize)]
struct Consistency {
    size1: u64,
    size2: u64,
    root1: Hash,
    root2: Hash,
    proof: Vec<Hash>,
}

/// transparency-dev/merkle testdata/ (Apache-2.0, commit 417fb0c): proofs that hold, and such as
/// were changed so that they must not.
#[derive(Deserialize)]
struct Probes {
    probes: Vec<Probe>,
}

#[derive(Deserialize)]
#[serde(untagged, rename_all_fields = "camelCase")]
enum Probe {
    Inclusion {
        leaf_idx: u64,
        tree_size: u64,
        root: Option<String>,
        leaf_hash: Option<String>,
        proof: Option<Vec<String>>,
        desc: String,
        want_err: bool,
    },
    Consistency {
        size1: u64,
        size2: u64,
        root1: Option<String>,
        root2: Option<String>,
        proof: Option<Vec<String>>,
        desc: String,
        want_err: bool,
    },
}

fn published() -> Published {
    serde_json::from_str(include_str!("data/merkle.json")).unwrap()
}

fn strict(text: Option<&String>) -> Option<Hash> {
    let bytes = BASE64_STANDARD.decode(text?).unwrap();
    Hash::try_from(bytes.as_slice()).ok()
}

fn strict_all(texts: Option<&Vec<String>>) -> Option<Vec<Hash>> {
    texts.map_or(Some(Vec::new()), |texts| texts.iter().map(|text| strict(Some(text))).collect())
}

/// A tree of numbered leaves with every node that was ever to be stored.
fn grow(size: u64) -> (Vec<Hash>, HashMap<NodeId, Hash>) {
    let mut tree = Frontier::new();
    let mut roots = vec![tree.root()];
    let mut stored = HashMap::new();
    for number in 0..size {
        for node in tree.append(&[leaf(&number.to_be_bytes())]) {
            assert_eq!(stored.insert(node.id, node.hash), None, "stored once");
        }
        roots.push(tree.root());
    }
    (roots, stored)
}

#[test]
fn a_journal_has_the_published_roots() {
    let published = published();
    let mut tree = Frontier::new();
    assert_eq!(tree.root(), published.roots_by_size[0]);
    for (input, root) in published.leaf_inputs_hex.iter().zip(&published.roots_by_size[1..]) {
        tree.append(&[leaf(&hex::decode(input).unwrap())]);
        assert_eq!(tree.root(), *root);
    }
    assert_eq!(tree.size(), 8);
}

#[test]
fn proofs_fold_from_stored_nodes_to_the_published_ones() {
    let published = published();
    let mut stored = HashMap::new();
    let mut tree = Frontier::new();
    let leaves: Vec<Hash> =
        published.leaf_inputs_hex.iter().map(|input| leaf(&hex::decode(input).unwrap())).collect();
    stored.extend(tree.append(&leaves).iter().map(|node| (node.id, node.hash)));
    let hash_of = |id: NodeId| stored.get(&id).copied();

    for case in &published.inclusion {
        let proof =
            inclusion_nodes(case.leaf_index, case.tree_size).unwrap().fold(hash_of).unwrap();
        assert_eq!(proof, case.proof);
        verify_inclusion(&case.leaf_hash, case.leaf_index, case.tree_size, &proof, &case.root)
            .unwrap();
    }
    for case in &published.consistency {
        let proof = consistency_nodes(case.size1, case.size2).unwrap().fold(hash_of).unwrap();
        assert_eq!(proof, case.proof, "from {} to {}", case.size1, case.size2);
        verify_consistency(case.size1, case.size2, &proof, &case.root1, &case.root2).unwrap();
    }
    assert_eq!((published.inclusion.len(), published.consistency.len()), (36, 36));
}

#[test]
fn every_published_probe_is_judged_as_it_must_be() {
    let probes: Probes = serde_json::from_str(include_str!("data/merkle_probes.json")).unwrap();
    let (mut held, mut refused) = (0, 0);
    for probe in &probes.probes {
        let (holds, desc, want_err) = match probe {
            Probe::Inclusion { leaf_idx, tree_size, root, leaf_hash, proof, desc, want_err } => {
                let holds = (|| {
                    let (leaf, root) = (strict(leaf_hash.as_ref())?, strict(root.as_ref())?);
                    let proof = strict_all(proof.as_ref())?;
                    verify_inclusion(&leaf, *leaf_idx, *tree_size, &proof, &root).ok()
                })();
                (holds.is_some(), desc, *want_err)
            }
            Probe::Consistency { size1, size2, root1, root2, proof, desc, want_err } => {
                let holds = (|| {
                    let (old, new) = (strict(root1.as_ref())?, strict(root2.as_ref())?);
                    let proof = strict_all(proof.as_ref())?;
                    verify_consistency(*size1, *size2, &proof, &old, &new).ok()
                })();
                (holds.is_some(), desc, *want_err)
            }
        };
        // One probe that is to hold has roots of 12 bytes; here a hash is always 32.
        let short_roots = desc == "sizes are equal (one) and proof is empty";
        assert_eq!(holds, !want_err && !short_roots, "{desc}");
        *(if holds { &mut held } else { &mut refused }) += 1;
    }
    assert_eq!((held, refused), (11, 185));
}

#[test]
fn nothing_is_proven_from_an_empty_journal_or_into_a_smaller_one() {
    let root = Frontier::new().root();
    assert_eq!(consistency_nodes(0, 7), Err(NoProof::FromNothing));
    assert_eq!(verify_consistency(0, 0, &[], &root, &root), Err(NoProof::FromNothing));
    assert_eq!(consistency_nodes(8, 7), Err(NoProof::Shrunk { old: 8, new: 7 }));
    assert_eq!(inclusion_nodes(7, 7), Err(NoProof::NotInTree { index: 7, size: 7 }));
}

#[test]
fn a_journal_taken_up_again_goes_on_as_if_it_had_not_stopped() {
    let (roots, stored) = grow(70);
    for size in 0..70 {
        let hashes = peaks(size).iter().map(|id| stored[id]).collect();
        let mut tree = Frontier::resume(size, hashes).unwrap();
        assert_eq!(tree.root(), roots[usize::try_from(size).unwrap()]);
        tree.append(&[leaf(&size.to_be_bytes())]);
        assert_eq!(tree.root(), roots[usize::try_from(size).unwrap() + 1]);
    }
    assert!(Frontier::resume(3, vec![roots[0]]).is_err());
}

#[test]
fn storage_per_entry_and_nodes_per_proof_stay_small() {
    let (_, stored) = grow(1000);
    assert!(stored.len() < 2000);
    for index in [0, 1, 499, 998, 999] {
        assert!(inclusion_nodes(index, 1000).unwrap().nodes().count() <= 2 * 10);
    }
    for old in [1, 2, 511, 512, 513, 999] {
        assert!(consistency_nodes(old, 1000).unwrap().nodes().count() <= 2 * 10);
    }
    // A journal of any size that fits into 63 bits can be planned for.
    assert!(inclusion_nodes(1 << 62, (1 << 62) + 5).unwrap().nodes().count() <= 70);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The other implementation is the crate `ct-merkle`.
    #[test]
    fn another_implementation_makes_and_takes_the_same_proofs(size in 1_u64..200, a: u64, b: u64) {
        let mut other = MemoryBackedTree::<Sha256, [u8; 8]>::new();
        for number in 0..size {
            other.push(number.to_be_bytes());
        }
        let (roots, stored) = grow(size);
        let root = *roots.last().unwrap();
        let other_root = other.root();
        prop_assert_eq!(other_root.as_bytes().as_slice(), root.0);
        let hash_of = |id: NodeId| stored.get(&id).copied();
        let bytes = |proof: &[Hash]| proof.iter().flat_map(|hash| hash.0).collect::<Vec<u8>>();

        let index = a % size;
        let proof = inclusion_nodes(index, size).unwrap().fold(hash_of).unwrap();
        let at = usize::try_from(index).unwrap();
        prop_assert_eq!(bytes(&proof), other.prove_inclusion(at).as_bytes().to_vec());
        prop_assert_eq!(
            verify_inclusion(&leaf(&index.to_be_bytes()), index, size, &proof, &root),
            Ok(())
        );

        let old = 1 + b % size;
        let proof = consistency_nodes(old, size).unwrap().fold(hash_of).unwrap();
        let added = usize::try_from(size - old).unwrap();
        if added > 0 {
            prop_assert_eq!(bytes(&proof), other.prove_consistency(added).as_bytes().to_vec());
        }
        let old_root = roots[usize::try_from(old).unwrap()];
        prop_assert_eq!(verify_consistency(old, size, &proof, &old_root, &root), Ok(()));
    }

    #[test]
    fn a_proof_with_any_hash_changed_fails(size in 2_u64..100, at: u64, which: usize, bit in 0_u8..8) {
        let (roots, stored) = grow(size);
        let index = at % size;
        let mut proof = inclusion_nodes(index, size)
            .unwrap()
            .fold(|id| stored.get(&id).copied())
            .unwrap();
        let which = which % proof.len();
        proof[which].0[31] ^= 1 << bit;
        let root = roots.last().unwrap();
        prop_assert_eq!(
            verify_inclusion(&leaf(&index.to_be_bytes()), index, size, &proof, root),
            Err(NoProof::WrongRoot)
        );
    }
}
