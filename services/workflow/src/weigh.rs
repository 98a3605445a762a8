//! What came in is weighed: it counts for the attempt that goes on, and what it breaks is recorded.

use domain::lifecycle::TaskState;
use domain::verdict::{Finding, Verdict};
use evidence::intake::CLOCK_TOLERANCE;
use evidence::sample::Sample;
use serde_json::json;
use store::attempts::AttemptRow;
use store::tasks::TaskRow;

use crate::case::Case;
use crate::flow::Step;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::standing::Standing;
use crate::verdicts;

impl Step {
    /// Lets what came in count for the attempt that goes on, and gives the verdicts that matter now.
    pub(crate) async fn weigh(
        &mut self,
        case: &mut Case,
        row: &TaskRow,
        attempt: &AttemptRow,
        new: Vec<Sample>,
    ) -> Result<Vec<Finding>, Refusal> {
        if row.attempt != attempt.number {
            return Ok(verdicts::present(case, row));
        }
        let known = Standing::of(attempt).from;
        let oldest = new.iter().map(|sample| sample.taken_at).min();
        if known.is_some_and(|known| new.iter().any(|sample| sample.taken_at < known)) {
            self.look_back(case, row.id).await?;
        } else {
            let samples = case.samples.entry(row.id).or_default();
            samples.extend(new);
            // Kept in the judge's order, so that it has nothing to sort: the next batch finds them so.
            samples.sort_by_key(|sample| (sample.taken_at, sample.received_at, sample.id));
        }
        let found = verdicts::present(case, row);
        self.note_broken(case, row, &found).await?;
        self.move_standing(case, row.id, oldest).await?;
        Ok(found)
    }

    /// Records, once in an attempt, that something did not hold which must hold throughout: the attempt can't pass any
    /// more. Nothing is stopped by it; the person at the vehicle ends the attempt, and the procedure says what follows.
    async fn note_broken(
        &mut self,
        case: &mut Case,
        row: &TaskRow,
        found: &[Finding],
    ) -> Result<(), Refusal> {
        if row.state != TaskState::Running {
            return Ok(());
        }
        let Some(mut attempt) = case.attempt(row).cloned() else { return Ok(()) };
        let noted = attempt.detail["broken"].as_object().cloned().unwrap_or_default();
        let new: Vec<&Finding> = found
            .iter()
            .filter(|f| f.verdict == Verdict::Violated && !f.waived && !noted.contains_key(&f.id))
            .collect();
        for finding in &new {
            attempt.detail["broken"][&finding.id] = json!({ "at": case.now, "detail": finding.detail, "evidence": finding.evidence,
                    "at_once": shown_at_once(case, row, finding) });
            self.record(Happening {
                kind: "precondition.broken",
                order: Some(case.order.id),
                subject: ("task", row.id.to_string()),
                data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "precondition": finding.id,
                    "detail": finding.detail, "evidence": finding.evidence,
                    "then": row.definition.after_failure.then }),
            })
            .await?;
        }
        if new.is_empty() { Ok(()) } else { self.keep_attempt(case, attempt).await }
    }
}

/// Whether what a finding rests on came as it was taken: whoever sent it had a network, and was told at once.
fn shown_at_once(case: &Case, row: &TaskRow, finding: &Finding) -> bool {
    verdicts::samples(case, row)
        .iter()
        .any(|s| finding.evidence.contains(&s.id) && s.received_at - s.taken_at <= CLOCK_TOLERANCE)
}
