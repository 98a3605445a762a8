//! What an action on a part stands for.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Action, Axle, Half, Noun, Outcome, Place, Side};
use crate::reader::piece::{Done, Named};

/// An operation, and whether it is plain.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Read<'l> {
    pub(crate) action: &'l str,
    pub(crate) component: &'l str,
    pub(crate) place: Option<&'l str>,
    pub(crate) sure: bool,
}

/// What is read from one action on one part.
#[derive(Debug, Default)]
pub(crate) struct Outcomes<'l> {
    pub(crate) reads: Vec<Read<'l>>,
    /// Why somebody has to be asked.
    pub(crate) doubt: Option<&'static str>,
    /// It asks for nothing.
    pub(crate) nothing: bool,
}

impl Outcomes<'_> {
    fn nothing() -> Self {
        Self { nothing: true, ..Self::default() }
    }

    fn doubt(mut self, why: &'static str) -> Self {
        self.doubt = Some(why);
        for read in &mut self.reads {
            read.sure = false;
        }
        self
    }
}

/// The components that a part is, each with the place on it. `None`: the axle is not said.
pub(crate) fn components<'l>(
    noun: &'l Noun,
    part: &Named,
) -> Option<Vec<(&'l str, Option<&'static str>)>> {
    let Some([front, rear]) = &noun.by_axle else {
        let mut places: Vec<Option<&'static str>> =
            part.places.iter().map(|place| name(*place)).collect();
        if noun.single {
            places.clear();
        }
        if places.is_empty() {
            places.push(None);
        }
        let components = [Some(&noun.component), noun.also.as_ref()];
        return Some(
            components
                .into_iter()
                .flatten()
                .flat_map(|component| places.iter().map(move |place| (&**component, *place)))
                .collect(),
        );
    };
    let mut found: Vec<(&str, Option<&'static str>)> = Vec::new();
    for place in &part.places {
        let place_on_it = name(*place).filter(|_| place.side.is_some() || place.either);
        if noun.aimed && place.side.is_some() {
            // `LF radar`: that of a corner, or the one in front.
            return None;
        }
        match place.axle {
            Some(Axle::Front) => found.push((front, place_on_it)),
            Some(Axle::Rear) => found.push((rear, place_on_it)),
            None if noun.otherwise.is_some() => {
                found.push((noun.otherwise.as_deref().unwrap_or_default(), name(*place)));
            }
            None => return None,
        }
    }
    if part.all && found.is_empty() {
        found = vec![(front, None), (rear, None)];
    }
    if let Some(otherwise) = noun.otherwise.as_deref().filter(|_| found.is_empty()) {
        found.push((otherwise, None));
    }
    (!found.is_empty()).then_some(found)
}

/// The catalogue's word for a place.
pub(crate) fn name(place: Place) -> Option<&'static str> {
    Some(match (place.axle, place.side) {
        (None, None) => return None,
        (Some(Axle::Front), None) => "front",
        (Some(Axle::Rear), None) if place.either => "rear_right",
        (Some(Axle::Rear), None | Some(Side::Driver | Side::Passenger)) => "rear",
        (None, Some(Side::Left)) => "left",
        (None, Some(Side::Right)) => "right",
        (None | Some(Axle::Front), Some(Side::Driver)) => "driver_side",
        (None | Some(Axle::Front), Some(Side::Passenger)) => "passenger_side",
        (Some(Axle::Front), Some(Side::Left)) => "front_left",
        (Some(Axle::Front), Some(Side::Right)) => "front_right",
        (Some(Axle::Rear), Some(Side::Left)) => "rear_left",
        (Some(Axle::Rear), Some(Side::Right)) => "rear_right",
    })
}

/// Actions that are plain on every part.
const PLAIN: &[&str] =
    &["replace", "remove_install", "repair", "disconnect", "clean", "adjust", "inspect"];

