//! Units by UCUM code, as exact fractions of the base unit of their dimension.

use num_rational::Ratio;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Base unit `Cel`.
    Temperature,
}

/// A unit of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// UCUM code, case-sensitive.
    pub code: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// `base = (value + before) * factor`: numerator and denominator of the factor.
    pub factor: (i128, i128),
    /// Added before the factor (only temperatures have one).
    pub before: (i128, i128),
}

impl Unit {
    /// The unit of this UCUM code.
    pub fn of_code(code: &str) -> Option<&'static Self> {
        TABLE.iter().find(|unit| unit.code == code)
    }

    /// A value of this unit in the dimension's base unit, exactly.
    pub fn to_base(&self, value: Ratio<i128>) -> Ratio<i128> {
        (value + Ratio::new(self.before.0, self.before.1))
            * Ratio::new(self.factor.0, self.factor.1)
    }
}

/// Every unit.
pub const TABLE: &[Unit] =
    &[Unit { code: "Cel", dimension: Dimension::Temperature, factor: (1, 1), before: (0, 1) }];
