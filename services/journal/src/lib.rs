//! The journal: an append-only record that an auditor can check without trusting who keeps it.
//!
//! An [`entry::Entry`] becomes canonical bytes (RFC 8785); their hash is a leaf of the shop's
//! Merkle tree (RFC 9162 section 2.1, [`tree`], [`proof`]); a [`checkpoint`] signs the tree's size
//! and root; a [`bundle::Bundle`] carries one order's entries with their proofs and is checked
//! offline by [`verify::verify`].
//!
//! Pure: no clock, no ids, no I/O.

pub mod bundle;
pub mod checkpoint;
pub mod entry;
pub mod hash;
pub mod key;
pub mod proof;
pub mod tree;
pub mod verify;
