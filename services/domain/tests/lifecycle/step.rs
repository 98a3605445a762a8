//! What a step decides on the rows that it locked: the rules of the workflow, as a list of statements.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use domain::lifecycle::{LineState, TaskEvent, TaskState};
use domain::start::{
    Earlier, EarlierLine, Identity, OpenBracket, Snapshot, VehicleHold, Wait, may_start,
};
use uuid::Uuid;

use crate::floor::{Floor, Node, Task, User, Write};
use crate::work::{Mode, Work};

/// Something that somebody asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Request {
    /// A technician asks for a task.
    Take { who: u8, at: usize },
    /// The holder of a lease does something.
    Act { who: u8, at: usize, fence: u8, act: Act },
    /// A person decides about a task that broke off or failed.
    Decide { who: u8, at: usize, decision: Decision },
    /// Another technician accepts what the holder offered under this fence.
    Accept { who: u8, at: usize, fence: u8 },
    /// A line's work begins.
    BeginLine(usize),
    /// A line's work is finished.
    EndLine(usize),
    /// A line is added to the order.
    Amend,
    /// The duty ends leases that ran out.
    EndLeases,
}

/// What the holder of a lease does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Act {
    /// Gives it back before it was started.
    Return,
    /// Begins.
    Start,
    /// Ends it, proven.
    Pass,
    /// Ends it without success.
    Fail,
    /// Reports that it broke off.
    Interrupt,
}

/// What a person decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Decision {
    /// Go on.
    Resume,
    /// A new attempt.
    Retry,
    /// Every step since the service mode was entered again.
    RestartChain,
    /// It counts as failed.
    GiveUp,
}

/// The step refused; nothing is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Refused(pub(crate) String);

/// A rule that a step obeys. Each can be left out to see that the check notices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// A request is refused unless it names the present fence.
    Fence,
    /// A request is refused unless it comes from whoever holds the lease, in time.
    Holder,
    /// What [`may_start`] finds stands in the way of a start.
    MayStart,
    /// An end of a task frees what it used.
    Frees,
    /// A chain is begun again only while nothing else of the vehicle runs or waits for a decision.
    Alone,
    /// A service mode that was left is entered again where a line still asks for it.
    Again,
}

/// The rules that a step obeys: all, or all but one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rules {
    pub(crate) but: Option<Rule>,
}

impl Rules {
    /// All of them.
    pub(crate) const ALL: Self = Self { but: None };

    fn keep(self, rule: Rule) -> bool {
        self.but != Some(rule)
    }
}

/// The statements of a step, and the rows as they will be.
pub(crate) fn decide(
    work: &Work,
    rules: Rules,
    floor: &Floor,
    request: Request,
) -> Result<(Vec<Write>, Floor), Refused> {
    let mut step = Step { work, rules, floor: floor.clone(), writes: Vec::new() };
    step.end_leases()?;
    match request {
        Request::Take { who, at } => step.take(who, at)?,
        Request::Act { who, at, fence, act } => {
            if act == Act::Start {
                step.start(who, at, fence)?;
            } else {
                step.held_lease(who, at, fence)?;
                step.act(at, act)?;
            }
        }
        Request::Decide { who, at, decision } => step.decide(who, at, decision)?,
        Request::Accept { who, at, fence } => step.accept(who, at, fence)?,
        Request::BeginLine(line) => step.begin_line(line)?,
        Request::EndLine(line) => step.end_line(line)?,
        Request::Amend => step.amend()?,
        Request::EndLeases => step.settle()?,
    }
    if request == Request::EndLeases && step.writes.is_empty() {
        return refused("no lease ran out");
    }
    Ok((step.writes, step.floor))
}

struct Step<'w> {
    work: &'w Work,
    rules: Rules,
    floor: Floor,
    writes: Vec<Write>,
}

type Done = Result<(), Refused>;

fn refused<T>(why: &str) -> Result<T, Refused> {
    Err(Refused(why.to_owned()))
}

fn unless(why: &str, stands_in_the_way: bool) -> Done {
    if stands_in_the_way { refused(why) } else { Ok(()) }
}

