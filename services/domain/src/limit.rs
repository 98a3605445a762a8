//! Limits of a condition, and another figure in their place.

use num_rational::Ratio;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::precondition::{Condition, Range};
use crate::quantity::Decimal;
use crate::unit::Unit;

/// How far the manufacturer's figure may differ from the catalogue's.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MayDiffer {
    /// No limit may be lower than this, in the condition's own unit (a wait: seconds).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Decimal>,
    /// No limit may be higher than this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_most: Option<Decimal>,
    /// How many people must agree: 1, or 2 with an approval by another.
    #[serde(default = "two")]
    #[schema(minimum = 1, maximum = 2)]
    pub people: u8,
}

/// An end of a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The lowest value that still satisfies it; of a wait, how long it is at least.
    AtLeast,
    /// The highest value that still satisfies it.
    AtMost,
}

/// One limit of a condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limit {
    /// Which end.
    pub bound: Bound,
    /// The figure.
    pub value: Decimal,
    /// UCUM code.
    pub unit: String,
}

impl Bound {
    /// The word used in documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::AtLeast => "at_least",
            Self::AtMost => "at_most",
        }
    }

    /// For people.
    pub fn phrase(self) -> &'static str {
        match self {
            Self::AtLeast => "at least",
            Self::AtMost => "at most",
        }
    }

    /// The end of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::AtLeast, Self::AtMost].into_iter().find(|bound| bound.word() == word)
    }
}

impl Limit {
    /// A figure of another unit in this limit's unit, exactly; `None` when the two measure different things.
    pub fn in_its_unit(&self, value: Decimal, unit: &str) -> Option<Ratio<i128>> {
        Unit::of_code(unit)?.to(Unit::of_code(&self.unit)?, value.ratio())
    }
}

impl Condition {
    /// The limits of its one range or wait; those of several when it has several.
    pub fn limits(&self) -> Vec<Limit> {
        match self {
            Self::Range(range) => {
                let limit = |bound, value: Option<Decimal>| {
                    value.map(|value| Limit { bound, value, unit: range.unit.clone() })
                };
                let least = limit(Bound::AtLeast, range.at_least);
                least.into_iter().chain(limit(Bound::AtMost, range.at_most)).collect()
            }
            Self::Elapsed { at_least, .. } => vec![Limit {
                bound: Bound::AtLeast,
                value: Decimal::whole(i64::from(*at_least)),
                unit: "s".to_owned(),
            }],
            Self::All(parts) | Self::Any(parts) => parts.iter().flat_map(Self::limits).collect(),
            _ => Vec::new(),
        }
    }

    /// Puts another figure in the place of a limit; `false`: it has none, or the figure does not fit.
    pub fn set_limit(&mut self, bound: Bound, value: Decimal, unit: &str) -> bool {
        match self {
            Self::Range(range) => {
                let Some(changed) = range.with(bound, value, unit) else { return false };
                *self = changed;
                true
            }
            Self::Elapsed { at_least, .. } => {
                let seconds = Unit::of_code(unit)
                    .zip(Unit::of_code("s"))
                    .and_then(|(unit, second)| unit.to(second, value.ratio()))
                    .and_then(|seconds| u32::try_from(seconds.ceil().to_integer()).ok());
                if let Some(seconds) = seconds.filter(|_| bound == Bound::AtLeast) {
                    *at_least = seconds;
                    return true;
                }
                false
            }
            Self::All(parts) | Self::Any(parts) => {
                parts.iter_mut().any(|part| part.set_limit(bound, value, unit))
            }
            _ => false,
        }
    }

    /// The same, only where it lets more pass than the figure that stands there.
    pub fn widen(&mut self, bound: Bound, value: Decimal, unit: &str) {
        let wider = self.limits().iter().find(|limit| limit.bound == bound).is_some_and(|old| {
            old.in_its_unit(value, unit).is_some_and(|new| match bound {
                Bound::AtLeast => new < old.value.ratio(),
                Bound::AtMost => new > old.value.ratio(),
            })
        });
        if wider {
            self.set_limit(bound, value, unit);
        }
    }

