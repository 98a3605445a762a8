//! What a technician is able to do: their skills, and what certifies them.

use contract::resources::Certificate;
use domain::procedure::Procedure;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::means::Person;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::refusal::Refusal;
use crate::start::others;

/// A certificate that counted when a task was started.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Counted {
    /// Whose.
    pub(crate) person: Uuid,
    /// Which.
    #[serde(flatten)]
    pub(crate) certificate: Certificate,
}

/// Certificates as they are stored.
pub(crate) fn certificates(stored: &Value) -> Vec<Certificate> {
    serde_json::from_value(stored.clone()).unwrap_or_default()
}

/// What of the needed skills a person lacks, in words; `None`: nothing.
pub(crate) fn lacking(person: &Person, needed: &[String]) -> Option<String> {
    let held = certificates(&person.certificates);
    let told = |skill: &String| {
        let last = held.iter().filter(|c| c.skill == *skill).max_by_key(|c| c.valid_until);
        match last.and_then(|last| last.valid_until.map(|until| (last, until))) {
            Some((last, until)) => {
                format!("{skill} (`{}` ran out on {})", last.document, until.format("%F"))
            }
            None => skill.clone(),
        }
    };
    let lacking: Vec<String> =
        needed.iter().filter(|skill| !person.skills.contains(skill)).map(told).collect();
    (!lacking.is_empty()).then(|| lacking.join(", "))
}

impl Step {
    /// What certifies the skills that a task needs, of everybody who works on it, as it counts now.
    pub(crate) async fn certified(
        &mut self,
        case: &Case,
        task: &TaskRow,
    ) -> Result<Vec<Counted>, Refusal> {
        let at_work: Vec<Uuid> = task.technician.into_iter().chain(others(case, task)).collect();
        let shop = self.shop();
        let people = store::means::people(self.conn(), shop).await?;
        let of_task = people.iter().filter(|person| at_work.contains(&person.id));
        Ok(of_task.flat_map(|person| of_person(person, &task.definition, case)).collect())
    }
}

fn of_person(person: &Person, procedure: &Procedure, case: &Case) -> Vec<Counted> {
    let held = certificates(&person.certificates).into_iter();
    held.filter(|c| procedure.skills.contains(&c.skill))
        .filter(|c| c.valid_until.is_none_or(|until| until > case.now))
        .map(|certificate| Counted { person: person.id, certificate })
        .collect()
}