impl Step<'_> {
    fn write(&mut self, write: Write) -> Done {
        let carried_out = self.floor.carry_out(&write, true);
        self.writes.push(write);
        carried_out.map_err(|_| Refused("the database refuses it".to_owned()))
    }

    /// Carries out a transition of the one table, or refuses it.
    fn change(&mut self, at: usize, event: TaskEvent, edit: impl FnOnce(&mut Task)) -> Done {
        let mut row = self.floor.tasks[at].clone();
        let expects = (row.state, row.fence);
        let Some(state) = row.state.after(event) else { return refused("wrong state") };
        row.state = state;
        edit(&mut row);
        if !row.state.is_leased() {
            row.run_out = false;
        }
        self.write(Write::Change { at, expects, row })
    }

    fn end_leases(&mut self) -> Done {
        for at in 0..self.floor.tasks.len() {
            let task = &self.floor.tasks[at];
            if !task.state.is_leased() || !task.run_out {
                continue;
            }
            let running = task.state == TaskState::Running;
            self.change(at, TaskEvent::Lapse, |t| {
                if !running {
                    t.technician = None;
                }
            })?;
            if running {
                self.write(Write::Hold(at))?;
            }
        }
        Ok(())
    }

    fn held_lease(&self, who: u8, at: usize, fence: u8) -> Done {
        let task = &self.floor.tasks[at];
        let holder = task.technician == Some(who) && !task.run_out;
        let lost = !task.state.is_leased()
            || (self.rules.keep(Rule::Fence) && task.fence != fence)
            || (self.rules.keep(Rule::Holder) && !holder);
        unless("lease lost", lost)
    }

    fn take(&mut self, who: u8, at: usize) -> Done {
        let task = &self.floor.tasks[at];
        unless("not ready", task.state != TaskState::Ready)?;
        unless("settling", self.waits(at))?;
        self.change(at, TaskEvent::Take, |t| {
            t.fence += 1;
            t.attempt += 1;
            t.technician = Some(who);
        })
    }

    /// Whether a wait still runs on the vehicle, other than the task's own.
    fn waits(&self, at: usize) -> bool {
        self.floor.tasks.iter().enumerate().any(|(i, t)| i != at && t.settling)
    }

    fn start(&mut self, who: u8, at: usize, fence: u8) -> Done {
        let snapshot = self.snapshot(who, at, fence);
        let obstacles = may_start(&snapshot, NOW);
        if self.rules.keep(Rule::MayStart) && !obstacles.is_empty() {
            let codes: BTreeSet<String> = obstacles.into_iter().map(|o| o.code).collect();
            return refused(&Vec::from_iter(codes).join(" "));
        }
        self.write(Write::Use(User::Task(at)))?;
        self.change(at, TaskEvent::Start, |_| {})?;
        let enters = self.work.procedures[self.floor.tasks[at].procedure].mode == Mode::Enters;
        if enters && !self.floor.mode_open {
            self.write(Write::Enter)?;
            // What was left before is open again: its leaving and its tests are undone.
            let bound = |t: &Task| self.work.procedures[t.procedure].mode != Mode::Enters;
            let undone: Vec<usize> = (0..self.floor.tasks.len())
                .filter(|i| self.floor.tasks[*i].state == TaskState::Passed)
                .filter(|i| bound(&self.floor.tasks[*i]))
                .collect();
            for passed in undone {
                self.change(passed, TaskEvent::Disturb, |_| {})?;
            }
            return self.derive_again();
        }
        Ok(())
    }

    fn act(&mut self, at: usize, act: Act) -> Done {
        let procedure = self.work.procedures[self.floor.tasks[at].procedure];
        match act {
            Act::Start => return refused("a start has its own way"),
            Act::Return => self.change(at, TaskEvent::Return, |t| {
                t.technician = None;
                t.fence += 1;
            })?,
            Act::Pass => {
                unless("wrong state", self.floor.tasks[at].state != TaskState::Running)?;
                self.change(at, TaskEvent::Pass, |t| t.settling = procedure.settles)?;
                self.free(User::Task(at))?;
                if procedure.mode == Mode::Leaves && self.floor.mode_open {
                    self.write(Write::Leave)?;
                    return self.derive_again();
                }
            }
            Act::Fail => {
                self.change(at, TaskEvent::Fail, |_| {})?;
                self.free(User::Task(at))?;
            }
            Act::Interrupt => {
                self.change(at, TaskEvent::Interrupt, |_| {})?;
                return self.write(Write::Hold(at));
            }
        }
        self.settle()
    }

    fn free(&mut self, user: User) -> Done {
        if self.rules.keep(Rule::Frees) { self.write(Write::Free(user)) } else { Ok(()) }
    }

    fn decide(&mut self, who: u8, at: usize, decision: Decision) -> Done {
        let event = match decision {
            Decision::Resume => {
                let other = self.floor.tasks[at].technician != Some(who);
                unless("another worked on it", other)?;
                self.change(at, TaskEvent::Resume, |t| t.fence += 1)?;
                self.write(Write::Clear(at))?;
                return self.settle();
            }
            Decision::Retry => TaskEvent::Retry,
            Decision::GiveUp => TaskEvent::GiveUp,
            Decision::RestartChain => TaskEvent::RestartChain,
        };
        if decision == Decision::RestartChain {
            unless("no service mode stands open", !self.floor.mode_open)?;
            let goes_on = |t: &Task| matches!(t.state, TaskState::Running | TaskState::Held);
            let other = self.floor.tasks.iter().enumerate().any(|(i, t)| i != at && goes_on(t));
            unless(
                "another task runs or waits for a decision",
                self.rules.keep(Rule::Alone) && other,
            )?;
        }
        self.change(at, event, |t| t.technician = None)?;
        self.free(User::Task(at))?;
        if decision == Decision::RestartChain {
            let since: Vec<usize> = (0..self.floor.tasks.len())
                .filter(|i| *i != at && self.floor.tasks[*i].state == TaskState::Passed)
                .filter(|i| self.is_of_the_chain(*i))
                .collect();
            for passed in since {
                self.change(passed, TaskEvent::Disturb, |_| {})?;
            }
            self.derive_again()?;
        }
        self.write(Write::Clear(at))?;
        self.settle()
    }

    /// Whether a task enters the service mode, or comes after what does, over any number of steps.
    fn is_of_the_chain(&self, at: usize) -> bool {
        let enters = |p: &usize| self.work.procedures[*p].mode == Mode::Enters;
        let mut reached: Vec<Node> =
            (0..self.work.procedures.len()).filter(enters).map(Node::Task).collect();
        let mut next = 0;
        while next < reached.len() {
            let here = reached[next];
            next += 1;
            for (_, then) in self.work.edges.iter().filter(|(before, _)| *before == here) {
                if !reached.contains(then) {
                    reached.push(*then);
                }
            }
        }
        reached.contains(&Node::Task(self.floor.tasks[at].procedure))
    }

    fn accept(&mut self, who: u8, at: usize, fence: u8) -> Done {
        let task = &self.floor.tasks[at];
        let stale = self.rules.keep(Rule::Fence) && task.fence != fence;
        unless("nothing is offered", !task.state.is_leased() || stale || task.run_out)?;
        unless("it is theirs already", task.technician == Some(who))?;
        let procedure = self.work.procedures[task.procedure];
        let bound = self.floor.mode_open && (procedure.mode != Mode::Same);
        unless("bracket open", bound && task.state == TaskState::Running)?;
        self.change(at, TaskEvent::HandOver, |t| {
            t.fence += 1;
            t.technician = Some(who);
        })
    }

    fn begin_line(&mut self, line: usize) -> Done {
        let Some(&state) = self.floor.lines.get(line) else { return refused("no such line") };
        unless("wrong state", !matches!(state, LineState::Open | LineState::Paused))?;
        let before = self.floor.open_before(self.work, Node::Line(line));
        unless("earlier task open", !before.is_empty())?;
        unless("settling", self.waits(usize::MAX))?;
        let foreign = self.floor.mode_open && self.work.lines[line].foreign;
        unless("bracket open", foreign)?;
        unless("held", !self.floor.held.is_empty())?;
        unless("busy", self.floor.in_use.is_some())?;
        self.write(Write::Use(User::Line(line)))?;
        self.write(Write::Line(line, LineState::Started))?;
        for at in 0..self.floor.tasks.len() {
            let task = &self.floor.tasks[at];
            let own = self.work.lines[line].requires.contains(&task.procedure)
                && self.work.procedures[task.procedure].mode == Mode::Enters;
            let undone = self.work.lines[line].undoes.contains(&task.procedure) && !own;
            if task.state == TaskState::Passed && undone {
                self.change(at, TaskEvent::Disturb, |_| {})?;
            }
        }
        self.derive_again()
    }

    fn end_line(&mut self, line: usize) -> Done {
        let begun = self.floor.lines.get(line) == Some(&LineState::Started);
        unless("wrong state", !begun)?;
        self.write(Write::Free(User::Line(line)))?;
        self.write(Write::Line(line, LineState::Finished))?;
        self.derive_again()
    }

    fn amend(&mut self) -> Done {
        let line = self.floor.lines.len();
        unless("one amendment", line >= self.work.lines.len())?;
        self.write(Write::Line(line, LineState::Open))?;
        self.derive_again()
    }

    /// What is required and has no living task gets one; then what may be taken is told anew.
    fn derive_again(&mut self) -> Done {
        for procedure in 0..self.work.procedures.len() {
            if let Some(at) = self.floor.live(procedure)
                && self.is_spent(at)
            {
                self.change(at, TaskEvent::Disturb, |_| {})?;
            }
            if self.floor.live(procedure).is_none() {
                self.write(Write::Add(Task::derived(procedure)))?;
            }
        }
        self.settle()
    }

    /// A service mode was entered and left again, and a line that asks for it is still to be worked.
    fn is_spent(&self, at: usize) -> bool {
        let task = &self.floor.tasks[at];
        let asks = |(line, state): (usize, &LineState)| {
            !state.is_over() && self.work.lines[line].requires.contains(&task.procedure)
        };
        self.rules.keep(Rule::Again)
            && self.work.procedures[task.procedure].mode == Mode::Enters
            && task.state == TaskState::Passed
            && !self.floor.mode_open
            && self.floor.lines.iter().enumerate().any(asks)
    }

    /// Brings `waiting` and `ready` in line with what is open; a taken task that something was put before is taken back.
    fn settle(&mut self) -> Done {
        for at in 0..self.floor.tasks.len() {
            let task = &self.floor.tasks[at];
            if self.floor.live(task.procedure) != Some(at) {
                continue;
            }
            let blocked = !self.floor.open_before(self.work, Node::Task(task.procedure)).is_empty();
            let taken = task.state == TaskState::Taken;
            let event = match (task.state, blocked) {
                (TaskState::Waiting, false) => TaskEvent::Unblock,
                (TaskState::Ready | TaskState::Taken, true) => TaskEvent::Block,
                _ => continue,
            };
            self.change(at, event, |t| {
                if event == TaskEvent::Block {
                    t.technician = None;
                    t.fence += u8::from(taken);
                }
            })?;
        }
        Ok(())
    }

    /// Everything that bears on the start, for the function that the service asks.
    fn snapshot(&self, who: u8, at: usize, fence: u8) -> Snapshot {
        let task = &self.floor.tasks[at];
        let procedure = self.work.procedures[task.procedure];
        let open = self.floor.open_before(self.work, Node::Task(task.procedure));
        let earlier = open.iter().filter_map(|node| match node {
            Node::Task(before) => self.floor.live(*before).map(|i| &self.floor.tasks[i]),
            Node::Line(_) => None,
        });
        let lines = open.iter().filter_map(|node| match node {
            Node::Line(line) => {
                let number = i32::try_from(*line).expect("few lines") + 1;
                Some(EarlierLine { line: number, state: self.floor.lines[*line] })
            }
            Node::Task(_) => None,
        });
        let other = |user: &User| *user != User::Task(at);
        let hold = |_| VehicleHold {
            id: Uuid::nil(),
            kind: "undecided".to_owned(),
            reason: "a person decides".to_owned(),
            until: None,
        };
        Snapshot {
            state: task.state,
            lease_held: (!self.rules.keep(Rule::Fence) || task.fence == fence)
                && (!self.rules.keep(Rule::Holder) || task.technician == Some(who)),
            lease_until: Some(if task.run_out { NOW } else { NOW + TimeDelta::seconds(1) }),
            order_open: true,
            cautions: BTreeSet::new(),
            acknowledged: BTreeSet::new(),
            preconditions: Vec::new(),
            earlier: earlier
                .map(|t| Earlier {
                    task: Uuid::nil(),
                    title: self.work.procedures[t.procedure].title.to_owned(),
                    state: t.state,
                })
                .collect(),
            lines: lines.collect(),
            waits: if self.waits(at) {
                vec![Wait { after: String::new(), until: NOW + TimeDelta::seconds(30) }]
            } else {
                Vec::new()
            },
            vehicle_busy_with: self
                .floor
                .in_use
                .iter()
                .filter(|u| other(u))
                .map(|u| format!("{u:?}"))
                .collect(),
            foreign_brackets: Vec::<OpenBracket>::new(),
            bracket_not_open: (procedure.mode == Mode::Leaves && !self.floor.mode_open)
                .then(|| "mode".to_owned()),
            lock_held_by: None,
            away: None,
            identity: Identity::Matches,
            second_person_missing: false,
            holds: self.floor.held.iter().filter(|i| **i != at).map(hold).collect(),
            resources: Vec::new(),
        }
    }
}

/// The moment of every step: what time does is told by [`Task::run_out`] and [`Task::settling`].
const NOW: DateTime<Utc> = DateTime::UNIX_EPOCH;
