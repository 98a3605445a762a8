//! Texts that stay inside their box.

/// The text, cut and ended by an ellipsis if it would be wider than `width` at this size of type
/// (both in pixels); nothing where not even two characters fit.
pub(super) fn fit(text: &str, width: f64, size: f64) -> String {
    let text = text.trim();
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let room = width - text_width("\u{2026}", size);
    let mut used = 0.0;
    let kept: String = text
        .chars()
        .take_while(|&c| {
            used += advance(c) * size;
            used <= room
        })
        .collect();
    let kept = kept.trim_end();
    if kept.chars().count() < 2 { String::new() } else { format!("{kept}\u{2026}") }
}

/// How wide a text is, on the safe side.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(advance).sum::<f64>() * size
}

/// Advance width in em, about that of the usual sans-serif types in bold.
fn advance(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' => 0.28,
        'f' | 't' | 'r' | ' ' | '(' | ')' | '-' | '/' => 0.35,
        'm' | 'w' | 'M' | 'W' | '@' | '%' | '\u{2026}' => 0.9,
        'A'..='Z' => 0.7,
        '\u{0}'..='\u{2e7f}' => 0.56,
        _ => 1.0,
    }
}
