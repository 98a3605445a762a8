//! What the day brought: progress lines as it goes, and everything that went otherwise than it was to.

use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

use domain::lifecycle::OrderState;
use uuid::Uuid;

use crate::client::Failure;

/// Where progress lines go.
pub type Say = dyn Fn(&str) + Send + Sync;

/// The end of the day.
#[derive(Debug, Clone, Default)]
pub struct Report {
    /// Every order with the state it ended in.
    pub orders: Vec<Ended>,
    /// What went otherwise than it was to; empty is a good day.
    pub mismatches: Vec<String>,
}

/// An order at the end of the day.
#[derive(Debug, Clone)]
pub struct Ended {
    /// Its id.
    pub id: Uuid,
    /// Its number.
    pub number: String,
    /// What it was about.
    pub about: &'static str,
    /// Its state.
    pub state: OrderState,
    /// How many tasks counted.
    pub tasks: u32,
}

impl fmt::Display for Report {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for one in &self.orders {
            let state = one.state.word();
            writeln!(
                out,
                "{:<14} {:<10} {:>2} tasks  {}",
                one.number, state, one.tasks, one.about
            )?;
        }
        for mismatch in &self.mismatches {
            writeln!(out, "MISMATCH {mismatch}")?;
        }
        let (orders, wrong) = (self.orders.len(), self.mismatches.len());
        write!(out, "{orders} orders, {wrong} mismatches")
    }
}

/// What is told and checked of one order.
#[derive(Clone)]
pub struct Story {
    /// Number of the order, or who else is spoken of.
    pub of: String,
    say: Arc<Say>,
    mismatches: Arc<Mutex<Vec<String>>>,
}

impl Story {
    /// A story whose lines go to `say`.
    pub fn new(of: &str, say: &Arc<Say>) -> Self {
        Self { of: of.to_owned(), say: Arc::clone(say), mismatches: Arc::default() }
    }

    /// The same day's story of somebody else.
    #[must_use]
    pub fn of(&self, of: &str) -> Self {
        Self { of: of.to_owned(), ..self.clone() }
    }

    /// Tells a line.
    pub fn tell(&self, text: &str) {
        (self.say)(&format!("{:<14} {text}", self.of));
    }

    /// Checks something; what does not hold is a mismatch.
    pub fn expect(&self, holds: bool, what: &str) {
        if !holds {
            let line = format!("{}: not so: {what}", self.of);
            (self.say)(&line);
            self.mismatches.lock().unwrap_or_else(PoisonError::into_inner).push(line);
        }
    }

    /// Checks that a call was refused with this type of problem.
    pub fn refused<T>(&self, answer: &Result<T, Failure>, word: &str, what: &str) {
        match answer {
            Err(failure) if tells(failure, word) => {
                let detail = failure.problem().map(|problem| problem.detail.clone());
                self.tell(&format!("refused: {what} ({word}: {})", detail.unwrap_or_default()));
            }
            Err(failure) => self.expect(false, &format!("{what} is `{word}`; it was {failure}")),
            Ok(_) => self.expect(false, &format!("{what} is refused")),
        }
    }

    /// Everything that did not hold so far.
    pub fn mismatches(&self) -> Vec<String> {
        self.mismatches.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// Whether a refusal is of this type, or names it among its reasons.
fn tells(failure: &Failure, word: &str) -> bool {
    let reasons = failure.problem().map(|problem| problem.reasons.as_slice()).unwrap_or_default();
    failure.word() == Some(word) || reasons.iter().any(|one| one.code.replace('_', "-") == word)
}
