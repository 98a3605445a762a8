//! What can be measured or observed on a vehicle.

/// A signal: numeric with a unit, or with a few states.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// `snake_case` name; SAE J1979's name where it has one.
    pub name: &'static str,
    /// What its values are.
    pub values: Values,
    /// Longest time between two readings over which the signal still counts as known, in seconds.
    pub allowed_gap: u32,
    /// It is read per place (wheel, corner).
    pub per_place: bool,
}

/// The values of a signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Values {
    /// A number in a base unit, plausible between two values of it (inclusive).
    Number {
        /// UCUM code of the base unit.
        unit: &'static str,
        /// Lowest plausible value.
        least: i64,
        /// Highest plausible value.
        most: i64,
    },
    /// One of these words.
    Words(&'static [&'static str]),
}

impl Signal {
    /// The signal of this name.
    pub fn of_name(name: &str) -> Option<&'static Self> {
        TABLE.iter().find(|signal| signal.name == name)
    }
}

/// Every signal.
pub const TABLE: &[Signal] = &[
    Signal {
        name: "engine_coolant_temperature",
        values: Values::Number { unit: "Cel", least: -40, most: 215 },
        allowed_gap: 15,
        per_place: false,
    },
    Signal {
        name: "ignition",
        values: Values::Words(&["off", "accessory", "on"]),
        allowed_gap: 60,
        per_place: false,
    },
];
