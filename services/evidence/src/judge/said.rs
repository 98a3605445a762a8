//! What was found of one condition, before it becomes the finding of its precondition.

use std::collections::HashSet;

use chrono::{DateTime, TimeDelta, Utc};
use domain::verdict::{Finding, Verdict};
use uuid::Uuid;

/// What was found of one condition.
#[derive(Debug, Clone)]
pub(super) struct Said {
    pub(super) verdict: Verdict,
    pub(super) detail: String,
    pub(super) evidence: Vec<Uuid>,
    pub(super) accepts: Vec<String>,
    pub(super) who: &'static [&'static str],
    /// Seconds to wait, when time alone is lacking.
    pub(super) wait: Option<u32>,
    /// When time alone makes it something else.
    pub(super) changes_at: Option<DateTime<Utc>>,
    pub(super) contradiction: Option<String>,
    /// A negative response made it so.
    pub(super) by_refusal: bool,
    /// Another alternative than the first one met it.
    pub(super) by_alternative: bool,
}

pub(super) const TECHNICIAN: &[&str] = &["technician"];
pub(super) const SECOND_PERSON: &[&str] = &["second_person"];

impl Said {
    pub(super) fn new(verdict: Verdict, detail: impl Into<String>) -> Self {
        Self {
            verdict,
            detail: detail.into(),
            evidence: Vec::new(),
            accepts: Vec::new(),
            who: TECHNICIAN,
            wait: None,
            changes_at: None,
            contradiction: None,
            by_refusal: false,
            by_alternative: false,
        }
    }

    pub(super) fn resting_on(mut self, evidence: impl IntoIterator<Item = Uuid>) -> Self {
        self.evidence.extend(evidence);
        self
    }

    pub(super) fn accepting(mut self, accepts: impl Into<String>) -> Self {
        self.accepts.push(accepts.into());
        self
    }

    /// Time alone makes it something else from this moment on.
    pub(super) fn until(self, changes_at: DateTime<Utc>) -> Self {
        Self { changes_at: Some(changes_at), ..self }
    }

    /// It counts for as long as its evidence is not older than this.
    pub(super) fn while_fresh(self, taken_at: DateTime<Utc>, limit: Option<TimeDelta>) -> Self {
        match limit {
            // Of that age it still counts.
            Some(limit) => self.until(taken_at + limit + TimeDelta::microseconds(1)),
            None => self,
        }
    }

    /// Every one must be met.
    pub(super) fn all(parts: Vec<Self>) -> Self {
        let worst = parts.iter().map(|part| part.verdict).max_by_key(|v| severity(*v));
        let verdict = worst.unwrap_or(Verdict::Met);
        // What is met needs no words once something is not.
        let lacking = |part: &Said| verdict == Verdict::Met || part.verdict != Verdict::Met;
        let only_time =
            parts.iter().all(|part| part.verdict == Verdict::Met || part.wait.is_some());
        let wait = parts.iter().filter_map(|part| part.wait).max().filter(|_| only_time);
        Self { wait, ..joined(verdict, parts, lacking, "; ") }
    }

    /// One must be met; the one used is named.
    pub(super) fn any(parts: Vec<Self>) -> Self {
        if let Some(at) = parts.iter().position(|part| part.verdict == Verdict::Met) {
            let contradiction = contradictions(&parts);
            let changes_at = soonest(&parts);
            let used = parts.into_iter().nth(at).unwrap_or_else(|| Self::all(Vec::new()));
            let by_alternative = used.by_alternative || at > 0;
            return Self { changes_at, contradiction, by_alternative, ..used };
        }
        let best = parts.iter().map(|part| part.verdict).min_by_key(|v| severity(*v));
        let wait = parts.iter().filter_map(|part| part.wait).min();
        let verdict = best.unwrap_or(Verdict::Missing);
        Self { wait, ..joined(verdict, parts, |_| true, "; or: ") }
    }

    pub(super) fn finding(self, id: &str, text: &str) -> Finding {
        let met = self.verdict == Verdict::Met;
        let mut named = HashSet::new();
        let evidence = self.evidence.into_iter().filter(|id| named.insert(*id)).collect();
        Finding {
            id: id.to_owned(),
            text: text.to_owned(),
            verdict: self.verdict,
            detail: self.detail,
            evidence,
            accepts: if met { Vec::new() } else { self.accepts },
            who: if met { Vec::new() } else { self.who.iter().map(ToString::to_string).collect() },
            wait_seconds: self.wait.filter(|_| !met),
            changes_at: self.changes_at,
            by_alternative: met && self.by_alternative,
            waived: false,
            contradiction: self.contradiction,
        }
    }
}

fn joined(verdict: Verdict, parts: Vec<Said>, told: impl Fn(&Said) -> bool, by: &str) -> Said {
    let contradiction = contradictions(&parts);
    let changes_at = soonest(&parts);
    let told: Vec<Said> = parts.into_iter().filter(|part| told(part)).collect();
    let details: Vec<&str> = told.iter().map(|part| part.detail.as_str()).collect();
    let mut all = Said::new(verdict, details.join(by));
    all.contradiction = contradiction;
    all.changes_at = changes_at;
    all.by_refusal = told.iter().any(|part| part.by_refusal);
    all.by_alternative = told.iter().any(|part| part.by_alternative);
    if told.iter().any(|part| part.verdict != Verdict::Met && part.who == SECOND_PERSON) {
        let technician_too = told.iter().any(|part| part.who == TECHNICIAN);
        all.who = if technician_too { &["technician", "second_person"] } else { SECOND_PERSON };
    }
    for part in told {
        all.evidence.extend(part.evidence);
        all.accepts.extend(part.accepts);
    }
    all.accepts.dedup();
    all
}

fn soonest(parts: &[Said]) -> Option<DateTime<Utc>> {
    parts.iter().filter_map(|part| part.changes_at).min()
}

fn contradictions(parts: &[Said]) -> Option<String> {
    let told: Vec<&str> = parts.iter().filter_map(|part| part.contradiction.as_deref()).collect();
    (!told.is_empty()).then(|| told.join("; "))
}

fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Met => 0,
        Verdict::Stale => 1,
        Verdict::Missing => 2,
        Verdict::Violated => 3,
    }
}
