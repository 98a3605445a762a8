//! Limits that make sense: units that fit their signals, ranges that are not empty, conditions that can hold
//! together, minutes in order.

use domain::catalogue::Catalogue;
use domain::limit::Bound;
use domain::precondition::{Condition, Precondition, Range};
use domain::predicate::Predicate;
use domain::procedure::Procedure;
use domain::signal::{Signal, Values};
use domain::unit::Unit;
use num_rational::Ratio;

use crate::check::{At, Found, each};

pub(super) fn check(catalogue: &Catalogue, found: &mut Found) {
    each(&catalogue.procedures, "procedures", |at, entry| {
        minutes(at, entry, found);
        years(&at.key("exists_on"), &entry.exists_on, found);
        conditions(&at.key("preconditions"), &entry.preconditions, found);
        conditions(&at.key("proof"), &entry.proof, found);
        if let Some(check) = &entry.quick_check {
            conditions(&at.key("quick_check").key("proof"), &check.proof, found);
        }
        if entry.proof.is_empty() {
            let detail = format!("nothing proves that `{}` passed", entry.id);
            found.fault(&at.key("proof"), "missing_proof", detail);
        }
        if !(1..=2).contains(&entry.people) || !(1..=2).contains(&entry.waiver.people) {
            let detail = "one or two people, not more or fewer".to_owned();
            found.fault(at, "people", detail);
        }
    });
    each(&catalogue.rules, "rules", |at, rule| years(&at.key("on"), &rule.on, found));
    each(&catalogue.implications, "implications", |at, implication| {
        years(&at.key("on"), &implication.on, found);
    });
}

fn minutes(at: &At<'_>, entry: &Procedure, found: &mut Found) {
    let minutes = entry.minutes;
    if minutes.least > minutes.likely || minutes.likely > minutes.most || minutes.most == 0 {
        let detail = format!(
            "least {}, likely {}, most {} minutes: each at least the one before, the last not 0",
            minutes.least, minutes.likely, minutes.most
        );
        found.fault(&at.key("minutes"), "empty_range", detail);
    }
}

fn years(at: &At<'_>, predicate: &Predicate, found: &mut Found) {
    match predicate {
        Predicate::ModelYear { from: Some(from), to: Some(to) } if from > to => {
            found.fault(at, "empty_range", format!("no model year from {from} to {to}"));
        }
        Predicate::Is { fact, one_of } if one_of.is_empty() => {
            found.fault(at, "empty_range", format!("`{fact}` is none of no words"));
        }
        Predicate::All(parts) | Predicate::Any(parts) => {
            let key = if matches!(predicate, Predicate::All(_)) { "all" } else { "any" };
            for (index, part) in parts.iter().enumerate() {
                years(&at.key(key).item(index), part, found);
            }
        }
        Predicate::Not(part) => years(&at.key("not"), part, found),
        _ => {}
    }
}

fn conditions(at: &At<'_>, list: &[Precondition], found: &mut Found) {
    for (index, one) in list.iter().enumerate() {
        let at = at.item(index);
        condition(&at.key("condition"), &one.condition, found);
        if let Some(wider) = &one.while_running {
            condition(&at.key("while_running"), wider, found);
        }
        may_differ(&at, one, found);
        if one.waiver.is_some_and(|waiver| !(1..=2).contains(&waiver.people)) {
            let detail = "one or two people, not more or fewer".to_owned();
            found.fault(&at.key("waiver"), "people", detail);
        }
    }
    let mut demands = Vec::new();
    for one in list {
        collect(&one.condition, &mut demands);
    }
    contradictions(at, &demands, found);
}

/// Another figure can stand in only for the limit of one range or wait, and the catalogue's own must be within its rule.
fn may_differ(at: &At<'_>, one: &Precondition, found: &mut Found) {
    let Some(rule) = &one.may_differ else { return };
    let at = at.key("may_differ");
    if !(1..=2).contains(&rule.people) {
        let detail = "one or two people, not more or fewer".to_owned();
        found.fault(&at.key("people"), "people", detail);
    }
    if rule.at_least.is_none() && rule.at_most.is_none() {
        let detail = "it says neither how low nor how high another limit may be".to_owned();
        found.fault(&at, "may_differ", detail);
    }
    let limits = one.condition.limits();
    let of = |bound| limits.iter().filter(move |limit| limit.bound == bound).count();
    if limits.is_empty() || of(Bound::AtLeast) > 1 || of(Bound::AtMost) > 1 {
        let detail = "another figure stands in only for the limit of one range or wait".to_owned();
        found.fault(&at, "may_differ", detail);
        return;
    }
    for limit in &limits {
        let value = limit.value.ratio();
        let below = rule.at_least.is_some_and(|low| value < low.ratio());
        let above = rule.at_most.is_some_and(|high| value > high.ratio());
        if below || above {
            let detail = format!("the limit {} {} is itself beyond it", limit.value, limit.unit);
            found.fault(&at, "may_differ", detail);
        }
    }
}

