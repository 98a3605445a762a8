//! What an order asks for: procedures, what comes before what, and what undoes what.

use crate::floor::Node;

/// A procedure.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Procedure {
    /// What it is called.
    pub(crate) title: &'static str,
    /// What it does to the service mode.
    pub(crate) mode: Mode,
    /// A wait follows it, which blocks the vehicle.
    pub(crate) settles: bool,
}

/// What a procedure does to the service mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mode {
    /// Nothing.
    Same,
    /// Its start enters it, before the lines that require it.
    Enters,
    /// It leaves it when it passes, and can't begin without it.
    Leaves,
}

/// What one line's work undoes when it begins.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    /// Procedures whose passed tasks it undoes.
    pub(crate) undoes: &'static [usize],
    /// Procedures that it requires.
    pub(crate) requires: &'static [usize],
    /// It would disturb the service mode while that stands open.
    pub(crate) foreign: bool,
}

/// What an order asks for. A line beyond those at intake is there once the order was amended.
#[derive(Debug, Clone)]
pub(crate) struct Work {
    /// The procedures, each required once.
    pub(crate) procedures: &'static [Procedure],
    /// The lines.
    pub(crate) lines: &'static [Line],
    /// How many of them are there at intake.
    pub(crate) lines_at_intake: usize,
    /// First this, then that.
    pub(crate) edges: &'static [(Node, Node)],
    /// Entering, leaving, and what must not fall between.
    pub(crate) either_or: &'static [(usize, usize, Node)],
    /// The procedures differ in nothing.
    pub(crate) alike: bool,
}

/// Entering.
pub(crate) const ENTER: usize = 0;
/// Leaving.
pub(crate) const LEAVE: usize = 1;
/// The functional test that follows.
pub(crate) const TEST: usize = 2;

/// Open for service, close and calibrate, try: the chain that is entered, left and tested.
const CHAIN: &[Procedure] = &[
    Procedure { title: "enter", mode: Mode::Enters, settles: true },
    Procedure { title: "leave", mode: Mode::Leaves, settles: true },
    Procedure { title: "test", mode: Mode::Same, settles: true },
];

/// Three tasks that have nothing to do with each other but the vehicle.
const APART: &[Procedure] = &[
    Procedure { title: "one", mode: Mode::Same, settles: false },
    Procedure { title: "two", mode: Mode::Same, settles: false },
    Procedure { title: "three", mode: Mode::Same, settles: false },
];

const INSIDE: Line =
    Line { undoes: &[LEAVE, TEST], requires: &[ENTER, LEAVE, TEST], foreign: false };
const OUTSIDE: Line = Line { undoes: &[0, 1, 2], requires: &[], foreign: true };

impl Work {
    /// The chain around one line; an amendment adds a second line of the same kind.
    pub(crate) const CHAIN: Self = Self {
        procedures: CHAIN,
        lines: &[INSIDE, INSIDE],
        lines_at_intake: 1,
        edges: &[
            (Node::Task(ENTER), Node::Line(0)),
            (Node::Task(ENTER), Node::Line(1)),
            (Node::Line(0), Node::Task(LEAVE)),
            (Node::Line(1), Node::Task(LEAVE)),
            (Node::Task(ENTER), Node::Task(LEAVE)),
            (Node::Line(0), Node::Task(TEST)),
            (Node::Line(1), Node::Task(TEST)),
            (Node::Task(LEAVE), Node::Task(TEST)),
        ],
        either_or: &[],
        alike: false,
    };

    /// Three tasks apart; an amendment adds a line that undoes all of them.
    pub(crate) const APART: Self = Self {
        procedures: APART,
        lines: &[OUTSIDE],
        lines_at_intake: 0,
        edges: &[
            (Node::Line(0), Node::Task(0)),
            (Node::Line(0), Node::Task(1)),
            (Node::Line(0), Node::Task(2)),
        ],
        either_or: &[],
        alike: true,
    };
}
