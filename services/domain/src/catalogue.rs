//! A versioned document of procedures and rules.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::operation::{Operation, OperationPattern};
use crate::predicate::Predicate;
use crate::procedure::Procedure;

/// A whole catalogue, as a document holds it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Catalogue {
    /// Version of this catalogue, for example `2026.11`.
    #[schema(min_length = 1, max_length = 64)]
    pub version: String,
    /// Who answers for it and what its numbers are worth.
    pub notice: String,
    /// Where facts come from.
    pub sources: Vec<Source>,
    /// The words that documents and orders may use.
    pub vocabulary: Vocabulary,
    /// Operations that amount to others (replacing pads removes the wheel).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub implications: Vec<Implication>,
    /// The procedures.
    pub procedures: Vec<Procedure>,
    /// What makes them necessary.
    pub rules: Vec<Rule>,
}

/// A source of facts and figures.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Name that entries refer to.
    pub id: String,
    /// What it is: a standard, a regulation, or `common practice, no source`.
    pub text: String,
}

/// The words of a catalogue.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Vocabulary {
    /// Actions, for example `replace`.
    pub actions: Vec<Word>,
    /// Components with their parents.
    pub components: Vec<Component>,
    /// Vehicle features.
    pub features: Vec<Feature>,
    /// Systems, for example `brakes`.
    pub systems: Vec<Word>,
    /// Capabilities of bays.
    pub bay_capabilities: Vec<Word>,
    /// Skills of technicians.
    pub skills: Vec<Word>,
    /// Kinds of shared equipment.
    pub equipment: Vec<Word>,
    /// Statements that people attest.
    pub statements: Vec<Word>,
    /// Complaints that rules know.
    pub complaints: Vec<Word>,
    /// Places on the vehicle.
    pub places: Vec<Word>,
}

/// A word and what people call it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Word {
    /// `snake_case` name.
    pub id: String,
    /// For people.
    pub title: String,
}

/// A part of the vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Component {
    /// `snake_case` name.
    pub id: String,
    /// For people.
    pub title: String,
    /// The more general component that an operation on this one also touches.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parent: Option<String>,
    /// Why work on it needs no procedure, when none does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs_nothing_because: Option<String>,
}

/// A vehicle fact that predicates may ask for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Feature {
    /// `snake_case` name.
    pub id: String,
    /// For people.
    pub title: String,
    /// The question, worded so that a service advisor can answer it.
    pub question: String,
    /// The words it may take; empty: yes or no.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub one_of: Vec<String>,
}

/// An operation that amounts to others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Implication {
    /// Any of these.
    pub when: Vec<OperationPattern>,
    /// On these vehicles.
    #[serde(default, skip_serializing_if = "Predicate::is_always")]
    pub on: Predicate,
    /// Amounts to these, at the same place.
    pub emits: Vec<Operation>,
}

/// What makes procedures necessary.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Name, unique in the catalogue.
    pub id: String,
    /// When any of these occurs.
    pub when: Trigger,
    /// On these vehicles.
    #[serde(default, skip_serializing_if = "Predicate::is_always")]
    pub on: Predicate,
    /// These procedures are required, where they exist.
    pub require: Vec<String>,
    /// Why, in words.
    pub because: String,
    /// A source of the catalogue's list.
    pub source: String,
}

/// What a rule reacts to; any one of it is enough.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Trigger {
    /// Operations.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub operations: Vec<OperationPattern>,
    /// Trouble codes or patterns (SAE J2012 form, `x` is any digit).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub trouble_codes: Vec<String>,
    /// Complaints, by name of the vocabulary.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub complaints: Vec<String>,
    /// Every order, whatever is on it (record codes before work).
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub every_order: bool,
}
