//! Derive: what the order makes necessary now, compared with the tasks that it has.

use std::collections::BTreeSet;

use contract::orders::{ChangesView, FindingView};
use contract::tasks::Because;
use derivation::derive::questions::{Answers, Question};
use derivation::derive::reason::OperationRef;
use derivation::derive::{self, Derivation, DerivedTask};
use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::lifecycle::{LineState, TaskEvent, TaskState};
use domain::operation::Operation;
use domain::order::{Done, Reading};
use serde_json::{Value, json};
use store::lines::LineRow;
use store::orders::OrderRow;
use store::questions::QuestionRow;
use store::tasks::{EitherOrRow, Node, PrecedenceRow, TaskRow};
use uuid::Uuid;

use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::observe::Observation;
use crate::reading;
use crate::record::Happening;
use crate::refusal::Refusal;

/// What a derivation starts from, owned.
pub(crate) struct Stated {
    pub(crate) lines: Vec<RepairLine>,
    pub(crate) trouble_codes: Vec<String>,
    pub(crate) complaints: Vec<String>,
    pub(crate) observed: Vec<Operation>,
}

impl Stated {
    /// What an order states.
    pub(crate) fn of(order: &OrderRow, lines: &[LineRow]) -> Self {
        let observations: Vec<Observation> =
            serde_json::from_value(order.observations.clone()).unwrap_or_default();
        let mut trouble_codes = order.trouble_codes.clone();
        let mut complaints = order.complaints.clone();
        let mut observed = Vec::new();
        for observation in observations {
            trouble_codes.extend(observation.trouble_code);
            complaints.extend(observation.complaint);
            observed.extend(
                observation.operation.filter(|o| o.done != Done::NotDone).map(|o| o.operation()),
            );
        }
        let lines =
            lines.iter().filter(|l| l.state != LineState::Removed).map(repair_line).collect();
        Self { lines, trouble_codes, complaints: reading::complaints(&complaints), observed }
    }

    /// The same, borrowed for the derivation.
    pub(crate) fn repair<'a>(&'a self, vehicle: &'a domain::vehicle::VehicleFacts) -> Repair<'a> {
        Repair {
            vehicle,
            lines: &self.lines,
            trouble_codes: &self.trouble_codes,
            complaints: &self.complaints,
            observed: &self.observed,
        }
    }
}

/// A line as the derivation reads it.
pub(crate) fn repair_line(row: &LineRow) -> RepairLine {
    let not_done_at_all = row.state == LineState::NotDone;
    let done = |operation: &Operation| {
        let posted = row.operations.iter().find(|o| o.operation() == *operation).map(|o| o.done);
        if not_done_at_all { Done::NotDone } else { posted.unwrap_or_default() }
    };
    let sure = matches!(row.reading.reading, Reading::Sure);
    RepairLine {
        line: row.line,
        authorisation: row.authorisation,
        begun: row.state.was_begun(),
        reading: row.reading.reading,
        operations: row
            .reading
            .operations
            .iter()
            .map(|read| {
                let operation = Operation {
                    action: read.action.clone(),
                    component: read.component.clone(),
                    place: read.place.clone(),
                };
                StatedOperation {
                    done: done(&operation),
                    sure,
                    words: read.words.clone(),
                    operation,
                }
            })
            .collect(),
    }
}

/// Why something is asked: for a line, how it was read; for both, the chains to what the answer decides.
pub(crate) fn because_asked(
    derivation: &Derivation<'_>,
    asked: &Question<'_>,
    lines: &[LineRow],
) -> Vec<Because> {
    let number = line_asked(&asked.asks);
    let read = lines.iter().find(|line| Some(line.line) == number).map(|line| Because {
        line: number,
        words: Some(line.text.clone()).filter(|text| !text.is_empty()),
        why: line.reading.explanation.clone(),
        ..Because::default()
    });
    let decided = derivation
        .tasks
        .iter()
        .filter(|task| !task.required && asked.decides.contains(&task.procedure.id.as_str()));
    let chains = decided.flat_map(|task| {
        because(task)
            .into_iter()
            .map(|chain| Because { procedure: Some(task.procedure.id.clone()), ..chain })
    });
    let mut all: Vec<Because> = read.into_iter().collect();
    for chain in chains.filter(|chain| number.is_none() || chain.line == number) {
        if !all.contains(&chain) {
            all.push(chain);
        }
    }
    all
}

