//! What the service reads from an order: vehicle identification numbers, trouble codes, lines of work.

mod codes;
mod labelled;
mod lines;
mod trade_names;
mod vins;
