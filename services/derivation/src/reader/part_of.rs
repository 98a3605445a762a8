//! `radiator mounts`, `bracket on radiator`: what another word makes of a part beside it.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

/// Between a thing and the part that it belongs to.
const BELONGS: &[&str] =
    &["of", "on", "at", "in", "inside", "from", "to", "onto", "off", "behind", "under"];

/// Makes small parts of words that name a thing of the part beside them, also where they tell something else elsewhere.
pub(super) fn name(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let ends = |item: &Item| match item.what {
        What::Comma => text[tokens[item.from].from..tokens[item.from].to] != *":",
        What::Stop => true,
        _ => [Meaning::Join, Meaning::Then, Meaning::Around, Meaning::Purpose]
            .iter()
            .any(|meaning| item.means(*meaning)),
    };
    for run in items.split_mut(ends) {
        if run.len() > 1 && run.iter().any(|item| item.noun().is_some()) {
            name_behind(lexicon, text, tokens, run);
            name_before(lexicon, text, tokens, run);
        }
    }
}

fn is_thing(lexicon: &Lexicon, tokens: &[Token], item: Item) -> bool {
    item.to == item.from + 1
        && item.noun().is_none()
        && tokens[item.from].word.is_some_and(|word| lexicon.makes_another(word))
}

/// `caliper bleeder`
fn name_behind(lexicon: &Lexicon, text: &str, tokens: &[Token], run: &mut [Item]) {
    let acted = run.iter().any(|item| item.action().is_some());
    for index in 1..run.len() {
        let Some(whole) = run[index - 1].noun().filter(|_| is_thing(lexicon, tokens, run[index]))
        else {
            continue;
        };
        // A nail or plug in a tire tells what is done with the tire itself; `window motor door RF` where that is.
        let whole = &lexicon.nouns[usize::from(whole)];
        let word = &text[tokens[run[index].from].from..tokens[run[index].from].to];
        let sits = whole.sits_in.iter().any(|place| place.eq_ignore_ascii_case(word));
        let other = *whole.component != *"tire" && !sits;
        // `alternator diode bad` tells what is wrong, `replace alternator diode` does not.
        let told = run[index].means(Meaning::State) && !acted;
        if other && !told {
            run[index].what = What::Means(Meaning::SmallPart);
        }
    }
}

/// `replace yoke on transmission`: a word that nobody knows between the action and what it belongs to.
fn name_before(lexicon: &Lexicon, text: &str, tokens: &[Token], run: &mut [Item]) {
    let first = run.iter().position(|item| item.noun().is_some());
    let Some(first) = first.filter(|_| run.iter().any(|item| item.action().is_some())) else {
        return;
    };
    let belongs = |item: &Item| {
        let words = text[tokens[item.from].from..tokens[item.to - 1].to].split(' ');
        let mut words = words.filter(|word| !word.eq_ignore_ascii_case("the"));
        words
            .next_back()
            .is_some_and(|word| BELONGS.iter().any(|known| word.eq_ignore_ascii_case(known)))
    };
    let idle = |item: &Item| {
        matches!(item.what, What::Means(Meaning::Filler | Meaning::To | Meaning::Place(_)))
    };
    let between = run[..first]
        .iter()
        .rev()
        .take_while(|item| idle(item) && !is_thing(lexicon, tokens, **item));
    let between = between.count();
    let Some(thing) = (first - between).checked_sub(1) else { return };
    let named = run[thing].what == What::Unknown
        || run[thing].means(Meaning::Beside)
        || is_thing(lexicon, tokens, run[thing]);
    if named && run[thing + 1..first].iter().any(belongs) {
        run[thing].what = What::Means(Meaning::SmallPart);
    }
}