/// The number of the line that a question asks for.
pub(crate) fn line_asked(asks: &str) -> Option<i32> {
    asks.strip_prefix("lines.").and_then(|number| number.parse().ok())
}

/// The reasons of a derived task, as the contract tells them.
pub(crate) fn because(task: &DerivedTask<'_>) -> Vec<Because> {
    task.because
        .iter()
        .map(|reason| Because {
            line: reason.line,
            words: reason.words.filter(|w| !w.is_empty()).map(str::to_owned),
            operation: reason.operation.map(OperationRef::to_operation),
            trouble_code: reason.trouble_code.map(str::to_owned),
            complaint: reason.complaint.map(str::to_owned),
            via: reason.via.iter().map(ToString::to_string).collect(),
            rule: reason.rule.map(|rule| rule.id.clone()),
            why: reason.why(),
            source: reason.source.to_owned(),
            procedure: None,
        })
        .collect()
}

/// What may be answered, as the contract lists it; a free answer has no list.
pub(crate) fn choices(answers: &Answers<'_>) -> Vec<Value> {
    match answers {
        Answers::YesOrNo => vec![json!(true), json!(false)],
        Answers::Words(words) => words.iter().map(|word| json!(word)).collect(),
        Answers::Text | Answers::Number => Vec::new(),
        Answers::Operations(line) => {
            line.operations.iter().map(|stated| json!(stated.operation)).collect()
        }
    }
}

/// Whether nobody tried a task yet: its wording may change.
pub(crate) fn is_untried(state: TaskState, attempt: i32) -> bool {
    attempt == 0 && matches!(state, TaskState::Waiting | TaskState::Ready)
}

/// What the derivation noticed.
pub(crate) fn findings(derivation: &Derivation<'_>) -> Vec<FindingView> {
    derivation
        .findings
        .iter()
        .map(|finding| FindingView {
            code: finding.code.to_owned(),
            detail: finding.detail.clone(),
        })
        .collect()
}

/// Whether a finding is of the vehicle's identity, which no derivation looks at.
fn is_of_vehicle(finding: &FindingView) -> bool {
    ["vin_", "odometer_", "vehicle_"].iter().any(|start| finding.code.starts_with(start))
}

/// Open tasks that nothing requires any more, and what came before and after them.
struct LeftOver {
    tasks: BTreeSet<Uuid>,
    precedence: Vec<PrecedenceRow>,
}

impl Case {
    /// What is left over of the order as it was derived before; `rows` are the tasks that are derived now. What is left over
    /// waits for lines and for each other, never for what is derived now: that may come after it, as it did before.
    fn left_over(&self, rows: &[Option<Uuid>]) -> LeftOver {
        let open = self.live().filter(|t| !t.state.is_over()).map(|t| t.id);
        let tasks: BTreeSet<Uuid> = open.filter(|id| !rows.contains(&Some(*id))).collect();
        let is_of = |node: Node| node.task().is_some_and(|id| tasks.contains(&id));
        let lives = |node: Node| node.task().is_none_or(|id| self.live().any(|t| t.id == id));
        let kept = |edge: &&PrecedenceRow| match (is_of(edge.before), is_of(edge.then)) {
            (true, _) => lives(edge.then),
            (false, true) => edge.before.task().is_none(),
            (false, false) => false,
        };
        let precedence = self.precedence.iter().filter(kept).cloned().collect();
        LeftOver { tasks, precedence }
    }

