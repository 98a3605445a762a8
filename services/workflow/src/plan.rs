//! The plan: made again after everything that matters, beside the requests; shown, pinned, and tried.

mod picture;
mod pins;
mod round;
mod show;
mod trial;

pub use pins::{pin, pins, unpin};
pub use round::round;
pub use show::{board, calendar, get};
pub use trial::trial;