fn condition(at: &At<'_>, one: &Condition, found: &mut Found) {
    match one {
        Condition::Range(limits) => range(&at.key("range"), limits, found),
        Condition::State { signal, is } => {
            let Some(signal) = Signal::of_name(signal) else { return };
            let at = at.key("state");
            match signal.values {
                Values::Words(words) if words.contains(&is.as_str()) => {}
                Values::Words(words) => {
                    let detail = format!("`{}` is never `{is}`: {}", signal.name, words.join(", "));
                    found.fault(&at.key("is"), "unit", detail);
                }
                Values::Number { .. } => {
                    let detail = format!("`{}` is a number, not a state", signal.name);
                    found.fault(&at.key("signal"), "unit", detail);
                }
            }
        }
        Condition::All(parts) | Condition::Any(parts) => {
            let key = if matches!(one, Condition::All(_)) { "all" } else { "any" };
            if parts.is_empty() {
                found.fault(at, "empty_range", format!("`{key}` of nothing"));
            }
            for (index, part) in parts.iter().enumerate() {
                condition(&at.key(key).item(index), part, found);
            }
            for (index, part) in parts.iter().enumerate() {
                if let (Condition::Any(_), Condition::All(_)) = (one, part) {
                    let mut demands = Vec::new();
                    collect(part, &mut demands);
                    contradictions(&at.key(key).item(index), &demands, found);
                }
            }
        }
        _ => {}
    }
}

fn range(at: &At<'_>, range: &Range, found: &mut Found) {
    if range.at_least.is_none() && range.at_most.is_none() {
        found.fault(at, "empty_range", "neither a lowest nor a highest value".to_owned());
    }
    if let (Some(least), Some(most)) = (range.at_least, range.at_most)
        && least.ratio() > most.ratio()
    {
        let detail = format!("nothing lies from {least} to {most}");
        found.fault(at, "empty_range", detail);
    }
    let Some(unit) = Unit::of_code(&range.unit) else {
        let detail = format!("`{}` is no unit (UCUM code)", range.unit);
        found.fault(&at.key("unit"), "unit", detail);
        return;
    };
    let Some(signal) = Signal::of_name(&range.signal) else { return };
    let Values::Number { unit: base, least, most } = signal.values else {
        let detail = format!("`{}` is a state, not a number", signal.name);
        found.fault(&at.key("signal"), "unit", detail);
        return;
    };
    let Some(base) = Unit::of_code(base) else { return };
    if base.dimension != unit.dimension {
        let detail =
            format!("`{}` is measured in {}, not in {}", signal.name, base.code, unit.code);
        found.fault(&at.key("unit"), "unit", detail);
        return;
    }
    let (least, most) = (Ratio::from(i128::from(least)), Ratio::from(i128::from(most)));
    for (key, limit) in [("at_least", range.at_least), ("at_most", range.at_most)] {
        let Some(limit) = limit else { continue };
        let value = unit.to_base(limit.ratio());
        if value < base.to_base(least) || value > base.to_base(most) {
            let detail = format!("{limit} {} is beyond what `{}` can say", unit.code, signal.name);
            found.note(&at.key(key), "implausible_limit", detail);
        }
    }
}

/// What must hold together.
enum Demand<'a> {
    Range(&'a Range),
    State(&'a str, &'a str),
}

fn collect<'a>(condition: &'a Condition, demands: &mut Vec<Demand<'a>>) {
    match condition {
        Condition::Range(range) => demands.push(Demand::Range(range)),
        Condition::State { signal, is } => demands.push(Demand::State(signal, is)),
        Condition::All(parts) => parts.iter().for_each(|part| collect(part, demands)),
        _ => {}
    }
}

fn contradictions(at: &At<'_>, demands: &[Demand<'_>], found: &mut Found) {
    for (index, one) in demands.iter().enumerate() {
        for other in &demands[..index] {
            let contradiction = match (one, other) {
                (Demand::State(signal, is), Demand::State(again, other)) => (signal == again
                    && is != other)
                    .then(|| format!("`{signal}` can't be `{is}` and `{other}` at once")),
                (Demand::Range(one), Demand::Range(other)) if one.signal == other.signal => {
                    disjoint(one, other).then(|| {
                        format!("no value of `{}` satisfies both of its ranges", one.signal)
                    })
                }
                _ => None,
            };
            if let Some(detail) = contradiction {
                found.fault(at, "empty_range", detail);
            }
        }
    }
}

fn disjoint(one: &Range, other: &Range) -> bool {
    let (Some(unit), Some(again)) = (Unit::of_code(&one.unit), Unit::of_code(&other.unit)) else {
        return false;
    };
    if unit.dimension != again.dimension {
        return false;
    }
    let below = |most: &Range, unit: &Unit, least: &Range, again: &Unit| {
        matches!((most.at_most, least.at_least), (Some(most), Some(least))
            if unit.to_base(most.ratio()) < again.to_base(least.ratio()))
    };
    below(one, unit, other, again) || below(other, again, one, unit)
}
