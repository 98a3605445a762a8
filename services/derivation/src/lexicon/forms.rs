//! The forms of words: plurals, and what becomes of a verb.

use std::borrow::Cow;

/// A word without the ending of a plural or of the third person. Text and lexicon go through the same door, so it
/// only has to be even-handed, not right.
pub(crate) fn stem(word: &str) -> Cow<'_, str> {
    let keep = word.len() < 4
        || !word.is_ascii()
        || word.bytes().any(|byte| byte.is_ascii_digit())
        || ["ss", "us", "is"].iter().any(|ending| word.ends_with(ending));
    if keep {
        return Cow::Borrowed(word);
    }
    if let Some(head) = word.strip_suffix("ies").filter(|head| head.len() > 1) {
        return Cow::Owned(format!("{head}y"));
    }
    if let Some(head) = word.strip_suffix("es")
        && ["x", "ch", "sh", "ss", "z"].iter().any(|ending| head.ends_with(ending))
    {
        return Cow::Borrowed(head);
    }
    Cow::Borrowed(word.strip_suffix('s').unwrap_or(word))
}

/// A verb's phrase in all forms of its first word: `replace`, `replaced`, `replacing`.
fn of_verb(phrase: &str) -> Vec<String> {
    let (verb, rest) = phrase.split_once(' ').map_or((phrase, ""), |(verb, rest)| (verb, rest));
    let root = verb.strip_suffix('e').unwrap_or(verb);
    let mut forms = vec![verb.to_owned(), format!("{root}ed"), format!("{root}ing")];
    if let Some(head) = verb.strip_suffix('y') {
        forms.push(format!("{head}ied"));
    }
    if doubles(verb) {
        let last = &verb[verb.len() - 1..];
        forms.extend([format!("{verb}{last}ed"), format!("{verb}{last}ing")]);
    }
    if !rest.is_empty() {
        for form in &mut forms {
            *form = format!("{form} {rest}");
        }
    }
    forms
}

/// A verb's phrase in all its forms, written in one word and as `re-fit` is cut.
pub(super) fn in_all_writings(phrase: &str) -> Vec<String> {
    let mut forms = of_verb(phrase);
    if let Some(again) = phrase.strip_prefix("re").filter(|verb| verb.len() > 2) {
        forms.extend(of_verb(again).into_iter().map(|form| format!("re {form}")));
    }
    forms
}

/// Whether a verb ends in one consonant after one vowel and so doubles it: `unplug`, `program`, `refit`.
fn doubles(verb: &str) -> bool {
    let vowel = |byte: u8| b"aeiou".contains(&byte);
    match verb.as_bytes() {
        [.., before, middle, last] => {
            !vowel(*before) && vowel(*middle) && !vowel(*last) && !b"wxy".contains(last)
        }
        _ => false,
    }
}
