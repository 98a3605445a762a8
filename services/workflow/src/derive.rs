//! Derive: what the order makes necessary now, compared with the tasks that it has.

use std::collections::BTreeSet;

use contract::orders::{ChangesView, FindingView};
use contract::tasks::Because;
use derivation::derive::questions::Answers;
use derivation::derive::reason::OperationRef;
use derivation::derive::{self, Derivation, DerivedTask};
use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::lifecycle::{LineState, TaskEvent, TaskState};
use domain::operation::Operation;
use domain::order::{Done, Reading};
use serde_json::json;
use store::lines::LineRow;
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
    fn of(case: &Case) -> Self {
        let observations: Vec<Observation> =
            serde_json::from_value(case.order.observations.clone()).unwrap_or_default();
        let mut trouble_codes = case.order.trouble_codes.clone();
        let mut complaints = case.order.complaints.clone();
        let mut observed = Vec::new();
        for observation in observations {
            trouble_codes.extend(observation.trouble_code);
            complaints.extend(observation.complaint);
            observed.extend(
                observation.operation.filter(|o| o.done != Done::NotDone).map(|o| o.operation()),
            );
        }
        let lines =
            case.lines.iter().filter(|l| l.state != LineState::Removed).map(repair_line).collect();
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
        })
        .collect()
}

/// What may be answered, as the contract lists it; a free answer has no list.
pub(crate) fn choices(answers: &Answers<'_>) -> Vec<serde_json::Value> {
    match answers {
        Answers::YesOrNo => vec![json!(true), json!(false)],
        Answers::Words(words) => words.iter().map(|word| json!(word)).collect(),
        Answers::Text | Answers::Number => Vec::new(),
        Answers::Operations(line) => {
            line.operations.iter().map(|stated| json!(stated.operation)).collect()
        }
    }
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

impl Step {
    /// Derives an order again and brings its tasks, questions and partial order in line. What was recorded stays.
    pub(crate) async fn derive_again(
        &mut self,
        flow: &Flow,
        case: &mut Case,
    ) -> Result<ChangesView, Refusal> {
        let compiled = self.catalogue_of(flow, case).await?;
        let stated = Stated::of(case);
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
        let own = |code: &str| {
            code.starts_with("vin_")
                || code.starts_with("odometer_")
                || code.starts_with("vehicle_")
        };
        let mut all: Vec<FindingView> =
            serde_json::from_value(case.order.findings.clone()).unwrap_or_default();
        all.retain(|finding| own(&finding.code));
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
        let living = case.live().find(same).cloned();
        if let Some(row) = living {
            if row.because != because || row.lines != derived.lines {
                let expects = (row.state, row.fence);
                let mut changed = row.clone();
                changed.because = because;
                changed.lines.clone_from(&derived.lines);
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
        let replaces = case
            .tasks
            .iter()
            .filter(|t| t.state == TaskState::Disturbed && same(t))
            .max_by_key(|t| t.id)
            .map(|t| t.id);
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
        changes.disturbed.extend(replaces);
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
                    let taken = task.state == TaskState::Taken;
                    self.change_task(case, task.id, TaskEvent::Withdraw, |t| {
                        t.fence += i64::from(taken);
                        t.technician = None;
                        t.bay = None;
                    })
                    .await?;
                    if taken {
                        self.end_attempt(case, &task, "withdrawn", json!({})).await?;
                    }
                    self.record(Happening {
                        kind: "task.withdrawn",
                        order: Some(case.order.id),
                        subject: ("task", task.id.to_string()),
                        data: json!({ "procedure": task.definition.id }),
                    })
                    .await?;
                    changes.withdrawn.push(task.id);
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// Replaces the partial order by the derived one.
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
            let open =
                case.questions.iter_mut().find(|q| q.asks == asked.asks && q.state == "open");
            if let Some(open) = open {
                if open.choices != choices || open.decides != decides {
                    open.choices = choices;
                    open.decides = decides;
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
