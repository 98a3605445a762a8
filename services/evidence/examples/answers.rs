//! Answers questions one JSON line each, so that other programs' answers can be held against ours.
//!
//! `{"decode": {"protocol": "obd", "hex": "41058D"}}`, `{"convert": {"value": "32", "from": "[psi]", "to": "kPa"}}`,
//! `{"units": {}}`, `{"refusal": {"nrc": 34}}`, `{"service": {"id": 49}}`, `{"as_of": {...}}` and `{"throughout": {...}}` with readings in whole seconds.

use std::io::{BufRead, Write};

use chrono::{DateTime, TimeDelta, Utc};
use domain::exact::Exact;
use domain::unit::{self, Unit};
use evidence::frame::{Protocol, decode};
use evidence::judge::series::{Demand, Reading, Standing, as_of, throughout};
use evidence::refusal;
use serde_json::{Value, json};

fn main() -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    for line in std::io::stdin().lock().lines() {
        let answer = serde_json::from_str(&line?).ok().as_ref().and_then(answer);
        writeln!(out, "{}", answer.unwrap_or_else(|| json!({ "fault": "not a question" })))?;
        out.flush()?;
    }
    Ok(())
}

fn answer(question: &Value) -> Option<Value> {
    let (name, of) = question.as_object()?.iter().next()?;
    match name.as_str() {
        "decode" => frame(of),
        "convert" => conversion(of),
        "units" => Some(unit::TABLE.iter().map(|unit| json!(unit.code)).collect()),
        "refusal" => {
            let nrc = u8::try_from(of["nrc"].as_u64()?).ok()?;
            Some(json!({ "name": refusal::name(nrc) }))
        }
        "service" => {
            let service = u8::try_from(of["id"].as_u64()?).ok()?;
            Some(json!({ "name": refusal::service_name(service) }))
        }
        "as_of" | "throughout" => standing(name, of),
        _ => None,
    }
}

fn frame(of: &Value) -> Option<Value> {
    let protocol = Protocol::of_word(of["protocol"].as_str()?)?;
    let text = of["hex"].as_str()?;
    let bytes: Option<Vec<u8>> = (0..text.len() / 2)
        .map(|at| text.get(2 * at..2 * at + 2).and_then(|two| u8::from_str_radix(two, 16).ok()))
        .collect();
    Some(match decode(protocol, &bytes?) {
        Ok(said) => json!({ "said": said }),
        Err(fault) => json!({ "fault": fault.to_string() }),
    })
}

fn conversion(of: &Value) -> Option<Value> {
    let (from, to) = (Unit::of_code(of["from"].as_str()?)?, Unit::of_code(of["to"].as_str()?)?);
    let value: Exact = of["value"].as_str()?.parse().ok()?;
    Some(match from.to(to, value.ratio()) {
        Some(value) => {
            json!({ "over": value.numer().to_string(), "under": value.denom().to_string() })
        }
        None => json!({ "fault": "does not convert" }),
    })
}

fn standing(name: &str, of: &Value) -> Option<Value> {
    let seconds = |field: &str| of[field].as_i64();
    let reading =
        |pair: &Value| Some(Reading { at: at(pair[0].as_i64()?), satisfied: pair[1].as_bool()? });
    let readings: Option<Vec<Reading>> = of["readings"].as_array()?.iter().map(reading).collect();
    let demand = Demand {
        gap: TimeDelta::seconds(seconds("gap")?),
        max_age: seconds("max_age").map(TimeDelta::seconds),
        hold_for: TimeDelta::seconds(seconds("hold_for").unwrap_or(0)),
    };
    let now = at(seconds("now")?);
    let standing = if name == "as_of" {
        as_of(&readings?, &demand, now)
    } else {
        throughout(&readings?, &demand, at(seconds("from")?), now)
    };
    Some(json!(match standing {
        Standing::Met { .. } => "met",
        Standing::Missing | Standing::Hole { .. } | Standing::Short { broken_by: None, .. } => {
            "missing"
        }
        Standing::Violated { .. } | Standing::Short { .. } => "violated",
        Standing::Stale { .. } => "stale",
    }))
}

fn at(second: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::seconds(second)
}
