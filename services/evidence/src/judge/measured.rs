//! Ranges and states of signals.

use chrono::TimeDelta;
use domain::precondition::{Condition, Range};
use domain::signal::{Signal, Values};
use domain::unit::Unit;
use domain::verdict::Verdict;

use super::board::{Board, Refused};
use super::said::Said;
use super::series::{Demand, Reading, Standing, as_of, throughout};
use super::{Ask, words};
use crate::frame::parameter;
use crate::refusal;
use crate::sample::{Kind, Sample};

/// Signals that keep so long do not change because a module refused.
const STEADY: u32 = 3_600;

/// A signal's value lies in a range, compared exactly.
pub(super) fn range(board: &Board, ask: Ask, wanted: &Condition, range: &Range) -> Said {
    let known = Signal::of_name(&range.signal).zip(Unit::of_code(&range.unit));
    let Some((signal, unit)) = known else {
        let detail = format!("`{}` in `{}` cannot be judged", range.signal, range.unit);
        return Said::new(Verdict::Missing, detail);
    };
    let least = range.at_least.map(|limit| unit.to_base(limit.ratio()));
    let most = range.at_most.map(|limit| unit.to_base(limit.ratio()));
    let satisfies = |sample: &Sample| match &sample.kind {
        Kind::Number { value, unit: given, .. } => {
            let given = Unit::of_code(given).filter(|one| one.dimension == unit.dimension)?;
            let value = given.to_base(value.ratio());
            Some(least.is_none_or(|least| value >= least) && most.is_none_or(|most| value <= most))
        }
        _ => None,
    };
    let decimals = |sample: Option<&Sample>| words::decimals(range, sample);
    let needs = |sample: Option<&Sample>| {
        let unit = sample.and_then(|sample| unit_of(&sample.kind));
        words::range(range, unit, decimals(sample))
    };
    let value = |sample: &Sample| words::value_to(sample, decimals(Some(sample)));
    let (satisfies, needs, value) = (&satisfies, &needs, &value);
    let leaf = Leaf { board, ask, wanted, signal, satisfies, needs, value };
    let own = board.window.place.as_deref().filter(|place| signal.places().contains(place));
    match (own, signal.places()) {
        (None, []) => leaf.said(None),
        (Some(place), _) => leaf.said(Some(place)),
        (None, places) => Said::all(places.iter().map(|place| leaf.said(Some(place))).collect()),
    }
}

/// A signal is in an exact state.
pub(super) fn state(board: &Board, ask: Ask, wanted: &Condition, name: &str, is: &str) -> Said {
    let Some(signal) = Signal::of_name(name) else {
        return Said::new(Verdict::Missing, format!("the state of `{name}` cannot be judged"));
    };
    let satisfies = |sample: &Sample| match &sample.kind {
        Kind::State { is: given, .. } => Some(given == is),
        _ => None,
    };
    let needs = |_: Option<&Sample>| is.to_owned();
    let (satisfies, needs, value) = (&satisfies, &needs, &words::value);
    let leaf = Leaf { board, ask, wanted, signal, satisfies, needs, value };
    leaf.said(None)
}

struct Leaf<'a> {
    board: &'a Board<'a>,
    ask: Ask<'a>,
    wanted: &'a Condition,
    signal: &'static Signal,
    /// Whether a sample satisfies it; `None` when it cannot be compared.
    satisfies: &'a dyn Fn(&Sample) -> Option<bool>,
    /// What is needed, in the unit of the sample.
    needs: &'a dyn Fn(Option<&Sample>) -> String,
    /// What a sample gives, told so closely that it does not seem to be what is needed when it is not.
    value: &'a dyn Fn(&Sample) -> String,
}

/// The samples that count, beside what they were reduced to.
struct Trace<'a> {
    samples: Vec<&'a Sample>,
    readings: Vec<Reading>,
    /// The last sample that does not count, with the reason.
    set_aside: Option<(&'a Sample, &'static str)>,
}

