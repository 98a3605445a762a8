//! Every way that requests, time and a crash can go, for the model checker.

use std::collections::HashSet;
use std::sync::Mutex;

use domain::lifecycle::TaskState;
use stateright::{Model, Property};

use crate::floor::{Floor, Write};
use crate::promises::promises;
use crate::step::{Act, Decision, Request, Rules, decide};
use crate::work::{ENTER, LEAVE, Mode, TEST, Work};

/// What is checked, how far, and under which rules.
#[derive(Debug)]
pub(crate) struct Checked {
    pub(crate) work: Work,
    pub(crate) rules: Rules,
    pub(crate) database: Database,
    /// Technicians.
    pub(crate) technicians: u8,
    /// How often one task is taken at most.
    pub(crate) attempts: u8,
    /// Crashes of a server.
    pub(crate) crashes: u8,
    /// Tasks handed over.
    pub(crate) handovers: u8,
    /// Places that were found to lead to an end.
    pub(crate) endings: Mutex<HashSet<Floor>>,
}

/// What the database does for the steps; each can be left out to see that the check notices.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Database {
    /// A step locks the vehicle before it reads.
    pub(crate) lock: bool,
    /// Of two tasks on one vehicle one runs, and one thing uses it (unique indexes).
    pub(crate) unique: bool,
    /// The statements of a step are committed together or not at all.
    pub(crate) transaction: bool,
}

impl Database {
    pub(crate) const WHOLE: Self = Self { lock: true, unique: true, transaction: true };
}

/// A transaction that goes on.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct Open {
    request: Request,
    writes: Vec<Write>,
}

/// The database, the transactions that go on, and what happened to the vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct State {
    pub(crate) floor: Floor,
    pub(crate) open: Vec<Open>,
    pub(crate) crashes: u8,
    pub(crate) handovers: u8,
    pub(crate) seen: Seen,
}

/// What an observer beside the vehicle saw, whatever the rows say.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub(crate) struct Seen {
    /// How far the chain is.
    chain: Chain,
    /// A step of the chain began that had no right to.
    pub(crate) in_the_middle: bool,
    /// A task started or passed, and not by a request of whoever held its lease, under its fence and in its time.
    pub(crate) not_held: bool,
}

/// How far the chain is, since it was last begun again or undone.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
enum Chain {
    /// Nothing of it counts.
    #[default]
    Apart,
    /// The service mode was entered wholly.
    Entered,
    /// And left wholly.
    Left,
}

/// What may happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Action {
    /// A request reaches a server, which begins a transaction, takes its locks, reads and decides.
    Begin(Request),
    /// The next statement of a transaction, or its commit.
    Go(usize),
    /// The server is killed; what was not committed never was.
    Crash,
    /// A lease's time is over.
    RunOut(usize),
    /// A wait is over.
    Settled(usize),
}

impl Model for Checked {
    type State = State;
    type Action = Action;

    fn init_states(&self) -> Vec<State> {
        vec![State {
            floor: Floor::taken_in(&self.work),
            open: Vec::new(),
            crashes: self.crashes,
            handovers: self.handovers,
            seen: Seen::default(),
        }]
    }

    fn actions(&self, state: &State, actions: &mut Vec<Action>) {
        actions.extend((0..state.open.len()).map(Action::Go));
        if !state.open.is_empty() && state.crashes > 0 {
            actions.push(Action::Crash);
        }
        // Behind the lock everybody waits; time that goes on meanwhile is seen by the next step alone.
        let room = if self.database.lock { 1 } else { 2 };
        if state.open.len() == room {
            return;
        }
        for (at, task) in state.floor.tasks.iter().enumerate() {
            if task.state.is_leased() && !task.run_out {
                actions.push(Action::RunOut(at));
            }
            if task.settling {
                actions.push(Action::Settled(at));
            }
        }
        self.requests(state, |request| actions.push(Action::Begin(request)));
    }

    fn next_state(&self, last: &State, action: Action) -> Option<State> {
        let mut state = last.clone();
        match action {
            Action::Begin(request) => {
                let (writes, _) = decide(&self.work, self.rules, &state.floor, request).ok()?;
                state.handovers -= u8::from(matches!(request, Request::Accept { .. }));
                state.open.push(Open { request, writes });
            }
            Action::Go(at) => self.go(&mut state, at),
            Action::Crash => {
                state.crashes -= 1;
                state.open.clear();
            }
            Action::RunOut(at) => state.floor.tasks[at].run_out = true,
            Action::Settled(at) => state.floor.tasks[at].settling = false,
        }
        if state.open.is_empty() {
            state.floor = state.floor.in_brief(&self.work);
        }
        Some(state)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        promises()
    }
}

