//! What was asked for and refused, kept for the auditor: by whoever held the task, once for each set of reasons.

use chrono::{DateTime, Utc};
use domain::start::Obstacle;
use serde_json::{Value, json};
use store::attempts::AttemptRow;
use store::tasks::TaskRow;

use crate::case::Case;
use crate::flow::Step;
use crate::record::Happening;
use crate::refusal::Refusal;

/// What was asked for, and as of when it was looked at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asked {
    pub(crate) what: &'static str,
    pub(crate) as_of: DateTime<Utc>,
}

/// The kind of such an entry.
pub(crate) const REFUSED: &str = "task.refused";

impl Step {
    /// Refuses with these reasons, and keeps in the attempt and in the journal that it was asked for.
    pub(crate) async fn refuse(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        mut attempt: AttemptRow,
        asked: Asked,
        obstacles: Vec<Obstacle>,
    ) -> Result<Refusal, Refusal> {
        let codes: Vec<Value> =
            obstacles.iter().map(|one| json!([one.code, one.id, one.task, one.line])).collect();
        let known = attempt.detail["refused"][asked.what]["reasons"] == json!(codes);
        attempt.detail["refused"][asked.what] = json!({ "as_of": asked.as_of, "reasons": codes });
        self.keep_attempt(case, attempt).await?;
        if !known {
            let reasons: Vec<Value> = obstacles
                .iter()
                .map(|one| json!({ "code": one.code, "id": one.id, "detail": one.detail }))
                .collect();
            self.record(Happening {
                kind: REFUSED,
                order: Some(case.order.id),
                subject: ("task", task.id.to_string()),
                data: json!({ "asked": asked.what, "as_of": asked.as_of, "procedure": task.definition.id, "attempt": task.attempt,
                    "technician": task.technician, "reasons": reasons }),
            })
            .await?;
        }
        Ok(Refusal::obstacles(obstacles).keeping())
    }
}

/// The moment as of which this was last refused in the attempt: it was not done before that.
pub(crate) fn last_refused(attempt: &AttemptRow, what: &str) -> Option<DateTime<Utc>> {
    attempt.detail["refused"][what]["as_of"].as_str().and_then(|at| at.parse().ok())
}
