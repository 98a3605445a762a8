//! Reads shop days and published job shops into the [`crate::model::Model`], and prints plans in the same formats.

pub mod job_shop;
pub mod shop_day;

use crate::improve::plan;
use crate::outcome::{Options, Spent};

/// A text that is neither a shop day nor a job shop.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// Not the JSON of a shop day.
    #[error("not a shop day: {0}")]
    Json(#[from] serde_json::Error),
    /// A shop day that names something it does not hold, or of another format.
    #[error("in the shop day: {0}")]
    ShopDay(String),
    /// Not a (flexible) job shop.
    #[error("not a job shop: {0}")]
    JobShop(String),
}

/// Plans an instance: `shop-instance/1` JSON gives `shop-plan/1`; the text of a flexible or classic job shop gives
/// `{"makespan", "operations"}` (one list per job of `[machine, start, end]`).
pub fn solve_text(text: &str, options: &Options, spent: Spent<'_>) -> Result<String, Unreadable> {
    if text.trim_start().starts_with('{') {
        let day = shop_day::ShopDay::read(text)?;
        let found = plan(&day.model()?, options, spent);
        Ok(day.print(&found)?)
    } else {
        let shop = job_shop::JobShop::read(text)?;
        Ok(shop.print(&plan(&shop.model(), options, spent)))
    }
}
