//! Why an item is refused.

/// Why an item says nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No such signal.
    #[error("`{0}` is not a signal that is known")]
    UnknownSignal(String),
    /// The signal has states, not numbers.
    #[error("{signal} is a state, one of {words}; it has no number")]
    NotANumber {
        /// The signal.
        signal: String,
        /// Its states.
        words: String,
    },
    /// The signal has numbers, not states.
    #[error("{signal} is a number in {unit}; it has no state")]
    NotAState {
        /// The signal.
        signal: String,
        /// Its base unit.
        unit: &'static str,
    },
    /// No such unit.
    #[error("`{given}` is not a unit that is known; {signal} is read in one of {units}")]
    UnknownUnit {
        /// The signal.
        signal: String,
        /// The unit as given.
        given: String,
        /// Units that fit.
        units: String,
    },
    /// The unit measures something else.
    #[error("{given} does not measure {signal}, which is read in one of {units}")]
    WrongDimension {
        /// The signal.
        signal: String,
        /// The unit as given.
        given: String,
        /// Units that fit.
        units: String,
    },
    /// No such state.
    #[error("`{given}` is not a state of {signal}, which is one of {words}")]
    UnknownState {
        /// The signal.
        signal: String,
        /// The state as given.
        given: String,
        /// Its states.
        words: String,
    },
    /// The place is missing, unknown or out of place.
    #[error("{signal} is read at one of {places}, not at {given}")]
    WrongPlace {
        /// The signal.
        signal: String,
        /// The place as given.
        given: String,
        /// Its places.
        places: String,
    },
    /// Not a finite decimal number.
    #[error("the value is not a decimal number of at most 18 digits")]
    NotFinite,
    /// The moment lies outside every calendar of this trade.
    #[error("the moment lies outside the years 1970 to 2200")]
    NoMoment,
    /// A text has not the form that it must have.
    #[error("`{given}` is not {what}")]
    Malformed {
        /// What it should be.
        what: &'static str,
        /// The text as given, shortened.
        given: String,
    },
    /// The same item stands in the batch already.
    #[error("it repeats item {of} of this batch")]
    Duplicate {
        /// Position of the first, from 0.
        of: usize,
    },
}

impl Refusal {
    /// Stable word for programs.
    pub fn code(&self) -> &'static str {
        match self {
            Self::UnknownSignal(_) => "unknown_signal",
            Self::NotANumber { .. } => "not_a_number",
            Self::NotAState { .. } => "not_a_state",
            Self::UnknownUnit { .. } => "unknown_unit",
            Self::WrongDimension { .. } => "wrong_dimension",
            Self::UnknownState { .. } => "unknown_state",
            Self::WrongPlace { .. } => "wrong_place",
            Self::NotFinite => "not_finite",
            Self::NoMoment => "no_moment",
            Self::Malformed { .. } => "malformed",
            Self::Duplicate { .. } => "duplicate",
        }
    }
}
