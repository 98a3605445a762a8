//! `upgraded ECM software`: work on what a module holds is programming.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::Meaning;
use crate::reader::items::{Item, What};
use crate::reader::tokens::Token;

const SOFTWARE: &[&str] = &["software", "firmware"];

/// Gives the work on software beside a part its meaning.
pub(super) fn load(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let program = lexicon.actions.iter().position(|action| &*action.name == "program");
    let Some(program) = program.and_then(|index| u16::try_from(index).ok()) else { return };
    let ends =
        |item: &Item| matches!(item.what, What::Comma | What::Stop | What::Means(Meaning::Join));
    for run in items.split_mut(ends) {
        let software = run.iter().any(|item| {
            let token = tokens[item.from];
            let word = &text[token.from..token.to];
            item.to == item.from + 1
                && SOFTWARE.iter().any(|known| word.eq_ignore_ascii_case(known))
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