impl Checked {
    /// Everything that anybody may ask for: whoever it is, with the present fence or with an old one.
    fn requests(&self, state: &State, mut ask: impl FnMut(Request)) {
        let floor = &state.floor;
        for (at, task) in floor.tasks.iter().enumerate().filter(|(_, t)| !t.state.is_over()) {
            for who in 0..self.technicians {
                if task.attempt < self.attempts {
                    ask(Request::Take { who, at });
                }
                for fence in [Some(task.fence), task.fence.checked_sub(1)].into_iter().flatten() {
                    for act in [Act::Return, Act::Start, Act::Pass, Act::Fail, Act::Interrupt] {
                        ask(Request::Act { who, at, fence, act });
                    }
                    if state.handovers > 0 {
                        ask(Request::Accept { who, at, fence });
                    }
                }
                ask(Request::Decide { who, at, decision: Decision::Resume });
            }
            for decision in [Decision::Retry, Decision::RestartChain, Decision::GiveUp] {
                ask(Request::Decide { who: 0, at, decision });
            }
        }
        for line in 0..floor.lines.len() {
            ask(Request::BeginLine(line));
            ask(Request::EndLine(line));
        }
        ask(Request::Amend);
        ask(Request::EndLeases);
    }

    /// Commits: the statements are carried out together or not at all. Without transactions, the next one alone.
    fn go(&self, state: &mut State, at: usize) {
        let (mut floor, mut seen) = (state.floor.clone(), state.seen);
        let open = &mut state.open[at];
        let some = if self.database.transaction { open.writes.len() } else { 1 };
        let next: Vec<Write> = open.writes.drain(..some).collect();
        let request = open.request;
        let done = next.iter().all(|write| self.carry_out(&mut floor, &mut seen, request, write));
        if done {
            (state.floor, state.seen) = (floor, seen);
        }
        if !done || state.open[at].writes.is_empty() {
            state.open.remove(at);
        }
    }

    /// Carries out a statement, with the observer looking on; `false`: the database refused it.
    fn carry_out(
        &self,
        floor: &mut Floor,
        seen: &mut Seen,
        request: Request,
        write: &Write,
    ) -> bool {
        if let Write::Change { at, row, .. } = write {
            let before = &floor.tasks[*at];
            let asked = match (before.state, row.state) {
                (TaskState::Taken, TaskState::Running) => Some(Act::Start),
                (from, TaskState::Passed) if from != TaskState::Passed => Some(Act::Pass),
                _ => None,
            };
            let held = matches!(request, Request::Act { who, at: of, fence, act }
                if of == *at && before.technician == Some(who) && before.fence == fence && asked == Some(act));
            seen.not_held |= asked.is_some() && (!held || before.run_out);
        }
        if floor.carry_out(write, self.database.unique).is_err() {
            return false;
        }
        if let Write::Change { row, .. } = write {
            seen.look(&self.work, row.procedure, row.state, request);
        }
        true
    }
}

impl Seen {
    fn look(&mut self, work: &Work, procedure: usize, state: TaskState, request: Request) {
        if work.procedures[ENTER].mode != Mode::Enters {
            return;
        }
        if matches!(request, Request::Decide { decision: Decision::RestartChain, .. }) {
            self.chain = Chain::Apart;
        }
        match (procedure, state) {
            (ENTER, TaskState::Passed) => self.chain = Chain::Entered,
            (LEAVE, TaskState::Passed) => self.chain = Chain::Left,
            (ENTER, TaskState::Disturbed) if self.chain == Chain::Entered => {
                self.chain = Chain::Apart;
            }
            (LEAVE, TaskState::Disturbed) if self.chain == Chain::Left => self.chain = Chain::Apart,
            (LEAVE, TaskState::Running) => self.in_the_middle |= self.chain != Chain::Entered,
            (TEST, TaskState::Running) => self.in_the_middle |= self.chain != Chain::Left,
            _ => {}
        }
    }
}
