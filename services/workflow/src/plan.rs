//! The plan: made again after everything that matters, beside the requests; shown, pinned, and tried.

mod forecast;
mod gains;
mod hours;
mod picture;
mod pins;
mod round;
mod show;
mod trial;
mod why;

pub use forecast::{forecast, promise};
pub use gains::gains;
pub use pins::{pin, pins, unpin};
pub use round::round;
pub use show::{board, calendar, get};
pub use trial::trial;
pub use why::why_late;
