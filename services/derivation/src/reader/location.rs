//! What only says where something is or goes: `sensor behind bumper`, `shocks behind`, `coded into ECM`.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Axle, Half, Meaning, Place};
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

/// `shift actuator on gearbox`: behind another part, a word like `on` makes a part the place of that one.
pub(super) fn locate(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    const WHERE: &[&str] = &[
        "on",
        "at",
        "behind",
        "under",
        "near",
        "above",
        "below",
        "beside",
        "downstream",
        "upstream",
        "inside",
        "beneath",
    ];
    for index in 2..items.len() {
        if items[index].noun().is_none() {
            continue;
        }
        let idle =
            |item: &&Item| matches!(item.what, What::Means(Meaning::Filler | Meaning::Place(_)));
        let says = |item: &Item| {
            let words = &text[tokens[item.from].from..tokens[item.to - 1].to];
            WHERE.iter().any(|word| words.eq_ignore_ascii_case(word))
        };
        let before = &items[..index];
        let Some(at) = before.iter().rposition(says) else { continue };
        let near = items[at..index].iter().all(|item| idle(&item));
        // `camera, multifunction, behind windshield`: such a word right behind the mark says where as well.
        let mark = usize::from(at > 0 && before[at - 1].what == What::Comma);
        let part = before[..at - mark]
            .iter()
            .rev()
            .take_while(|item| {
                !matches!(item.what, What::Comma | What::Stop | What::Means(Meaning::Join))
            })
            .find_map(Item::noun);
        let whole = part.is_some_and(|part| lexicon.nouns[usize::from(part)].any.is_none());
        if near && whole && items[at].means(Meaning::Filler) {
            items[index].what = What::Means(Meaning::Filler);
        }
    }
}

/// `shock absorbers behind changed`: without anything behind which it could be, it is the rear axle.
pub(super) fn name_the_rear(text: &str, tokens: &[Token], items: &mut [Item]) {
    let rear = Place { axle: Some(Axle::Rear), side: None, either: false };
    for index in 1..items.len() {
        let item = items[index];
        if !item.means(Meaning::Filler) || items[index - 1].noun().is_none() {
            continue;
        }
        let place = |item: &&Item| matches!(item.what, What::Means(Meaning::Place(_)));
        let placed = items[index + 1..].iter().take_while(place).count();
        let alone = items.get(index + 1 + placed).is_none_or(|next| match next.what {
            What::Comma | What::Stop | What::Means(Meaning::State) => true,
            What::Means(Meaning::Noun(_) | Meaning::SmallPart) | What::Unknown => false,
            _ => placed > 0 || next.action().is_some(),
        });
        let word = &text[tokens[item.from].from..tokens[item.to - 1].to];
        if alone && word.eq_ignore_ascii_case("behind") {
            items[index].what = What::Means(Meaning::Place(rear));
        }
    }
}

/// `pads 6 mm left`: what is left of it, not where it sits.
pub(super) fn measure(text: &str, tokens: &[Token], items: &mut [Item]) {
    const UNITS: &[&str] = &["mm", "%", "percent", "/32", "32nds", "miles", "km"];
    for index in 1..items.len() {
        let words =
            |item: Item| text[tokens[item.from].from..tokens[item.to - 1].to].to_lowercase();
        let measured = UNITS.iter().any(|unit| words(items[index - 1]).ends_with(unit));
        if measured && words(items[index]) == "left" {
            items[index].what = What::Means(Meaning::State);
        }
    }
}

/// `injector coded in ECM`, `glass reattached to regulator`: what something goes into or onto is no part of the job.
pub(super) fn write_into(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let ends = |item: &Item| matches!(item.what, What::Comma | What::Stop);
    for run in items.split_mut(ends) {
        let writes = |item: &Item| {
            let action = item.action().map(|(action, _)| &lexicon.actions[usize::from(action)]);
            action.is_some_and(|action| {
                action.gives.as_deref() == Some("program")
                    || matches!(action.half, Some(Half::In | Half::Back))
            })
        };
        let Some(at) = run.iter().position(writes) else { continue };
        let into = run.get(at + 1).is_some_and(|item| {
            let word = &text[tokens[item.from].from..tokens[item.to - 1].to];
            ["in", "into", "to", "onto", "in the", "to the"]
                .iter()
                .any(|known| word.eq_ignore_ascii_case(known))
        });
        let part = run.iter().position(|item| item.noun().is_some()).is_some_and(|part| part < at);
        let behind = run[at + 1..].iter().skip(1).position(|item| !item.means(Meaning::Filler));
        let whole =
            behind.map(|behind| at + 2 + behind).filter(|whole| run[*whole].noun().is_some());
        if let Some(whole) = whole.filter(|_| into) {
            let what = if part { Meaning::Filler } else { Meaning::SmallPart };
            run[whole].what = What::Means(what);
        }
    }
}