    /// What was noticed of the vehicle's identity now.
    pub(crate) fn find_of_vehicle(&mut self, found: Vec<FindingView>) {
        let mut all: Vec<FindingView> =
            serde_json::from_value(self.order.findings.clone()).unwrap_or_default();
        all.retain(|finding| !is_of_vehicle(finding) || finding.code.starts_with("odometer_"));
        all.extend(found);
        self.order.findings = json!(all);
    }
}

impl Step {
    /// Derives an order again and brings its tasks, questions and partial order in line. What was recorded stays.
    pub(crate) async fn derive_again(
        &mut self,
        flow: &Flow,
        case: &mut Case,
    ) -> Result<ChangesView, Refusal> {
        let compiled = self.catalogue_of(flow, case).await?;
        let stated = Stated::of(&case.order, &case.lines);
        let facts = case.order.facts.clone();
        let derivation = derive::derive(&compiled, &stated.repair(&facts));
        let mut changes = ChangesView::default();
        let mut rows = Vec::with_capacity(derivation.tasks.len());
        for derived in &derivation.tasks {
            rows.push(self.keep_or_add(case, derived, &mut changes).await?);
        }
        self.withdraw_the_rest(case, &rows, &mut changes).await?;
        self.put_in_order(case, &derivation, &rows).await?;
        self.ask(case, &derivation).await?;
        let mut all: Vec<FindingView> =
            serde_json::from_value(case.order.findings.clone()).unwrap_or_default();
        all.retain(is_of_vehicle);
        all.extend(findings(&derivation));
        case.order.findings = json!(all);
        self.settle(case).await?;
        Ok(changes)
    }

    /// Saves what changed of the order itself. The version grows.
    pub(crate) async fn save_order(&mut self, case: &mut Case) -> Result<(), Refusal> {
        let expects = (case.order.version, domain::lifecycle::OrderState::Open);
        let shop = self.shop();
        if !store::orders::update(self.conn(), shop, expects, &case.order).await? {
            return Err(Refusal::new(
                contract::problem::ProblemKind::WrongState,
                "the order is no longer open, or changed meanwhile",
            ));
        }
        case.order.version += 1;
        Ok(())
    }

