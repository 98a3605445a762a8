//! workflow
