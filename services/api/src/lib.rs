//! api