    /// Whether no value can satisfy its limits.
    pub fn is_empty_range(&self) -> bool {
        let limits = self.limits();
        let ends = |bound| limits.iter().filter(move |limit| limit.bound == bound);
        ends(Bound::AtLeast).any(|least| {
            ends(Bound::AtMost).any(|most| {
                most.in_its_unit(least.value, &least.unit)
                    .is_some_and(|least| least > most.value.ratio())
            })
        })
    }
}

impl Range {
    /// The condition with another figure at one end: in the figure's own unit, beside the other end in its unit.
    fn with(&self, bound: Bound, value: Decimal, unit: &str) -> Option<Condition> {
        let old = match bound {
            Bound::AtLeast => self.at_least?,
            Bound::AtMost => self.at_most?,
        };
        let limit = Limit { bound, value: old, unit: self.unit.clone() };
        limit.in_its_unit(value, unit)?;
        let mut other = self.clone();
        let end = if bound == Bound::AtLeast { &mut other.at_least } else { &mut other.at_most };
        if unit == self.unit {
            *end = Some(value);
            return Some(Condition::Range(other));
        }
        *end = None;
        let new = Self {
            at_least: (bound == Bound::AtLeast).then_some(value),
            at_most: (bound == Bound::AtMost).then_some(value),
            unit: unit.to_owned(),
            signal: self.signal.clone(),
        };
        let rest = other.at_least.is_some() || other.at_most.is_some();
        let rest = rest.then_some(Condition::Range(other));
        Some(match rest {
            Some(rest) => Condition::All(vec![rest, Condition::Range(new)]),
            None => Condition::Range(new),
        })
    }
}

fn two() -> u8 {
    2
}

#[cfg(test)]
mod tests {
    use super::*;

    fn warm() -> Condition {
        Condition::Range(Range {
            signal: "engine_coolant_temperature".to_owned(),
            at_least: Some(Decimal::whole(200)),
            at_most: Some(Decimal::whole(210)),
            unit: "[degF]".to_owned(),
        })
    }

    #[test]
    fn a_figure_of_another_unit_stands_exactly_beside_the_end_that_stays() {
        let mut condition = warm();
        assert!(condition.set_limit(Bound::AtMost, Decimal::whole(105), "Cel"));
        let told: Vec<_> = condition
            .limits()
            .iter()
            .map(|l| (l.bound, l.value.to_string(), l.unit.clone()))
            .collect();
        assert_eq!(
            told,
            [
                (Bound::AtLeast, "200".to_owned(), "[degF]".to_owned()),
                (Bound::AtMost, "105".to_owned(), "Cel".to_owned())
            ]
        );
        assert!(!condition.is_empty_range());
        condition.set_limit(Bound::AtMost, Decimal::whole(90), "Cel");
        assert!(condition.is_empty_range(), "90 Cel is 194 degF");
        assert!(!warm().set_limit(Bound::AtMost, Decimal::whole(12), "V"));
    }

    #[test]
    fn a_wait_is_counted_in_whole_seconds_and_only_ever_lengthened_by_rounding() {
        let mut wait = Condition::Elapsed { since: "windshield_set".to_owned(), at_least: 3600 };
        assert!(wait.set_limit(Bound::AtLeast, Decimal::whole(4), "h"));
        assert_eq!(
            wait,
            Condition::Elapsed { since: "windshield_set".to_owned(), at_least: 14_400 }
        );
        assert!(wait.set_limit(Bound::AtLeast, Decimal::new(12, 1).expect("a decimal"), "s"));
        assert_eq!(wait, Condition::Elapsed { since: "windshield_set".to_owned(), at_least: 2 });
        assert!(!wait.set_limit(Bound::AtMost, Decimal::whole(1), "h"));
    }

    #[test]
    fn what_holds_while_running_is_only_ever_widened() {
        let mut running = warm();
        running.widen(Bound::AtMost, Decimal::whole(98), "Cel");
        assert_eq!(running, warm());
        running.widen(Bound::AtMost, Decimal::whole(220), "[degF]");
        assert_eq!(running.limits()[1].value, Decimal::whole(220));
    }
}
