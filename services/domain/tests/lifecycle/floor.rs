//! One vehicle's order as the database holds it: tasks, lines, an open service mode, a hold, what is in use.

use domain::lifecycle::{LineState, TRANSITIONS, TaskState};

use crate::work::Work;

/// A task's row, without what bears on nothing here.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct Task {
    /// Its procedure, by place in [`Work::procedures`].
    pub(crate) procedure: usize,
    /// Where it stands.
    pub(crate) state: TaskState,
    /// Grows with every lease and whenever one is taken away.
    pub(crate) fence: u8,
    /// How often it was taken.
    pub(crate) attempt: u8,
    /// Who holds or held it.
    pub(crate) technician: Option<u8>,
    /// The lease's time is over, whether anybody noticed or not.
    pub(crate) run_out: bool,
    /// It passed, and the wait after it runs.
    pub(crate) settling: bool,
}

/// What uses the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum User {
    /// A task, by place in [`Floor::tasks`].
    Task(usize),
    /// A line's mechanical work, by place in [`Floor::lines`].
    Line(usize),
}

/// The rows of one vehicle's order.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct Floor {
    /// Tasks in the order they were derived; one that was undone stays, and another takes its place.
    pub(crate) tasks: Vec<Task>,
    /// Lines of mechanical work.
    pub(crate) lines: Vec<LineState>,
    /// The service mode stands open.
    pub(crate) mode_open: bool,
    /// Tasks that broke off and that a person must decide about.
    pub(crate) held: Vec<usize>,
    /// What uses the vehicle.
    pub(crate) in_use: Option<User>,
}

/// One statement of a transaction that changes a row.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) enum Write {
    /// `UPDATE task ... WHERE state = $expected AND fence = $expected`.
    Change { at: usize, expects: (TaskState, u8), row: Task },
    /// `INSERT INTO task`.
    Add(Task),
    /// `INSERT` or `UPDATE` of a line.
    Line(usize, LineState),
    /// `INSERT INTO occupancy`.
    Use(User),
    /// `UPDATE occupancy SET until_at`, of this user alone.
    Free(User),
    /// `INSERT INTO bracket`.
    Enter,
    /// `UPDATE bracket SET closed_at`.
    Leave,
    /// `INSERT INTO hold`.
    Hold(usize),
    /// `UPDATE hold SET cleared_at`.
    Clear(usize),
}

/// The database refused a statement; the transaction is rolled back.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Conflict;

impl Floor {
    /// An order as it is taken in.
    pub(crate) fn taken_in(work: &Work) -> Self {
        let tasks = (0..work.procedures.len()).map(Task::derived).collect();
        let lines = vec![LineState::Open; work.lines_at_intake];
        let mut floor = Self { tasks, lines, mode_open: false, held: Vec::new(), in_use: None };
        for at in 0..floor.tasks.len() {
            if floor.open_before(work, Node::Task(floor.tasks[at].procedure)).is_empty() {
                floor.tasks[at].state = TaskState::Ready;
            }
        }
        floor
    }

    /// The task that lives for a procedure.
    pub(crate) fn live(&self, procedure: usize) -> Option<usize> {
        let lives = |t: &Task| !matches!(t.state, TaskState::Withdrawn | TaskState::Disturbed);
        self.tasks.iter().position(|t| t.procedure == procedure && lives(t))
    }

    /// What comes before a node and is open.
    pub(crate) fn open_before(&self, work: &Work, node: Node) -> Vec<Node> {
        let there = |n: Node| match n {
            Node::Task(_) => true,
            Node::Line(line) => line < self.lines.len(),
        };
        let edges = work.edges.iter().filter(|(before, then)| *then == node && there(*before));
        let mut open: Vec<Node> =
            edges.map(|(before, _)| *before).filter(|before| !self.is_over(*before)).collect();
        for (enter, leave, _) in work.either_or.iter().filter(|(_, _, outside)| *outside == node) {
            let entered = self.live(*enter).is_some_and(|at| {
                use TaskState::{Failed, Held, Passed, Running};
                matches!(self.tasks[at].state, Running | Held | Passed | Failed)
            });
            if entered && !self.is_over(Node::Task(*leave)) {
                open.push(Node::Task(*leave));
            }
        }
        open
    }

    fn is_over(&self, node: Node) -> bool {
        match node {
            Node::Task(procedure) => self
                .live(procedure)
                .is_some_and(|at| domain::start::ends_the_wait(self.tasks[at].state)),
            Node::Line(line) => self.lines.get(line).is_none_or(|line| line.is_over()),
        }
    }

