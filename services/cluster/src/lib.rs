//! cluster