    /// The row of a derived task: the one that lives, or a new one. `None`: it is not required yet.
    async fn keep_or_add(
        &mut self,
        case: &mut Case,
        derived: &DerivedTask<'_>,
        changes: &mut ChangesView,
    ) -> Result<Option<Uuid>, Refusal> {
        let place = derived.place.unwrap_or_default();
        let same = |t: &&TaskRow| t.definition.id == derived.procedure.id && t.place == place;
        let because = json!(because(derived));
        let mut living = case.live().find(same).cloned();
        // A task that nobody tried yet follows the wording of the catalogue that the order is derived with now.
        let reworded = living
            .take_if(|row| {
                derived.required
                    && is_untried(row.state, row.attempt)
                    && row.definition != *derived.procedure
            })
            .map(|row| row.id);
        if let Some(id) = reworded {
            self.withdraw(case, id, json!({ "because": "the catalogue words it anew" })).await?;
            changes.withdrawn.push(id);
        }
        let spent = living.take_if(|row| derived.required && case.is_spent(row, &derived.lines));
        if let Some(row) = spent {
            self.mark_disturbed(case, &[row], "its service mode was left").await?;
        }
        if let Some(row) = living {
            // What runs to its end and is needed again counts again.
            let needed_again = row.no_longer_needed && derived.required;
            if row.because != because || row.lines != derived.lines || needed_again {
                let expects = (row.state, row.fence);
                let mut changed = row.clone();
                changed.because = because;
                changed.lines.clone_from(&derived.lines);
                changed.no_longer_needed &= !needed_again;
                let shop = self.shop();
                store::tasks::update(self.conn(), shop, expects, &changed).await?;
                changed.version += 1;
                case.keep_task(changed);
            }
            changes.kept.push(row.id);
            return Ok(Some(row.id));
        }
        if !derived.required {
            return Ok(None);
        }
        let disturbed = case
            .tasks
            .iter()
            .filter(|t| t.state == TaskState::Disturbed && same(t))
            .max_by_key(|t| t.id)
            .map(|t| t.id);
        let replaces = reworded.or(disturbed);
        let task = TaskRow {
            id: self.new_id().await?,
            order_id: case.order.id,
            vehicle: case.vehicle.id,
            definition: derived.procedure.clone(),
            place: place.to_owned(),
            because,
            lines: derived.lines.clone(),
            state: TaskState::Waiting,
            fence: 0,
            version: 1,
            attempt: 0,
            technician: None,
            bay: None,
            lease_until: None,
            started_at: None,
            ended_at: None,
            settled_at: None,
            no_longer_needed: false,
            replaces,
            created_at: case.now,
        };
        let shop = self.shop();
        store::tasks::insert(self.conn(), shop, &task).await?;
        self.record(Happening {
            kind: "task.required",
            order: Some(case.order.id),
            subject: ("task", task.id.to_string()),
            data: json!({ "procedure": task.definition.id, "place": task.place, "lines": task.lines,
                "because": task.because, "replaces": replaces, "catalogue": case.order.catalogue_version }),
        })
        .await?;
        changes.added.push(task.id);
        changes.disturbed.extend(replaces.filter(|_| reworded.is_none()));
        let id = task.id;
        case.tasks.push(task);
        Ok(Some(id))
    }

