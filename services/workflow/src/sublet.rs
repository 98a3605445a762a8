//! Work that another business does: the vehicle leaves, comes back with a document, and a person looks at both.

use contract::orders::LineProgress;
use contract::problem::ProblemKind;
use domain::lifecycle::LineState;
use domain::role::Role;
use domain::start::Obstacle;
use domain::verdict::Verdict;
use serde_json::{Value, json};
use store::lines::{DocumentRow, LineRow};
use uuid::Uuid;

use crate::caller::Caller;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::refusal::Refusal;
use crate::said;

/// What a person attests when the vehicle is back.
const CHECKED: &str = "sublet_work_checked";

/// A file as it is kept.
pub struct LineFile {
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: Vec<u8>,
}

/// The file of a line's document.
pub async fn document(
    flow: &Flow,
    caller: &Caller,
    order: Uuid,
    line: i32,
) -> Result<LineFile, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let found = store::lines::document_file(step.conn(), shop, order, line).await?;
        let (media_type, bytes) = found.ok_or_else(|| Refusal::not_found("document"))?;
        Ok(LineFile { media_type, bytes })
    })
    .await
}

/// A report as the journal keeps it: without the bytes of a file.
pub(crate) fn told(new: &LineProgress) -> Value {
    let mut said = json!(new);
    if let Some(document) = said.get_mut("document").and_then(Value::as_object_mut) {
        document.remove("data");
    }
    said
}

impl Step {
    /// The vehicle is back. Its line is finished with the provider's document and a person's word; from now on counts what
    /// the work disturbs.
    pub(crate) async fn take_back(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        line: &LineRow,
        new: &LineProgress,
    ) -> Result<(), Refusal> {
        if self.caller.technician.is_none() && !self.caller.has(Role::Dispatcher) {
            return Err(Refusal::new(
                ProblemKind::PersonRequired,
                "a person looks at work that came back and attests it",
            ));
        }
        let mut obstacles = Vec::new();
        if !new.attests.iter().any(|statement| statement == CHECKED) {
            obstacles.push(missing(
                CHECKED,
                "somebody looks at the work that came back and at its document",
                format!("`attests: [\"{CHECKED}\"]` in this report"),
            ));
        }
        if new.document.is_none() {
            obstacles.push(missing(
                "document",
                "work that another business did is proven by its document",
                "`document` in this report".to_owned(),
            ));
        }
        let Some(document) = new.document.as_ref().filter(|_| obstacles.is_empty()) else {
            return Err(Refusal::obstacles(obstacles));
        };
        let file = said::file(&document.media_type, &document.sha256, &document.data);
        let file = file.map_err(|detail| Refusal::field("/document", detail))?;
        let row = DocumentRow {
            name: document.name.clone(),
            media_type: file.media_type,
            sha256: file.sha256.to_vec(),
            attested_by: self.caller.subject.clone(),
            at: case.now,
        };
        let shop = self.shop();
        let of = (case.order.id, line.line);
        store::lines::keep_document(self.conn(), shop, of, &row, &file.bytes).await?;
        let line = LineRow { document: Some(row), ..line.clone() };
        self.end_line(case, &line, LineState::Finished).await?;
        let compiled = self.catalogue_of(flow, case).await?;
        self.disturb_by_line(flow, case, compiled.catalogue(), &line).await
    }
}

fn missing(id: &str, detail: &str, accepts: String) -> Obstacle {
    Obstacle {
        id: Some(id.to_owned()),
        verdict: Some(Verdict::Missing),
        accepts: vec![accepts],
        who: vec!["technician".to_owned(), "dispatcher".to_owned()],
        ..Obstacle::new("precondition_not_met", detail, "look at it, then report with it")
    }
}