pub(crate) fn resolve<'l>(
    lexicon: &'l Lexicon,
    done: &Done,
    part: &Named,
    same_part: bool,
) -> Outcomes<'l> {
    let action = &lexicon.actions[usize::from(done.action)];
    let noun = &lexicon.nouns[usize::from(part.noun)];
    if action.looks {
        return Outcomes::nothing();
    }
    match noun
        .means
        .get(&action.name)
        .or_else(|| {
            let gives = action.gives.as_ref().filter(|_| !action.fluids_only);
            gives.and_then(|gives| noun.means.get(gives))
        })
        .filter(|outcome| !part.compound || !matches!(outcome, Outcome::Nothing))
    {
        Some(Outcome::Nothing) => return Outcomes::nothing(),
        Some(Outcome::NothingKnown) => {
            return Outcomes::default().doubt("what this action means here is not known");
        }
        Some(Outcome::Operation(action, component)) => {
            let read = Read { action, component, place: None, sure: true };
            return Outcomes { reads: vec![read], ..Outcomes::default() };
        }
        None => {}
    }
    if noun.nothing && !part.compound {
        return Outcomes::nothing();
    }
    if !(noun.asks.is_empty() || noun.placed && !part.places.is_empty()) {
        let reads = noun.asks.iter().map(|(action, component)| Read {
            action,
            component,
            place: None,
            sure: false,
        });
        return Outcomes { reads: reads.collect(), ..Outcomes::default() }
            .doubt("it can mean several operations");
    }
    plain(done, action, noun, part, same_part)
}

fn plain<'l>(
    done: &Done,
    action: &'l Action,
    noun: &'l Noun,
    part: &Named,
    same_part: bool,
) -> Outcomes<'l> {
    let gives: Vec<&str> = match &action.gives {
        Some(_) if noun.fluid && wets(action) => vec!["refill"],
        Some(gives) => match &action.elsewhere {
            Some(elsewhere) if !noun.takes.contains(gives) => vec![elsewhere],
            _ => vec![gives],
        },
        None => action.asks.iter().map(|name| &**name).collect(),
    };
    let both_axles = || {
        let names = noun.by_axle.iter().flatten();
        names.map(|name| (&**name, None)).collect::<Vec<_>>()
    };
    let components = components(noun, part);
    let axle_said = components.is_some();
    let components = components.unwrap_or_else(both_axles);
    let reads = gives.iter().flat_map(|action| {
        components.iter().map(|(component, place)| Read {
            action,
            component,
            place: *place,
            sure: true,
        })
    });
    let outcomes = Outcomes { reads: reads.collect(), ..Outcomes::default() };
    let elsewhere = action.gives.as_ref().is_some_and(|gives| {
        action.elsewhere.is_some()
            && !noun.takes.contains(gives)
            && !part.said_with(done)
            && !noun.aimed
    });
    let takes = !elsewhere
        && gives.iter().all(|name| {
            PLAIN.contains(name) && !noun.fluid
                || noun.takes.iter().any(|taken| **taken == **name)
                || noun.fluid && *name == "refill"
        });
    let only_elsewhere = !action.only_on.is_empty() && !action.only_on.contains(&part.noun)
        || !noun.only.is_empty()
            && !gives.iter().all(|name| noun.only.iter().any(|only| **only == **name));
    if part.compound {
        outcomes.doubt("a small part of it is named")
    } else if !axle_said {
        outcomes.doubt("front or rear is not said")
    } else if action.gives.is_none() {
        outcomes.doubt("the procedure is named, not the work that asks for it")
    } else if !takes || only_elsewhere || action.doubted || action.fluids_only && !noun.fluid {
        outcomes.doubt("this action on this part is unusual")
    } else if same_part && gives == ["replace"] {
        outcomes.doubt("the same part is said to go back")
    } else {
        outcomes
    }
}

/// Whether an action on a fluid exchanges it.
fn wets(action: &Action) -> bool {
    action.gives.as_deref().is_some_and(|gives| gives == "replace" || gives == "refill")
        && action.half != Some(Half::Out)
}