    /// Tasks that are no longer required fall away, as far as they may.
    async fn withdraw_the_rest(
        &mut self,
        case: &mut Case,
        kept: &[Option<Uuid>],
        changes: &mut ChangesView,
    ) -> Result<(), Refusal> {
        let kept: BTreeSet<Uuid> = kept.iter().flatten().copied().collect();
        let rest: Vec<TaskRow> = case.live().filter(|t| !kept.contains(&t.id)).cloned().collect();
        for task in rest {
            if case.is_bound_by_bracket(&task) {
                continue; // a service mode that was entered is left and tested, whatever the order says now
            }
            match task.state {
                TaskState::Running | TaskState::Held if !task.no_longer_needed => {
                    let expects = (task.state, task.fence);
                    let changed = TaskRow { no_longer_needed: true, ..task.clone() };
                    let shop = self.shop();
                    store::tasks::update(self.conn(), shop, expects, &changed).await?;
                    case.keep_task(changed);
                    changes.no_longer_needed.push(task.id);
                }
                TaskState::Waiting | TaskState::Ready | TaskState::Taken | TaskState::Failed => {
                    self.withdraw(case, task.id, json!({})).await?;
                    changes.withdrawn.push(task.id);
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// Withdraws a task, taking its lease back.
    pub(crate) async fn withdraw(
        &mut self,
        case: &mut Case,
        id: Uuid,
        mut data: Value,
    ) -> Result<(), Refusal> {
        let task = case.task(id)?.clone();
        let taken = task.state == TaskState::Taken;
        self.change_task(case, id, TaskEvent::Withdraw, |t| {
            t.fence += i64::from(taken);
            t.technician = None;
            t.bay = None;
        })
        .await?;
        if taken {
            self.end_attempt(case, &task, "withdrawn", json!({})).await?;
        }
        data["procedure"] = json!(task.definition.id);
        self.record(Happening {
            kind: "task.withdrawn",
            order: Some(case.order.id),
            subject: ("task", id.to_string()),
            data,
        })
        .await
    }

    /// Replaces the partial order by the derived one. What stays although nothing requires it any more (the leaving of a
    /// service mode, and its tests) keeps its place.
    async fn put_in_order(
        &mut self,
        case: &mut Case,
        derivation: &Derivation<'_>,
        rows: &[Option<Uuid>],
    ) -> Result<(), Refusal> {
        let node = |node: derive::Node| match node {
            derive::Node::Task(at) => rows.get(at).copied().flatten().map(Node::Task),
            derive::Node::Line(line) => Some(Node::Line(line)),
        };
        let order_id = case.order.id;
        let (stays, old_either) = (case.left_over(rows), std::mem::take(&mut case.either_or));
        case.precedence = derivation
            .edges
            .iter()
            .filter_map(|edge| {
                Some(PrecedenceRow {
                    order_id,
                    before: node(edge.before)?,
                    then: node(edge.then)?,
                    kind: format!("{:?}", edge.kind).to_lowercase(),
                })
            })
            .chain(stays.precedence)
            .collect();
        case.either_or = derivation
            .either_or
            .iter()
            .filter_map(|either| {
                Some(EitherOrRow {
                    order_id,
                    enter: node(either.enter)?.task()?,
                    leave: node(either.leave)?.task()?,
                    node: node(either.disturber)?,
                })
            })
            .chain(old_either.into_iter().filter(|either| stays.tasks.contains(&either.leave)))
            .collect();
        let shop = self.shop();
        let (precedence, either_or) = (case.precedence.clone(), case.either_or.clone());
        store::tasks::replace_precedence(self.conn(), shop, order_id, &precedence, &either_or)
            .await?;
        Ok(())
    }

    /// Asks what is not known; a question that decides nothing any more is dropped.
    async fn ask(&mut self, case: &mut Case, derivation: &Derivation<'_>) -> Result<(), Refusal> {
        let shop = self.shop();
        let now = case.now;
        for asked in &derivation.questions {
            let waived = case.questions.iter().any(|q| q.asks == asked.asks && q.state == "waived");
            if waived {
                continue;
            }
            let choices = json!(choices(&asked.answers));
            let decides: Vec<String> = asked.decides.iter().map(|&p| p.to_owned()).collect();
            let because = json!(because_asked(derivation, asked, &case.lines));
            let open =
                case.questions.iter_mut().find(|q| q.asks == asked.asks && q.state == "open");
            if let Some(open) = open {
                let told = (&open.text, &open.choices, &open.decides, &open.because);
                if told != (&asked.text, &choices, &decides, &because) {
                    open.text.clone_from(&asked.text);
                    open.choices = choices;
                    open.decides = decides;
                    open.because = because;
                    let row = open.clone();
                    store::questions::update_open(self.conn(), shop, &row).await?;
                }
                continue;
            }
            let row = QuestionRow {
                id: self.new_id().await?,
                order_id: case.order.id,
                asks: asked.asks.clone(),
                text: asked.text.clone(),
                choices,
                decides,
                because,
                state: "open".to_owned(),
                answer: None,
                answered_by: None,
                answered_at: None,
            };
            store::questions::insert(self.conn(), shop, &row, now).await?;
            self.record(Happening {
                kind: "question.asked",
                order: Some(case.order.id),
                subject: ("question", row.id.to_string()),
                data: json!({ "asks": row.asks, "text": row.text, "decides": row.decides }),
            })
            .await?;
            case.questions.push(row);
        }
        let gone: Vec<QuestionRow> = case
            .questions
            .iter()
            .filter(|q| {
                q.state == "open" && !derivation.questions.iter().any(|asked| asked.asks == q.asks)
            })
            .cloned()
            .collect();
        for row in gone {
            let dropped = QuestionRow { state: "dropped".to_owned(), ..row };
            store::questions::update_open(self.conn(), shop, &dropped).await?;
            if let Some(place) = case.questions.iter_mut().find(|q| q.id == dropped.id) {
                *place = dropped;
            }
        }
        case.questions.sort_by_key(|q| (q.state != "open", q.id));
        Ok(())
    }
}
