//! The lexicon's files as they are written: `data/lexicon/*.yaml` explain each key.

use std::collections::BTreeMap;

use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WordsDocument {
    pub(super) short: BTreeMap<String, Vec<String>>,
    pub(super) same: BTreeMap<String, Vec<String>>,
    pub(super) places: BTreeMap<String, Vec<String>>,
    pub(super) rear_or_rear_right: Vec<String>,
    pub(super) all_round: Vec<String>,
    pub(super) joins: Vec<String>,
    pub(super) then: Vec<String>,
    pub(super) around: Vec<String>,
    pub(super) to: Vec<String>,
    pub(super) reasons: Vec<String>,
    pub(super) purposes: Vec<String>,
    pub(super) access: Vec<String>,
    pub(super) not: Vec<String>,
    pub(super) declined: Vec<String>,
    pub(super) quote: Vec<String>,
    pub(super) conditions: Vec<String>,
    pub(super) recommended: Vec<String>,
    pub(super) history: Vec<String>,
    pub(super) said: Vec<String>,
    pub(super) found: Vec<String>,
    pub(super) correction: Vec<String>,
    pub(super) states: Vec<String>,
    pub(super) new_part: Vec<String>,
    pub(super) same_part: Vec<String>,
    pub(super) nothing: Vec<String>,
    pub(super) beside: Vec<String>,
    pub(super) small_parts: Vec<String>,
    pub(super) only: Vec<String>,
    pub(super) other_side: Vec<String>,
    pub(super) fillers: Vec<String>,
    pub(super) part_words: Vec<String>,
    pub(super) things_behind: Vec<String>,
    pub(super) software: Vec<String>,
    pub(super) no_typos: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_excessive_bools, reason = "each is a key of the file, on its own")]
pub(super) struct ActionEntry {
    #[serde(default)]
    pub(super) gives: Option<String>,
    #[serde(default)]
    pub(super) elsewhere: Option<String>,
    #[serde(default)]
    pub(super) asks: Vec<String>,
    #[serde(default)]
    pub(super) looks: bool,
    #[serde(default)]
    pub(super) verbs: Vec<String>,
    #[serde(default)]
    pub(super) said: Vec<String>,
    #[serde(default)]
    pub(super) weak: Vec<String>,
    #[serde(default)]
    pub(super) half: Option<super::kinds::Half>,
    #[serde(default)]
    pub(super) alone: Option<String>,
    #[serde(default)]
    pub(super) doubted: bool,
    #[serde(default)]
    pub(super) doubted_where_often_refitted: bool,
    #[serde(default)]
    pub(super) fluids_only: bool,
    #[serde(default)]
    pub(super) slight: bool,
    #[serde(default)]
    pub(super) follows: bool,
    #[serde(default)]
    pub(super) only_on: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_excessive_bools, reason = "each is a key of the file, on its own")]
pub(super) struct NounEntry {
    pub(super) said: Vec<String>,
    #[serde(default)]
    pub(super) is: Option<String>,
    #[serde(default)]
    pub(super) also: Option<String>,
    #[serde(default)]
    pub(super) front: Option<String>,
    #[serde(default)]
    pub(super) rear: Option<String>,
    #[serde(default)]
    pub(super) otherwise: Option<String>,
    #[serde(default)]
    pub(super) takes: Vec<String>,
    #[serde(default)]
    pub(super) fluid: bool,
    #[serde(default)]
    pub(super) means: BTreeMap<String, String>,
    #[serde(default)]
    pub(super) alone: Option<String>,
    #[serde(default)]
    pub(super) only: Vec<String>,
    #[serde(default)]
    pub(super) often_refitted: bool,
    #[serde(default)]
    pub(super) sits_in: Vec<String>,
    #[serde(default)]
    pub(super) asks: Vec<String>,
    #[serde(default)]
    pub(super) nothing: bool,
    #[serde(default)]
    pub(super) single: bool,
    #[serde(default)]
    pub(super) aimed: bool,
    #[serde(default)]
    pub(super) own_coolant: bool,
    #[serde(default)]
    pub(super) its: BTreeMap<String, String>,
    #[serde(default)]
    pub(super) any: Option<String>,
    #[serde(default)]
    pub(super) placed: bool,
    #[serde(default)]
    pub(super) set_after: Vec<String>,
    #[serde(default)]
    pub(super) on_axle: bool,
    #[serde(default)]
    pub(super) behind: BTreeMap<String, String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ComplaintEntry {
    pub(super) title: String,
    pub(super) wordings: Vec<String>,
}