impl Leaf<'_> {
    fn said(&self, place: Option<&str>) -> Said {
        let title = match place {
            Some(place) => format!("{} {place}", self.signal.title()),
            None => self.signal.title(),
        };
        let trace = self.trace(place);
        let precondition = self.ask.precondition;
        let demand = Demand {
            gap: TimeDelta::seconds(self.signal.allowed_gap.into()),
            max_age: precondition.max_age.map(|age| TimeDelta::seconds(age.into())),
            hold_for: TimeDelta::seconds(precondition.hold_for.into()),
        };
        let window = self.board.window;
        let standing = if self.ask.throughout {
            let from = window.running_from.unwrap_or(window.attempt_from);
            throughout(&trace.readings, &demand, from, window.now)
        } else {
            as_of(&trace.readings, &demand, window.now)
        };
        let mut said = self.told(&title, &trace, &demand, standing);
        said.accepts = self.accepts(place);
        self.refused(&title, &trace, &demand, said)
    }

    fn trace(&self, place: Option<&str>) -> Trace<'_> {
        let mut counted = Vec::new();
        let mut set_aside = None;
        for sample in self.board.series(self.signal.name, place) {
            let objection = self.board.objection(sample, self.ask.precondition.unverified_allowed);
            match (objection, (self.satisfies)(sample)) {
                (None, Some(satisfied)) => {
                    counted.push((sample, Reading { at: sample.taken_at, satisfied }));
                }
                (Some(why), _) => set_aside = Some((sample, why)),
                (None, None) => set_aside = Some((sample, "it cannot be compared")),
            }
        }
        // Of readings taken at one moment the one that does not satisfy has the last word.
        counted.sort_by_key(|(_, reading)| (reading.at, !reading.satisfied));
        let (samples, readings) = counted.into_iter().unzip();
        Trace { samples, readings, set_aside }
    }

    fn told(&self, title: &str, trace: &Trace, demand: &Demand, standing: Standing) -> Said {
        let latest = trace.samples.last().copied();
        let shown = latest.map(self.value).unwrap_or_default();
        let needs = (self.needs)(latest);
        let gap = words::seconds(demand.gap);
        let hold = words::seconds(demand.hold_for);
        let fresh = |said: Said| match latest {
            Some(latest) => {
                said.while_fresh(latest.taken_at, demand.freshness(self.ask.throughout))
            }
            None => said,
        };
        let said = match standing {
            Standing::Met { since } => {
                let ids = trace.samples[since..].iter().map(|sample| sample.id);
                let detail = format!("{title} is {shown}, needs {needs}");
                return fresh(Said::new(Verdict::Met, detail)).resting_on(ids);
            }
            Standing::Missing => {
                let detail = format!("{title} was not shown, needs {needs}");
                Said::new(Verdict::Missing, detail)
            }
            Standing::Violated { by } => {
                let sample = trace.samples[by];
                let (is, when) = if self.ask.throughout {
                    ("was", format!(" throughout, at {}", words::time(sample.taken_at)))
                } else {
                    ("is", String::new())
                };
                let (value, needs) = ((self.value)(sample), (self.needs)(Some(sample)));
                let detail = format!("{title} {is} {value}, needs {needs}{when}");
                return Said::new(Verdict::Violated, detail).resting_on([sample.id]);
            }
            Standing::Stale { limit } => {
                let age = latest.map(|sample| self.board.window.now - sample.taken_at);
                let age = words::seconds(age.unwrap_or_default());
                let limit = words::seconds(limit);
                Said::new(
                    Verdict::Stale,
                    format!("{title} was {shown} {age} ago, needs {needs} not older than {limit}"),
                )
            }
            Standing::Short { held, broken_by } => {
                let held_for = words::seconds(held);
                let wait = latest.and_then(|latest| {
                    let age = self.board.window.now - latest.taken_at;
                    let counted = if age <= demand.gap { held + age } else { TimeDelta::zero() };
                    words::wait(demand.hold_for - counted)
                });
                let start = format!("{title} has held {needs} for {held_for} of {hold}");
                let said = match broken_by.map(|at| trace.samples[at]) {
                    Some(broken) => {
                        let (value, at) = ((self.value)(broken), words::time(broken.taken_at));
                        let detail = format!("{start}, was {value} at {at}");
                        Said::new(Verdict::Violated, detail).resting_on([broken.id])
                    }
                    None => Said::new(
                        Verdict::Missing,
                        format!("{start}, needs readings at most {gap} apart"),
                    ),
                };
                fresh(Said { wait, ..said })
            }
            Standing::Hole { from, to } => Said::new(
                Verdict::Missing,
                format!(
                    "{title} is unknown between {} and {}, needs {needs} throughout with readings at most {gap} apart",
                    words::time(from),
                    words::time(to)
                ),
            ),
        };
        aside(said, latest, trace).resting_on(latest.map(|sample| sample.id))
    }

    /// A negative response that speaks of this violates it until it is read again.
    fn refused(&self, title: &str, trace: &Trace, demand: &Demand, mut said: Said) -> Said {
        let again = |refused: &Refused| {
            trace.samples.last().is_some_and(|last| last.taken_at > refused.sample.taken_at)
        };
        if let Some(by) = self.board.refusal(|nrc| refusal::names(nrc, self.wanted)) {
            let at = by.sample.taken_at;
            let refused = words::refused(by.service, by.nrc, at);
            let before = trace.readings.partition_point(|reading| reading.at <= at);
            let before = before.checked_sub(1).map(|index| (index, trace.readings[index]));
            let known = demand.max_age.map_or(demand.gap, |age| age.max(demand.gap));
            if let Some((index, _)) =
                before.filter(|(_, last)| last.satisfied && at - last.at <= known)
            {
                said.contradiction = Some(format!(
                    "the control module refused with {refused} although {title} read {}",
                    words::value(trace.samples[index])
                ));
            }
            if !again(&by) {
                return by_refusal(Verdict::Violated, &refused, by.sample, said);
            }
        }
        let steady = self.signal.allowed_gap >= STEADY;
        match self.board.refusal(refusal::leaves_unnamed) {
            Some(by) if said.verdict == Verdict::Met && !steady && !again(&by) => {
                let refused = words::refused(by.service, by.nrc, by.sample.taken_at);
                by_refusal(Verdict::Stale, &refused, by.sample, said)
            }
            _ => said,
        }
    }

    fn accepts(&self, place: Option<&str>) -> Vec<String> {
        let name = self.signal.name;
        let at = place.map(|place| format!(" at {place}")).unwrap_or_default();
        match (self.signal.values, self.wanted) {
            (Values::Number { unit, .. }, _) => {
                let units = Unit::of_code(unit).map(|unit| {
                    unit.dimension.units().map(|unit| unit.code).collect::<Vec<_>>().join(", ")
                });
                let reading =
                    format!("reading of {name}{at} in one of {}", units.unwrap_or_default());
                let frames = parameter::measuring(name)
                    .map(|parameter| format!("frame (obd) that begins 41 {:02X}", parameter.pid));
                std::iter::once(reading).chain(frames).collect()
            }
            (Values::Words(_), Condition::State { is, .. }) => {
                vec![format!("reading of {name}: {is}")]
            }
            (Values::Words(_), _) => Vec::new(),
        }
    }
}

fn by_refusal(verdict: Verdict, refused: &str, by: &Sample, said: Said) -> Said {
    let detail =
        format!("the control module refused with {refused}; {}; read it again", said.detail);
    let evidence = std::iter::once(by.id).chain(said.evidence.iter().copied()).collect();
    Said { verdict, detail, evidence, wait: None, changes_at: None, by_refusal: true, ..said }
}

/// Tells of a newer sample that does not count.
fn aside(mut said: Said, latest: Option<&Sample>, trace: &Trace) -> Said {
    let newer = trace
        .set_aside
        .filter(|(sample, _)| latest.is_none_or(|latest| sample.taken_at >= latest.taken_at));
    if let Some((sample, why)) = newer {
        let (value, at) = (words::value(sample), words::time(sample.taken_at));
        said.detail = format!("{}; {value} at {at} does not count: {why}", said.detail);
    }
    said
}

fn unit_of(kind: &Kind) -> Option<&str> {
    match kind {
        Kind::Number { unit, .. } => Some(unit),
        _ => None,
    }
}
