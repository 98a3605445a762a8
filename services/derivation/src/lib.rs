//! derivation
