//! Why not: what stands between an order and a procedure.

use contract::why_not::{KnownFact, LackView, Truth, WayView, WhyNotView};
use derivation::facts;
use derivation::why_not::{self, By, Explanation, Known, Lack, Way};
use uuid::Uuid;

use crate::caller::Caller;
use crate::derive::Stated;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Explains, with the catalogue that the order is derived with.
pub async fn why_not(
    flow: &Flow,
    caller: &Caller,
    order: Uuid,
    procedure: &str,
) -> Result<WhyNotView, Refusal> {
    flow.read(caller, async |step| {
        let case = step.see_case(order).await?;
        let compiled = step.catalogue_of(flow, &case).await?;
        let stated = Stated::of(&case.order, &case.lines);
        let repair = stated.repair(&case.order.facts);
        let explained = why_not::why_not(&compiled, &repair, procedure);
        let explained = explained.ok_or_else(|| {
            let detail = format!(
                "the catalogue {} has no procedure `{procedure}`",
                case.order.catalogue_version
            );
            let known = compiled.catalogue().procedures.iter().map(|known| known.id.as_str());
            let known: Vec<&str> = known.filter(|known| is_like(known, procedure)).collect();
            let kind = contract::problem::ProblemKind::NotFound;
            Refusal::new(kind, detail).with("procedures", known)
        })?;
        let of_it = case.tasks.iter().filter(|task| task.definition.id == procedure);
        let deciding = case.questions.iter().filter(|question| {
            question.state == "open" && question.decides.iter().any(|id| id == procedure)
        });
        Ok(WhyNotView {
            catalogue_version: case.order.catalogue_version.clone(),
            tasks: of_it.map(|task| task.id).collect(),
            questions: deciding.map(|question| question.id).collect(),
            ..view(&explained)
        })
    })
    .await
}

/// Whether a name holds what was asked for, or a word of it.
fn is_like(known: &str, asked: &str) -> bool {
    let asked = asked.trim().to_lowercase().replace([' ', '-'], "_");
    let mut words = asked.split('_').filter(|word| word.len() > 3);
    !asked.is_empty() && (known.contains(&asked) || words.any(|word| known.contains(word)))
}

fn view(explained: &Explanation<'_>) -> WhyNotView {
    WhyNotView {
        procedure: explained.procedure.id.clone(),
        title: explained.procedure.title.clone(),
        catalogue_version: String::new(),
        required: truth(explained.required),
        exists: truth(explained.exists),
        exists_by: known(&explained.exists_by),
        ways: explained.ways.iter().map(way).collect(),
        sentences: explained.sentences(),
        tasks: Vec::new(),
        questions: Vec::new(),
    }
}

fn way(way: &Way<'_>) -> WayView {
    let (rule, needed_by, because, source) = match way.by {
        By::Rule(rule) => (Some(rule.id.clone()), None, rule.because.clone(), &rule.source),
        By::Procedure(by) => {
            (None, Some(by.id.clone()), format!("`{}` needs it", by.title), &by.source)
        }
    };
    let lacks = way.lacks.iter().map(lack).collect();
    WayView { rule, needed_by, because, source: source.clone(), lacks }
}

fn lack(lack: &Lack) -> LackView {
    let (code, facts) = match lack {
        Lack::Trigger => ("nothing_sets_it_off", Vec::new()),
        Lack::Vehicle(facts) => ("other_vehicles", known(facts)),
        Lack::VehicleUnknown(facts) => ("vehicle_unknown", known(facts)),
        Lack::NotRequired => ("not_required_itself", Vec::new()),
    };
    LackView { code: code.to_owned(), facts }
}

fn known(facts: &[Known]) -> Vec<KnownFact> {
    let known = |known: &Known| KnownFact { fact: known.fact.clone(), value: known.value.clone() };
    facts.iter().map(known).collect()
}

fn truth(truth: facts::Truth) -> Truth {
    match truth {
        facts::Truth::Yes => Truth::Yes,
        facts::Truth::No => Truth::No,
        facts::Truth::Unknown => Truth::Unknown,
    }
}
