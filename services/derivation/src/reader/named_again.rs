//! A part named again by one word of its name: `backup camera foggy, new cam`, `EPB motor burnt, replaced actuator`.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Meaning, Noun};
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

/// Gives such a word the meaning of the only part before it that is called so.
pub(super) fn name_again(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let mut named: Vec<u16> = Vec::new();
    for index in 0..items.len() {
        let item = items[index];
        let idle = |before: &&Item| {
            matches!(before.what, What::Number | What::Means(Meaning::Filler | Meaning::Place(_)))
        };
        let before = items[..index].iter().rev().find(|before| !idle(before));
        let beside = before.is_some_and(|before| {
            matches!(
                before.what,
                What::Unknown | What::Means(Meaning::Noun(_) | Meaning::SmallPart)
            )
        });
        // `sensors moved to new cover`, `refinish cover`: what it goes onto, or what asks for nothing.
        let aside = before.is_some_and(|before| {
            matches!(before.what, What::Means(Meaning::Beside | Meaning::Nothing | Meaning::To))
        }) || goes_onto(text, tokens, &items[..index]);
        let open = match item.what {
            What::Unknown => true,
            What::Means(Meaning::Noun(noun)) => {
                let noun = &lexicon.nouns[usize::from(noun)];
                leaves_open(noun) && noun.means.is_empty()
            }
            _ => false,
        };
        if open && !beside && item.to == item.from + 1 {
            let word = tokens[item.from].word;
            let called = |noun: &&u16| {
                let noun = &lexicon.nouns[usize::from(**noun)];
                word.is_some_and(|word| noun.heads.contains(&word)) && !leaves_open(noun)
            };
            let mut called = named.iter().filter(called);
            if let (Some(&noun), None) = (called.next(), called.next()) {
                let meaning = if aside { Meaning::Filler } else { Meaning::Noun(noun) };
                items[index].what = What::Means(meaning);
            }
        }
        let next = items[index + 1..].iter().find_map(Item::action);
        let moves = next
            .is_some_and(|(action, _)| *lexicon.actions[usize::from(action)].name == *"transfer");
        let noun = items[index].noun().filter(|_| moves);
        if let Some(noun) = noun.and_then(|noun| sitting_in(lexicon, noun, &named)) {
            items[index].what = What::Means(Meaning::Noun(noun));
        }
        if let Some(noun) = items[index].noun() {
            let component = |noun: u16| &lexicon.nouns[usize::from(noun)].component;
            if !named.iter().any(|known| component(*known) == component(noun)) {
                named.push(noun);
            }
        }
    }
}

/// `windshield replaced, camera moved over`: of the parts of two axles the one that sits in what was named.
fn sitting_in(lexicon: &Lexicon, noun: u16, named: &[u16]) -> Option<u16> {
    let axles = lexicon.nouns[usize::from(noun)].by_axle.as_ref()?;
    let sits = |part: &Noun| {
        axles.contains(&part.component)
            && named
                .iter()
                .any(|known| part.sits_in.contains(&lexicon.nouns[usize::from(*known)].component))
    };
    let mut found = (0u16..).zip(&lexicon.nouns).filter(|(_, part)| part.aimed && sits(part));
    let (index, _) = found.next()?;
    found.next().is_none().then_some(index)
}

/// Whether the words right before say where something goes: `to new`, `onto`, `off old`.
fn goes_onto(text: &str, tokens: &[Token], before: &[Item]) -> bool {
    let idle = |item: &&Item| {
        let meanings = [Meaning::Filler, Meaning::NewPart, Meaning::SamePart, Meaning::To];
        meanings.iter().any(|meaning| item.means(*meaning))
    };
    before.iter().rev().take_while(idle).any(|item| {
        let words = &text[tokens[item.from].from..tokens[item.to - 1].to];
        ["to", "onto", "into", "from", "over"].iter().any(|word| words.eq_ignore_ascii_case(word))
    })
}

/// Whether a name by itself says too little: `camera`, `belt`.
fn leaves_open(noun: &Noun) -> bool {
    !noun.asks.is_empty() || noun.aimed && noun.by_axle.is_some()
}

/// `shift actuator on gearbox`: behind another part, a word like `on` makes a part the place of that one.
pub(super) fn locate(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    const WHERE: &[&str] = &["on", "at", "behind", "under", "near", "above", "below", "beside"];
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
        let part = before[..at]
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
