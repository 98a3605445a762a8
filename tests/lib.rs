//! The acceptance suites live in `it/`; this library is only their home.
