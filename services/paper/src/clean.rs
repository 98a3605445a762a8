//! Characters that have no place on paper.

/// Replaces control characters, what XML 1.0 forbids, and the marks that turn the direction of
/// what follows (a text could pose as another) by U+FFFD. Line feeds and tabs stay.
pub(crate) fn clean(text: &str) -> String {
    text.chars().map(|c| if fit(c) { c } else { char::REPLACEMENT_CHARACTER }).collect()
}

fn fit(c: char) -> bool {
    match c {
        '\n' | '\t' => true,
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => false,
        _ => !c.is_control(),
    }
}
