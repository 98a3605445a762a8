//! What is really used at a start: another bay, other tools, more people than the lease says.

use std::collections::BTreeMap;

use contract::problem::ProblemKind;
use contract::tasks::NewStart;
use domain::procedure::PlaceOfWork;
use serde_json::json;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::refusal::Refusal;

impl Step {
    /// Notes in the attempt what is really used, if it is able; whether it is free is seen with everything else.
    pub(crate) async fn note_what_is_used(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        new: &NewStart,
    ) -> Result<(), Refusal> {
        let Some(mut attempt) = case.attempt(task).cloned() else { return Ok(()) };
        if let Some(bay) = new.bay {
            self.able_bay(task, bay).await?;
            attempt.bay = Some(bay);
        }
        if let Some(units) = &new.equipment {
            self.able_units(task, units).await?;
            attempt.equipment = json!(units);
        }
        if !new.people.is_empty() {
            self.other_people(&new.people).await?;
            attempt.detail["people"] = json!(new.people);
        }
        if let Some(set) = &new.target_set {
            attempt.detail["target_set"] = json!(set);
        }
        if let Some(routine) = &new.routine {
            attempt.detail["routine"] = json!(routine.to_uppercase());
        }
        let bay = attempt.bay;
        if let Some(place) =
            case.attempts.iter_mut().find(|a| a.task == task.id && a.number == attempt.number)
        {
            *place = attempt;
        }
        case.keep_task(TaskRow { bay, ..task.clone() });
        self.know_the_bay(case, task.id).await
    }

    async fn able_bay(&mut self, task: &TaskRow, id: Uuid) -> Result<(), Refusal> {
        let shop = self.shop();
        let bays = store::bays::list(self.conn(), shop).await?;
        let bay = bays.into_iter().find(|bay| bay.id == id && !bay.retired);
        let bay = bay.ok_or_else(|| Refusal::field("/bay", "no bay of this shop"))?;
        let PlaceOfWork::Bay(needed) = &task.definition.place_of_work else {
            return Err(Refusal::field("/bay", "it is done on the road"));
        };
        let lacking: Vec<&str> = needed
            .iter()
            .filter(|need| !bay.capabilities.contains(need))
            .map(String::as_str)
            .collect();
        if lacking.is_empty() {
            return Ok(());
        }
        let detail = format!("the bay named lacks {}", lacking.join(", "));
        Err(Refusal::new(ProblemKind::NotAble, detail))
    }

    async fn able_units(&mut self, task: &TaskRow, ids: &[Uuid]) -> Result<(), Refusal> {
        let shop = self.shop();
        let known = store::means::units(self.conn(), shop).await?;
        let mut kinds: BTreeMap<&str, u32> = BTreeMap::new();
        for (at, id) in ids.iter().enumerate() {
            let unit = known.iter().find(|unit| unit.id == *id && !ids[..at].contains(id));
            let pointer = format!("/equipment/{at}");
            let unit = unit
                .ok_or_else(|| Refusal::field(&pointer, "no unit of this shop, or named twice"))?;
            *kinds.entry(unit.kind.as_str()).or_default() += 1;
        }
        for (kind, count) in &task.definition.equipment {
            if kinds.get(kind.as_str()).copied().unwrap_or(0) < *count {
                let detail = format!("{count} of `{kind}` are needed");
                return Err(Refusal::new(ProblemKind::NotAble, detail));
            }
        }
        Ok(())
    }

    async fn other_people(&mut self, ids: &[Uuid]) -> Result<(), Refusal> {
        let me = self.technician()?;
        let shop = self.shop();
        let known = store::means::people(self.conn(), shop).await?;
        for (at, id) in ids.iter().enumerate() {
            let other = *id != me && known.iter().any(|person| person.id == *id);
            if !other || ids[..at].contains(id) {
                let detail = "no other technician of this shop, or named twice";
                return Err(Refusal::field(&format!("/people/{at}"), detail));
            }
        }
        Ok(())
    }
}
