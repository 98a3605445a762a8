//! Answers to questions; the order is derived again.

use contract::orders::{NewAnswer, OrderView};
use contract::problem::{FieldFault, ProblemKind};
use domain::order::{ReadLine, ReadOperation, Reading};
use domain::role::Role;
use domain::vehicle::{FactValue, Powertrain};
use serde_json::json;
use store::questions::QuestionRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::checks;
use crate::derive::line_asked;
use crate::flow::{Flow, Step};
use crate::refusal::Refusal;

/// Answers a question.
pub async fn answer(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    new: &NewAnswer,
) -> Result<OrderView, Refusal> {
    flow.write(call, "orders.answer", async |step| {
        let mut case = step.lock_open(call, order).await?;
        let question = case.questions.iter().find(|q| q.id == new.question).cloned();
        let question = question.ok_or_else(|| Refusal::not_found("question on this order"))?;
        if question.state != "open" {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!("the question is {}", question.state),
            ));
        }
        let line = line_asked(&question.asks);
        let state = match (&new.waive_because, line) {
            (Some(_), _) => {
                if !step.caller.has(Role::Owner) {
                    return Err(Refusal::new(
                        ProblemKind::RoleNotAllowed,
                        "only an owner leaves a question open",
                    ));
                }
                "waived"
            }
            (None, Some(line)) => {
                step.answer_line(flow, &mut case, line, new).await?;
                "answered"
            }
            (None, None) => {
                answer_fact(flow, step, &mut case, &question, new).await?;
                "answered"
            }
        };
        let row = QuestionRow {
            state: state.to_owned(),
            answer: Some(json!(new)),
            answered_by: Some(step.caller.subject.clone()),
            answered_at: Some(case.now),
            ..question
        };
        let shop = step.shop();
        store::questions::update_open(step.conn(), shop, &row).await?;
        if let Some(place) = case.questions.iter_mut().find(|q| q.id == row.id) {
            *place = row.clone();
        }
        step.amended(
            flow,
            case,
            if state == "waived" { "question.waived" } else { "question.answered" },
            json!(new),
        )
        .await
    })
    .await
}

async fn answer_fact(
    flow: &Flow,
    step: &mut Step,
    case: &mut Case,
    question: &QuestionRow,
    new: &NewAnswer,
) -> Result<(), Refusal> {
    let wrong = |detail: &str| Refusal::field("/fact", detail);
    let fact = new.fact.clone().filter(|f| *f != FactValue::Unknown);
    let fact = fact.ok_or_else(|| wrong("answer with `fact`"))?;
    let facts = &mut case.order.facts;
    let word = |fact: &FactValue| match fact {
        FactValue::Word(word) => Some(word.clone()),
        _ => None,
    };
    match question.asks.as_str() {
        "powertrain" => {
            let known = [Powertrain::Combustion, Powertrain::Hybrid, Powertrain::Electric];
            let given = word(&fact);
            facts.powertrain = known.into_iter().find(|p| Some(p.word()) == given.as_deref());
            facts.powertrain.ok_or_else(|| wrong("one of combustion, hybrid, electric"))?;
        }
        "make" => facts.make = Some(word(&fact).ok_or_else(|| wrong("a word"))?),
        "model" => facts.model = Some(word(&fact).ok_or_else(|| wrong("a word"))?),
        "model_year" => {
            let year =
                word(&fact).and_then(|w| w.parse().ok()).filter(|y| (1900..=2100).contains(y));
            facts.model_year = Some(year.ok_or_else(|| wrong("a year"))?);
        }
        asks => {
            let name = asks.strip_prefix("features.").unwrap_or(asks).to_owned();
            let compiled = step.catalogue_of(flow, case).await?;
            let feature = compiled.catalogue().vocabulary.features.iter().find(|f| f.id == name);
            let fits = match (&fact, feature.map(|f| f.one_of.as_slice())) {
                (FactValue::Flag(_), Some([]) | None) => true,
                (FactValue::Flag(flag), Some(_)) => !flag,
                (FactValue::Word(word), Some(words)) => words.contains(word),
                _ => false,
            };
            if !fits {
                return Err(wrong("not one of the question's choices"));
            }
            case.order.facts.features.insert(name, fact);
        }
    }
    Ok(())
}

impl Step {
    async fn answer_line(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        number: i32,
        new: &NewAnswer,
    ) -> Result<(), Refusal> {
        let Some(operations) = &new.operations else {
            return Err(Refusal::field(
                "/operations",
                "say what the line was; an empty list says that it needs nothing",
            ));
        };
        let compiled = self.catalogue_of(flow, case).await?;
        let faults: Vec<FieldFault> = operations
            .iter()
            .enumerate()
            .flat_map(|(at, operation)| {
                let at = format!("/operations/{at}");
                checks::operation(&compiled, &operation.operation(), &at)
            })
            .collect();
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let old = case.line(number)?.clone();
        let mut line = old.clone();
        line.operations.clone_from(operations);
        line.reading = ReadLine {
            line: number,
            reading: if operations.is_empty() { Reading::None } else { Reading::Sure },
            operations: operations
                .iter()
                .map(|operation| ReadOperation {
                    action: operation.action.clone(),
                    component: operation.component.clone(),
                    place: operation.place.clone(),
                    confidence: 1.0,
                    words: line.text.clone(),
                })
                .collect(),
            explanation: "A person said what the line means.".to_owned(),
        };
        if old.state.was_begun() {
            self.change_begun(flow, case, compiled.catalogue(), &old, &line, "").await?;
        }
        let shop = self.shop();
        store::lines::put(self.conn(), shop, &line).await?;
        if new.keep_as_phrase {
            let words = line.labour_code.as_deref().filter(|code| !code.trim().is_empty());
            self.learn_word(case.order.id, words.unwrap_or(&line.text), operations).await?;
        }
        case.keep_line(line);
        Ok(())
    }
}
