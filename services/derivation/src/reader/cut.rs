//! Cuts a sentence into pieces.

use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::piece::Joint;

/// Whether `and` joins two places or two parts.
fn stay_together(around: &[Item]) -> bool {
    let place = |item: &Item| matches!(item.what, What::Means(Meaning::Place(_)));
    match around {
        [before, _, after, ..] => {
            let part = |item: &Item| item.noun().is_some();
            let small = |item: &Item| item.means(Meaning::SmallPart);
            place(before) && place(after)
                || part(before) && (part(after) || small(after))
                || small(before) && part(after)
        }
        _ => false,
    }
}

/// Whether nothing but the place of the part before a mark comes after it: `brake pads (rear)`, `sensor, left, front`.
fn place_behind(before: &[Item], after: &[Item]) -> bool {
    let place = |item: &Item| matches!(item.what, What::Means(Meaning::Place(_)));
    let idle = |item: &Item| matches!(item.what, What::Comma | What::Means(Meaning::Filler));
    let behind = before.iter().rev().find(|item| !place(item) && !idle(item));
    let noun = before.iter().position(|item| item.noun().is_some());
    let first_place = before.iter().position(place);
    let cut = |item: &Item| {
        let meanings = [Meaning::Join, Meaning::Then, Meaning::Around];
        item.what == What::Comma || meanings.iter().any(|meaning| item.means(*meaning))
    };
    let mut run = after.split(cut);
    let run = run.next().unwrap_or_default();
    behind.is_some_and(|item| item.noun().is_some())
        && first_place.is_none_or(|place| noun.is_some_and(|noun| noun < place))
        && run.iter().any(place)
        && run.iter().all(|item| place(item) || idle(item))
}

/// Cuts a sentence at commas and joining words; places joined to each other stay together.
pub(super) fn pieces(items: &[Item]) -> Vec<(Joint, &[Item])> {
    let mut pieces = Vec::with_capacity(4);
    let (mut from, mut joint) = (0, Joint::Start);
    for (index, item) in items.iter().enumerate() {
        let next = match item.what {
            What::Comma if place_behind(&items[from..index], &items[index + 1..]) => continue,
            What::Comma => Joint::Comma,
            What::Means(Meaning::Then) => Joint::Then,
            What::Means(Meaning::Around) => Joint::Around,
            What::Means(Meaning::Join) if index > 0 && stay_together(&items[index - 1..]) => {
                continue;
            }
            What::Means(Meaning::Join) => Joint::And,
            _ => continue,
        };
        if index > from {
            pieces.push((joint, &items[from..index]));
            joint = next;
        } else if joint == Joint::Start && next == Joint::Around {
            // `Following the complaint, module reprogrammed`
            joint = next;
        } else if joint != Joint::Start {
            // Two marks in a row, `, and`: the looser one holds.
            joint = if joint == Joint::And { next } else { joint };
        }
        from = index + 1;
    }
    if items.len() > from {
        pieces.push((joint, &items[from..]));
    }
    pieces
}
