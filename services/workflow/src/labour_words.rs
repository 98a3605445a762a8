//! The shop's own phrases and labour codes: kept by a keeper, or learnt from the answer to a line's question.

use base64::Engine as _;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use contract::labour_words::{LabourWordView, NewLabourWord};
use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use domain::operation::Operation;
use domain::order::{Done, LineOperation};
use serde_json::json;
use store::labour_words::{self, LabourWordRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::checks::{self, fault};
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{list, reading};

/// Longest phrase, in characters.
const LONGEST: usize = 200;

/// Adds a word; `false`: the shop means that by it already. What it means otherwise is not overwritten.
pub async fn add(
    flow: &Flow,
    call: &Call,
    new: &NewLabourWord,
) -> Result<(LabourWordView, bool), Refusal> {
    flow.write(call, "labour_words.add", async |step| {
        let shop = step.shop();
        let row = step.word(flow, &new.phrase, &new.operations).await?;
        match labour_words::find(step.conn(), shop, &row.phrase).await? {
            None => step.keep_word(&row).await?,
            Some(there) if there.operations == row.operations => return Ok((view(there), false)),
            Some(there) => {
                let detail =
                    format!("`{}` means something else; put it to change that", row.phrase);
                let refusal = Refusal::new(ProblemKind::AlreadyExists, detail);
                return Err(refusal.with("operations", json!(view(there).operations)));
            }
        }
        Ok((view(row), true))
    })
    .await
}

/// Says what a word means, whatever it meant before; `true`: it is new.
pub async fn put(
    flow: &Flow,
    call: &Call,
    phrase: &str,
    operations: &[Operation],
) -> Result<(LabourWordView, bool), Refusal> {
    flow.write(call, "labour_words.put", async |step| {
        let shop = step.shop();
        let row = step.word(flow, phrase, operations).await?;
        let there = labour_words::find(step.conn(), shop, &row.phrase).await?;
        let created = there.is_none();
        match there {
            Some(there) if there.operations == row.operations => return Ok((view(there), false)),
            _ => step.keep_word(&row).await?,
        }
        Ok((view(row), created))
    })
    .await
}

/// Forgets a word; lines that were read with it keep their reading.
pub async fn remove(flow: &Flow, call: &Call, phrase: &str) -> Result<(), Refusal> {
    flow.write(call, "labour_words.remove", async |step| {
        let shop = step.shop();
        let phrase = reading::phrase(phrase);
        if !labour_words::remove(step.conn(), shop, &phrase).await? {
            return Err(Refusal::not_found("labour word"));
        }
        step.record(Happening {
            kind: "labour_word.removed",
            order: None,
            subject: ("labour_word", phrase),
            data: json!({}),
        })
        .await
    })
    .await
}

/// One word.
pub async fn get(flow: &Flow, caller: &Caller, phrase: &str) -> Result<LabourWordView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let row = labour_words::find(step.conn(), shop, &reading::phrase(phrase)).await?;
        row.map(view).ok_or_else(|| Refusal::not_found("labour word"))
    })
    .await
}

/// A page of words, by phrase.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<LabourWordView>, Refusal> {
    let limit = list::limit(query.limit)?;
    let after = cursor(query.cursor.as_deref())?;
    flow.read(caller, async |step| {
        let shop = step.shop();
        let rows = labour_words::page(step.conn(), shop, &after, limit + 1).await?;
        let Page { items, next } =
            list::cut(rows, limit, |row| BASE64_URL_SAFE_NO_PAD.encode(&row.phrase));
        Ok(Page { items: items.into_iter().map(view).collect(), next })
    })
    .await
}

/// The phrase behind which a page begins.
fn cursor(text: Option<&str>) -> Result<String, Refusal> {
    let Some(text) = text else { return Ok(String::new()) };
    let phrase = BASE64_URL_SAFE_NO_PAD.decode(text).ok().and_then(|b| String::from_utf8(b).ok());
    phrase.ok_or_else(list::no_cursor)
}

fn view(row: LabourWordRow) -> LabourWordView {
    LabourWordView {
        phrase: row.phrase,
        operations: row.operations.iter().map(LineOperation::operation).collect(),
        learnt_from: row.learnt_from,
    }
}

/// A phrase in the form in which it is kept, or what is wrong with it.
fn kept_form(phrase: &str, at: &str) -> Result<String, FieldFault> {
    let kept = reading::phrase(phrase);
    if kept.chars().count() > LONGEST {
        return Err(fault(at, format!("a phrase has at most {LONGEST} characters")));
    }
    if !reading::is_phrase(&kept) {
        return Err(fault(at, "a phrase has a letter or digit, and no more than 64 words"));
    }
    Ok(kept)
}

impl Step {
    /// A word that a keeper writes, checked against the catalogue in force.
    async fn word(
        &mut self,
        flow: &Flow,
        phrase: &str,
        operations: &[Operation],
    ) -> Result<LabourWordRow, Refusal> {
        let (_, compiled) = self.catalogue_in_force(flow).await?;
        let mut faults: Vec<FieldFault> = operations
            .iter()
            .enumerate()
            .flat_map(|(at, one)| checks::operation(&compiled, one, &format!("/operations/{at}")))
            .collect();
        let kept = kept_form(phrase, "/phrase").map_err(|fault| faults.push(fault));
        match kept {
            Ok(phrase) if faults.is_empty() => Ok(LabourWordRow {
                phrase,
                operations: meaning(operations.iter().cloned()),
                learnt_from: None,
            }),
            _ => Err(Refusal::unprocessable(faults)),
        }
    }

    /// Learns what a line's words mean from the answer that somebody gave.
    pub(crate) async fn learn_word(
        &mut self,
        order: Uuid,
        words: &str,
        operations: &[LineOperation],
    ) -> Result<(), Refusal> {
        let phrase = kept_form(words, "/keep_as_phrase")
            .map_err(|fault| Refusal::unprocessable(vec![fault]))?;
        let done = operations.iter().filter(|operation| operation.done != Done::NotDone);
        self.keep_word(&LabourWordRow {
            phrase,
            operations: meaning(done.map(LineOperation::operation)),
            learnt_from: Some(order),
        })
        .await
    }

    async fn keep_word(&mut self, row: &LabourWordRow) -> Result<(), Refusal> {
        let shop = self.shop();
        labour_words::put(self.conn(), shop, row).await?;
        let operations: Vec<Operation> =
            row.operations.iter().map(LineOperation::operation).collect();
        self.record(Happening {
            kind: "labour_word.kept",
            order: row.learnt_from,
            subject: ("labour_word", row.phrase.clone()),
            data: json!({ "operations": operations }),
        })
        .await
    }
}

/// Operations as words keep them: planned, whatever a line's answer said of them.
fn meaning(operations: impl Iterator<Item = Operation>) -> store::Json<Vec<LineOperation>> {
    let planned = |operation: Operation| LineOperation {
        action: operation.action,
        component: operation.component,
        place: operation.place,
        done: Done::Planned,
    };
    store::Json(operations.map(planned).collect())
}