    /// Every task and line has ended.
    pub(crate) fn is_done(&self) -> bool {
        self.tasks.iter().all(|t| t.state.is_over()) && self.lines.iter().all(|l| l.is_over())
    }

    /// The same without what bears on nothing any more, between transactions: of what has ended only that it has; of a
    /// fence only whether there was one, as a request names the present one or an old one; of who holds what only who
    /// is the same, as all can do the same; of tasks that are alike only how many stand where.
    pub(crate) fn in_brief(&self, work: &Work) -> Self {
        let mut brief = self.clone();
        for task in &mut brief.tasks {
            task.fence = task.fence.min(1);
            if task.state.is_over() {
                (task.fence, task.attempt, task.technician) = (0, 0, None);
            }
            if task.state == TaskState::Failed {
                task.technician = None;
            }
        }
        let gone = |t: &Task| t.state == TaskState::Disturbed && !t.settling;
        let mut rows: Vec<usize> = (0..brief.tasks.len()).collect();
        rows.retain(|at| !gone(&brief.tasks[*at]));
        if work.alike {
            rows.sort_by_key(|at| {
                let task = &brief.tasks[*at];
                (task.state, task.attempt, task.fence, task.run_out)
            });
        }
        brief.arrange(&rows);
        if work.alike {
            brief.tasks.iter_mut().enumerate().for_each(|(at, task)| task.procedure = at);
        }
        let mut met: Vec<u8> = Vec::new();
        for who in brief.tasks.iter_mut().filter_map(|task| task.technician.as_mut()) {
            let known = met.iter().position(|m| m == who).unwrap_or(met.len());
            if known == met.len() {
                met.push(*who);
            }
            *who = u8::try_from(known).expect("few technicians");
        }
        brief
    }

    /// Keeps these tasks in this order.
    fn arrange(&mut self, rows: &[usize]) {
        let place = |at: usize| rows.iter().position(|row| *row == at).expect("it is in use");
        self.tasks = rows.iter().map(|at| self.tasks[*at].clone()).collect();
        self.held = self.held.iter().map(|at| place(*at)).collect();
        if let Some(User::Task(at)) = self.in_use {
            self.in_use = Some(User::Task(place(at)));
        }
    }

    /// A statement, as the database carries it out or refuses it by its guards.
    pub(crate) fn carry_out(&mut self, write: &Write, unique: bool) -> Result<(), Conflict> {
        match write {
            Write::Change { at, expects, row } => {
                let old = &self.tasks[*at];
                let same = (old.state, old.fence) == *expects;
                let way = old.state == row.state
                    || TRANSITIONS
                        .iter()
                        .any(|(from, _, to)| (*from, *to) == (old.state, row.state));
                let grows = row.fence >= old.fence && row.attempt >= old.attempt;
                let lease = row.state == TaskState::Taken && old.state != TaskState::Taken;
                if !same || !way || !grows || (lease && row.fence == old.fence) {
                    return Err(Conflict);
                }
                let runs = |t: &Task| matches!(t.state, TaskState::Running | TaskState::Held);
                let other = self.tasks.iter().enumerate().any(|(i, t)| i != *at && runs(t));
                if unique && runs(row) && other {
                    return Err(Conflict);
                }
                // Time goes on while a statement waits: what ran out meanwhile stays so unless the lease is a new one.
                let run_out = old.run_out && row.state.is_leased() && row.fence == old.fence;
                self.tasks[*at] = Task { run_out: run_out || row.run_out, ..row.clone() };
            }
            Write::Add(task) => self.tasks.push(task.clone()),
            Write::Line(line, state) if *line == self.lines.len() => self.lines.push(*state),
            Write::Line(line, state) => self.lines[*line] = *state,
            Write::Use(user) => {
                if unique && self.in_use.is_some() {
                    return Err(Conflict);
                }
                self.in_use = Some(*user);
            }
            Write::Free(user) if self.in_use == Some(*user) => self.in_use = None,
            Write::Enter => self.mode_open = true,
            Write::Leave => self.mode_open = false,
            Write::Hold(at) => self.held.push(*at),
            Write::Clear(at) => self.held.retain(|held| held != at),
            Write::Free(_) => {}
        }
        Ok(())
    }
}

impl Task {
    /// As the derivation adds it.
    pub(crate) fn derived(procedure: usize) -> Self {
        Self {
            procedure,
            state: TaskState::Waiting,
            fence: 0,
            attempt: 0,
            technician: None,
            run_out: false,
            settling: false,
        }
    }
}

/// A node of the order's partial order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Node {
    /// The task that lives for this procedure.
    Task(usize),
    /// The mechanical work of this line.
    Line(usize),
}
