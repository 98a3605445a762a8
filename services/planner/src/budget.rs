//! How long a search goes on, and how much worse a step may be meanwhile.

use crate::construct::real;
use crate::dice::Dice;
use crate::model::Ticks;
use crate::outcome::Spent;
use crate::shop::{Shop, index};

/// A part of the caller's budget, over which a search cools down.
pub(crate) struct Budget<'a> {
    iterations: Option<u64>,
    spent: Spent<'a>,
    /// The part, as shares of the whole.
    part: (f64, f64),
    heat: (f64, f64),
    count: u64,
    temperature: f64,
}

impl<'a> Budget<'a> {
    /// The part of a budget between two shares of it.
    pub(crate) fn part(
        iterations: Option<u64>,
        spent: Spent<'a>,
        part: (f64, f64),
        heat: (f64, f64),
    ) -> Self {
        Self { iterations, spent, part, heat, count: 0, temperature: heat.0 }
    }

    /// Whether there is time for another step; looks at the clock now and then.
    pub(crate) fn goes_on(&mut self) -> bool {
        if self.count.is_multiple_of(32) {
            let clock = (self.spent)();
            let (from, to) = self.part;
            let gone = match self.iterations {
                Some(limit) => ratio(self.count, limit) / (to - from),
                None => (clock - from) / (to - from),
            };
            if gone >= 1.0 || clock >= 1.0 {
                return false;
            }
            self.temperature = self.heat.0 * (self.heat.1 / self.heat.0).powf(gone.max(0.0));
        }
        self.count += 1;
        true
    }

    /// How many steps there were.
    pub(crate) const fn steps(&self) -> u64 {
        self.count
    }

    /// How far the search has cooled down between two temperatures, from 0 to 1.
    pub(crate) fn cooled(&self, (hot, cold): (f64, f64)) -> f64 {
        ((hot / self.temperature).ln() / (hot / cold).ln()).clamp(0.0, 1.0)
    }

    /// How much more than before the next plan may cost.
    #[expect(clippy::cast_possible_truncation, reason = "far below 2^52")]
    pub(crate) fn slack(&self, dice: &mut Dice) -> i64 {
        (-self.temperature * dice.unit().ln()) as i64
    }
}

#[expect(clippy::cast_precision_loss, reason = "far below 2^52")]
fn ratio(count: u64, limit: u64) -> f64 {
    count as f64 / limit.max(1) as f64
}

/// First and last temperature that suit the model: a part of what a mean length of work late costs.
pub(crate) fn heat(shop: &Shop<'_>) -> (f64, f64) {
    let model = shop.model;
    let works = real(Ticks::from(index(shop.works.len().max(1))));
    let length = real(shop.works.iter().map(|work| work.length).sum::<Ticks>()) / works;
    if model.weights.makespan > 0 {
        return (
            0.25 * length * real(model.weights.makespan),
            0.02 * length * real(model.weights.makespan),
        );
    }
    let orders = real(Ticks::from(index(model.orders.len().max(1))));
    let weight = real(model.orders.iter().map(|order| order.weight).sum::<i64>()) / orders;
    let unit =
        (length * weight * real(model.weights.tardiness.max(model.weights.flow).max(1))).max(1.0);
    (unit, 0.04 * unit)
}
