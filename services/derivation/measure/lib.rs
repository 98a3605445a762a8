//! Nothing but benches; see `benches/main.rs`.
