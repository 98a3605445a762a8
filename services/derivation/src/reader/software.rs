//! `upgraded ECM software`: work on what a module holds is programming.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

/// Gives the work on software beside a part its meaning.
pub(super) fn load(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let Some(program) = lexicon.usual.program else { return };
    let ends =
        |item: &Item| matches!(item.what, What::Comma | What::Stop | What::Means(Meaning::Join));
    for run in items.split_mut(ends) {
        let software = run.iter().any(|item| {
            let word = tokens[item.from].word;
            item.to == item.from + 1 && word.is_some_and(|word| lexicon.is_software(word))
        });
        if !software || !run.iter().any(|item| item.noun().is_some()) {
            continue;
        }
        for item in run {
            let fits = item.action().is_some_and(|(action, _)| {
                let action = &lexicon.actions[usize::from(action)];
                matches!(action.gives.as_deref(), Some("replace" | "remove_install"))
            });
            let upgraded = item.means(Meaning::NewPart)
                && text[tokens[item.from].from..tokens[item.from].to]
                    .to_lowercase()
                    .ends_with("ed");
            if fits || upgraded {
                item.what = What::Means(Meaning::Action(program));
            }
        }
    }
}
