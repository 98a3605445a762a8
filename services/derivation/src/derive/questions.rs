//! What must be asked: the fewest facts that decide everything undetermined, however they turn out, and every line
//! that nobody understood.

use domain::catalogue::Feature;

use crate::derive::graph::{Graph, NodeId};
use crate::derive::membership::{Members, Unknown};
use crate::facts::{BUILT_IN, FactId};
use crate::repair::RepairLine;

/// A question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question<'a> {
    /// The fact or line it asks for: `features.front_camera`, `powertrain`, `lines.2`.
    pub asks: String,
    /// Worded so that a service advisor can answer.
    pub text: String,
    /// What may be answered.
    pub answers: Answers<'a>,
    /// Procedures that the answer decides or helps to decide, ascending.
    pub decides: Vec<&'a str>,
}

/// What may be answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answers<'a> {
    /// `true` or `false`.
    YesOrNo,
    /// One of these words.
    Words(Vec<&'a str>),
    /// A word of the answerer's own (make, model).
    Text,
    /// A whole number (model year).
    Number,
    /// Operations of the line: these candidates, others, or none.
    Operations(&'a RepairLine),
}

pub(crate) fn questions<'a>(
    graph: &Graph<'a>,
    members: &Members<'_, '_>,
    tasks: &[NodeId],
) -> Vec<Question<'a>> {
    let mut decides: Vec<(Unknown, &'a str)> = Vec::new();
    for &task in tasks {
        for what in &members.of(task).depends_on {
            decides.push((*what, &graph.task(task).0.id));
        }
    }
    decides.sort_unstable();
    decides.dedup();
    let decided_by = |what: &dyn Fn(Unknown) -> bool| -> Vec<&'a str> {
        let mut ids: Vec<&'a str> =
            decides.iter().filter(|(by, _)| what(*by)).map(|(_, id)| *id).collect();
        ids.sort_unstable();
        ids.dedup();
        ids
    };
    let mut facts: Vec<Unknown> = decides.iter().map(|(what, _)| *what).collect();
    facts.dedup();
    let mut questions: Vec<Question<'a>> = facts
        .into_iter()
        .filter_map(|what| match what {
            Unknown::Fact(fact) => Some(about_fact(graph, fact, decided_by(&|by| by == what))),
            Unknown::Line(..) => None,
        })
        .collect();
    for (at, line) in graph.repair.lines.iter().enumerate().filter(|(_, line)| line.is_asked()) {
        questions.push(about_line(
            line,
            decided_by(&|by| matches!(by, Unknown::Line(line, _) if line == at)),
        ));
    }
    questions
}

fn about_fact<'a>(graph: &Graph<'a>, fact: FactId, decides: Vec<&'a str>) -> Question<'a> {
    let facts = &graph.compiled.facts;
    let name = facts.name(fact);
    let features = &graph.compiled.catalogue().vocabulary.features;
    let feature: Option<&'a Feature> =
        features.iter().find(|feature| fact >= BUILT_IN.len() && feature.id == name);
    let words: Vec<&'a str> = facts.words(fact).iter().map(|word| &**word).collect();
    let (text, answers) = match (name, feature) {
        (_, Some(feature)) if words.is_empty() => (feature.question.clone(), Answers::YesOrNo),
        (_, Some(feature)) => (feature.question.clone(), Answers::Words(words)),
        ("make", None) => ("Which make is the vehicle?".to_owned(), Answers::Text),
        ("model", None) => ("Which model is the vehicle?".to_owned(), Answers::Text),
        ("model_year", None) => {
            ("Which model year is the vehicle?".to_owned(), Answers::Number)
        }
        ("powertrain", None) => (
            "What drives the vehicle: an engine only, an engine and a traction battery, or a traction battery only?"
                .to_owned(),
            Answers::Words(words),
        ),
        (other, None) => (format!("Does the vehicle have `{other}`?"), Answers::YesOrNo),
    };
    Question { asks: facts.path(fact), text, answers, decides }
}

fn about_line<'a>(line: &'a RepairLine, decides: Vec<&'a str>) -> Question<'a> {
    let mut candidates: Vec<String> = Vec::new();
    for (_, stated) in line.counted().filter(|(_, stated)| !stated.sure) {
        let operation = &stated.operation;
        let place = operation.place.as_ref().map(|place| format!(" ({place})"));
        let place = place.unwrap_or_default();
        let words = format!("{} {}{place}", operation.action, operation.component);
        candidates.push(words.replace('_', " "));
    }
    let number = line.line;
    let text = match &candidates[..] {
        [] => format!("What is done on line {number}? If it needs nothing, say so."),
        [one] => format!("Does line {number} mean: {one}? If not, what is done, if anything?"),
        several => {
            let candidates = several.join("; ");
            format!("Which of these does line {number} mean, or none: {candidates}?")
        }
    };
    Question { asks: format!("lines.{number}"), text, answers: Answers::Operations(line), decides }
}
