//! Derives so many mixed orders against the starter catalogue, for counting instructions: `measure/instructions`.

use std::hint::black_box;

use derivation::derive::derive;
use derivation::index::Compiled;
use derivation::starter;

#[path = "../measure/benches/orders.rs"]
mod orders;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let count: usize = std::env::args().nth(1).ok_or("how many orders?")?.parse()?;
    let compiled = Compiled::new(starter::catalogue().map_err(|_| "the starter catalogue reads")?);
    let orders = orders::mixed(compiled.catalogue(), 500, true);
    for order in orders.iter().cycle().take(count) {
        black_box(derive(&compiled, &order.repair()));
    }
    Ok(())
}
