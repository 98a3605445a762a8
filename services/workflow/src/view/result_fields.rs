//! The fields of a form for the result: what a client asks a technician for, so that the proof is complete.

use contract::tasks::{ResultField, ResultFieldKind};
use domain::precondition::{Condition, Precondition};
use domain::signal::{Signal, Values};
use evidence::judge::{STATUS_ATTESTATION, state_of};

/// One field per thing that is to be shown, in the order of the proof; several proofs may rest on one field.
pub(super) fn result_fields(proof: &[Precondition]) -> Vec<ResultField> {
    let mut fields: Vec<ResultField> = Vec::new();
    for one in proof {
        let mut found = Vec::new();
        of(&one.condition, false, &mut found);
        for field in found {
            let same =
                fields.iter_mut().find(|old| old.kind == field.kind && old.name == field.name);
            match same {
                Some(old) => {
                    old.optional &= field.optional;
                    old.proves.push(one.id.clone());
                }
                None => fields.push(ResultField { proves: vec![one.id.clone()], ..field }),
            }
        }
    }
    fields
}

fn of(condition: &Condition, optional: bool, fields: &mut Vec<ResultField>) {
    let field = |kind, name: &str| ResultField {
        kind,
        name: name.to_owned(),
        title: name.replace('_', " "),
        unit: None,
        choices: Vec::new(),
        places: Vec::new(),
        by_second_person: false,
        optional,
        proves: Vec::new(),
    };
    match condition {
        Condition::Range(range) => fields.push(ResultField {
            unit: Some(range.unit.clone()),
            places: places(&range.signal),
            ..field(ResultFieldKind::Reading, &range.signal)
        }),
        Condition::State { signal, .. } => fields.push(state(field, signal)),
        Condition::Attested { statement, second_person } => fields.push(ResultField {
            by_second_person: *second_person,
            ..field(ResultFieldKind::Attestation, statement)
        }),
        Condition::NoCode { .. } | Condition::CodesRecorded { .. } => {
            fields.push(field(ResultFieldKind::TroubleCodes, "trouble_codes"));
        }
        Condition::Elapsed { since, .. } => fields.push(match state_of(since) {
            Some((signal, _)) => state(field, signal),
            None => field(ResultFieldKind::Attestation, since),
        }),
        Condition::Routine { identifier, passes } => {
            let name = identifier.as_deref().unwrap_or("routine");
            fields.push(field(ResultFieldKind::Frame, name));
            if passes.is_none() {
                fields.push(field(ResultFieldKind::Attestation, STATUS_ATTESTATION));
            }
        }
        Condition::Attachment { shows } => fields.push(field(ResultFieldKind::Attachment, shows)),
        Condition::All(parts) => parts.iter().for_each(|part| of(part, optional, fields)),
        Condition::Any(parts) => parts.iter().for_each(|part| of(part, true, fields)),
    }
}

fn state(field: impl Fn(ResultFieldKind, &str) -> ResultField, signal: &str) -> ResultField {
    let choices = match Signal::of_name(signal).map(|known| known.values) {
        Some(Values::Words(words)) => words.iter().map(|word| (*word).to_owned()).collect(),
        _ => Vec::new(),
    };
    ResultField { choices, ..field(ResultFieldKind::Reading, signal) }
}

fn places(signal: &str) -> Vec<String> {
    let known = Signal::of_name(signal).map_or(&[][..], Signal::places);
    known.iter().map(|place| (*place).to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn proof(json: serde_json::Value) -> Vec<Precondition> {
        serde_json::from_value(json).expect("conditions")
    }

    #[test]
    fn a_form_has_one_field_per_thing_to_show_with_its_unit_its_choices_and_who_says_it() {
        let fields = result_fields(&proof(serde_json::json!([
            { "id": "torque", "text": "", "source": "s",
              "condition": { "range": { "signal": "tire_pressure", "at_least": 2, "unit": "bar" } } },
            { "id": "applied", "text": "", "source": "s",
              "condition": { "any": [ { "state": { "signal": "parking_brake", "is": "applied" } },
                                      { "attested": { "statement": "brake_holds", "second_person": true } } ] } },
            { "id": "again", "text": "", "source": "s",
              "condition": { "state": { "signal": "parking_brake", "is": "applied" } } },
            { "id": "done", "text": "", "source": "s", "condition": { "routine": {} } }
        ])));
        let names: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
        assert_eq!(
            names,
            ["tire_pressure", "parking_brake", "brake_holds", "routine", "routine_status_passed"]
        );
        assert_eq!(fields[0].unit.as_deref(), Some("bar"));
        assert_eq!(fields[0].places.len(), 4);
        assert!(fields[1].choices.contains(&"applied".to_owned()));
        assert!(!fields[1].optional, "one proof has it as an alternative, another wants it");
        assert_eq!(fields[1].proves, ["applied", "again"]);
        assert!(fields[2].optional && fields[2].by_second_person);
    }
}
