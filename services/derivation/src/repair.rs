//! What a derivation starts from: one order, as it is known now.

use domain::operation::Operation;
use domain::order::{Authorisation, Done, Reading};
use domain::vehicle::VehicleFacts;

/// One order.
#[derive(Debug, Clone, Copy)]
pub struct Repair<'a> {
    /// What is known of the vehicle.
    pub vehicle: &'a VehicleFacts,
    /// The lines; removed ones are left out.
    pub lines: &'a [RepairLine],
    /// Trouble codes of the order and of observations, SAE J2012 form.
    pub trouble_codes: &'a [String],
    /// Complaints, by name or title.
    pub complaints: &'a [String],
    /// Operations that the floor reports beside the lines.
    pub observed: &'a [Operation],
}

/// One line of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RepairLine {
    /// Its number.
    pub line: i32,
    /// Whether the customer agreed. A line that was never approved requires nothing unless work on it has begun.
    pub authorisation: Authorisation,
    /// Work on it has begun.
    pub begun: bool,
    /// How well its text was understood. An unsure or unread line is a question.
    pub reading: Reading,
    /// Its operations, and the candidates of an unsure reading.
    pub operations: Vec<StatedOperation>,
}

/// An operation of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatedOperation {
    /// What is done to which part.
    pub operation: Operation,
    /// Whether it was really done; what was not done requires nothing.
    pub done: Done,
    /// It was given, or read with certainty; otherwise it is a candidate that a question asks for.
    pub sure: bool,
    /// The words of the line that it rests on.
    pub words: String,
}

impl RepairLine {
    /// The operations that count, with their index in `operations`.
    pub(crate) fn counted(&self) -> impl Iterator<Item = (usize, &StatedOperation)> {
        let falls_away = self.authorisation != Authorisation::Approved && !self.begun;
        self.operations
            .iter()
            .enumerate()
            .filter(move |(_, stated)| !falls_away || stated.done == Done::Done)
            .filter(|(_, stated)| stated.done != Done::NotDone)
    }

    /// Whether somebody must still say what it is.
    pub(crate) fn is_asked(&self) -> bool {
        let falls_away = self.authorisation != Authorisation::Approved && !self.begun;
        !falls_away && matches!(self.reading, Reading::Unsure | Reading::Unread)
    }
}
