//! A part named again by one word of its name: `backup camera foggy, new cam`, `EPB motor burnt, replaced actuator`.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Meaning, Noun};
use crate::lexicon::phrases::WordId;
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

/// Gives such a word the meaning of the only part before it that is called so.
pub(super) fn name_again(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let mut named: Vec<(u16, Option<WordId>)> = Vec::new();
    for index in 0..items.len() {
        let noun = |noun: u16| &lexicon.nouns[usize::from(noun)];
        if let Some(again) = meant(lexicon, tokens, &named, items, index) {
            let aside = is_aside(text, tokens, &items[..index]);
            items[index].what =
                What::Means(if aside { Meaning::Filler } else { Meaning::Noun(again) });
        }
        let moves = |action: Option<(u16, bool)>| {
            action.is_some_and(|(action, _)| lexicon.usual.transfer == Some(action))
        };
        let moved = items[index].noun().filter(|_| {
            moves(items[index + 1..].iter().find_map(Item::action))
                || items[..index].last().is_some_and(|last| moves(last.action()))
        });
        if let Some(sitting) = moved.and_then(|moved| sitting_in(lexicon, moved, &named)) {
            items[index].what = What::Means(Meaning::Noun(sitting));
        }
        if let Some(part) = items[index].noun()
            && !named.iter().any(|(known, _)| noun(*known).component == noun(part).component)
        {
            named.push((part, tokens[items[index].to - 1].word));
        }
    }
}

/// Which of the parts named so far a word means.
fn meant(
    lexicon: &Lexicon,
    tokens: &[Token],
    named: &[(u16, Option<WordId>)],
    items: &[Item],
    index: usize,
) -> Option<u16> {
    let item = items[index];
    let before = weighty(&items[..index]);
    let beside = before.is_some_and(|before| {
        matches!(before.what, What::Unknown | What::Means(Meaning::Noun(_) | Meaning::SmallPart))
    });
    let part = item.noun().map(|noun| &lexicon.nouns[usize::from(noun)]);
    let fluid = part.is_some_and(|part| part.fluid);
    let open = part.map_or(item.what == What::Unknown, |part| {
        fluid || leaves_open(part) && part.means.is_empty()
    });
    if !open || beside || item.to != item.from + 1 {
        return None;
    }
    let word = tokens[item.from].word?;
    let mut called = named.iter().filter(|(known, last)| {
        let known = &lexicon.nouns[usize::from(*known)];
        // `gearbox oil black, new oil in`: of fluids only as it was called.
        known.heads.contains(&word)
            && !leaves_open(known)
            && (!fluid || known.fluid && *last == Some(word))
    });
    let (noun, _) = called.next()?;
    called.next().is_none().then_some(*noun)
}

/// The last item that says more than where or how many.
fn weighty(items: &[Item]) -> Option<&Item> {
    let idle = |item: &&Item| {
        matches!(item.what, What::Number | What::Means(Meaning::Filler | Meaning::Place(_)))
    };
    items.iter().rev().find(|item| !idle(item))
}

/// `sensors moved to new cover`, `refinish cover`: what it goes onto, or what asks for nothing.
fn is_aside(text: &str, tokens: &[Token], before: &[Item]) -> bool {
    weighty(before).is_some_and(|before| {
        matches!(before.what, What::Means(Meaning::Beside | Meaning::Nothing | Meaning::To))
    }) || goes_onto(text, tokens, before)
}

/// `windshield replaced, camera moved over`: of the parts of two axles the one that sits in what was named.
fn sitting_in(lexicon: &Lexicon, noun: u16, named: &[(u16, Option<WordId>)]) -> Option<u16> {
    let axles = lexicon.nouns[usize::from(noun)].by_axle.as_ref()?;
    let sits = |part: &Noun| {
        axles.contains(&part.component)
            && named.iter().any(|(known, _)| {
                part.sits_in.contains(&lexicon.nouns[usize::from(*known)].component)
            })
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
    let moved = before.last().filter(|item| item.action().is_some()).is_some_and(|item| {
        // `transferred to new`
        let words = text[tokens[item.from].from..tokens[item.to - 1].to].to_lowercase();
        words.split(' ').skip(1).any(|word| ["to", "onto", "from"].contains(&word))
    });
    moved
        || before.iter().rev().take_while(idle).any(|item| {
            let words = &text[tokens[item.from].from..tokens[item.to - 1].to];
            ["to", "onto", "into", "from", "over"]
                .iter()
                .any(|word| words.eq_ignore_ascii_case(word))
        })
}

/// Whether a name by itself says too little: `camera`, `belt`.
fn leaves_open(noun: &Noun) -> bool {
    !noun.asks.is_empty() || noun.aimed && noun.by_axle.is_some()
}
