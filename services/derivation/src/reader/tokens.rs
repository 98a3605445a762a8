//! A line cut into words and the marks between them, each with its place in the text.

use crate::lexicon::phrases::{WordId, Words};

/// One word or mark.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Token {
    /// Bytes of the text from and to.
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) kind: Kind,
    /// The known word, as it stands or as it was probably meant.
    pub(crate) word: Option<WordId>,
    /// A letter was put right.
    pub(crate) corrected: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Word,
    /// Holds a digit: an amount, a part number, a trouble code.
    Number,
    /// `,` `:` `(` `)` or a dash between blanks.
    Comma,
    /// The end of a sentence or row.
    Stop,
}

/// Cuts a text; `most` bounds the number of tokens.
pub(crate) fn cut(words: &Words, text: &str, most: usize) -> Option<Vec<Token>> {
    let mut tokens: Vec<Token> = Vec::with_capacity(24);
    let mut buffer = String::with_capacity(24);
    let mut characters = text.char_indices().peekable();
    let mut before = ' ';
    while let Some((from, character)) = characters.next() {
        if tokens.len() >= most {
            return None;
        }
        let next = characters.peek().map_or(' ', |&(_, next)| next);
        let to = from + character.len_utf8();
        let mark = |kind, word| Token { from, to, kind, word, corrected: false };
        match character {
            _ if character.is_alphanumeric() => {
                buffer.clear();
                let mut to = from;
                let mut current = Some((from, character));
                while let Some((at, letter)) = current {
                    if !APOSTROPHES.contains(&letter) {
                        buffer.extend(letter.to_lowercase());
                    }
                    to = at + letter.len_utf8();
                    before = letter;
                    let ahead = text[to..].chars().nth(1).unwrap_or(' ');
                    current = characters.next_if(|&(_, next)| {
                        next.is_alphanumeric()
                            || APOSTROPHES.contains(&next) && ahead.is_alphanumeric()
                            || ".,/".contains(next)
                                && letter.is_ascii_digit()
                                && ahead.is_ascii_digit()
                    });
                }
                tokens.push(word(words, &buffer, from, to));
                continue;
            }
            '&' | '+' => tokens.push(mark(Kind::Word, words.id("and"))),
            '@' => tokens.push(mark(Kind::Word, words.id("at"))),
            '%' => tokens.push(mark(Kind::Word, words.id("percent"))),
            '/' => tokens.push(mark(Kind::Word, words.id("/"))),
            ';' | '\n' | '!' | '•' => tokens.push(mark(Kind::Stop, None)),
            // A question mark leaves open what the sentence says.
            '?' => tokens.push(mark(Kind::Word, words.id("maybe"))),
            // `renew 2 no. glow plugs`: pieces, no refusal.
            '.' if counts_pieces(&tokens, text) => {
                tokens.pop();
            }
            '.' if ends_sentence(words, &tokens, text, to) => tokens.push(mark(Kind::Stop, None)),
            // `2) brake fluid flush`: the number begins a row.
            ')' if numbers_a_row(&tokens, text) => {
                if let Some(last) = tokens.last_mut() {
                    *last = mark(Kind::Stop, None);
                }
            }
            ',' | ':' | '(' | ')' | '[' | ']' | '|' | '–' | '—' | '=' | '>' | '→' | '⇒' | '~' =>
            {
                tokens.push(mark(Kind::Comma, None));
            }
            '-' if before.is_whitespace() || next.is_whitespace() => {
                tokens.push(mark(Kind::Comma, None));
            }
            _ => {}
        }
        before = character;
    }
    Some(tokens)
}

const APOSTROPHES: [char; 3] = ['\'', '’', '´'];

fn word(words: &Words, lower: &str, from: usize, to: usize) -> Token {
    let digits = lower.bytes().any(|byte| byte.is_ascii_digit());
    let (mut word, mut corrected) = (words.id(lower), false);
    if word.is_none() && !digits {
        word = words.corrected(lower);
        corrected = word.is_some();
    }
    let kind = if digits { Kind::Number } else { Kind::Word };
    Token { from, to, kind, word, corrected }
}

/// `no` behind a number.
fn counts_pieces(tokens: &[Token], text: &str) -> bool {
    matches!(tokens, [.., number, last]
        if number.kind == Kind::Number && text[last.from..last.to].eq_ignore_ascii_case("no"))
}

/// One or two digits after a blank or at the beginning, right before a bracket that was not opened.
fn numbers_a_row(tokens: &[Token], text: &str) -> bool {
    tokens.last().is_some_and(|last| {
        let digits = &text[last.from..last.to];
        let before = text[..last.from].chars().next_back();
        digits.len() <= 2
            && digits.bytes().all(|byte| byte.is_ascii_digit())
            && before.is_none_or(char::is_whitespace)
            && !text[..last.from].rsplit(')').next().is_some_and(|open| open.contains('('))
    })
}

/// A full stop ends a sentence, except within a word and after a short form (`repl. throttle body`).
fn ends_sentence(words: &Words, tokens: &[Token], text: &str, to: usize) -> bool {
    let rest = &text[to..];
    if rest.chars().next().is_some_and(char::is_alphanumeric) {
        return false;
    }
    let Some(last) = tokens.last() else { return false };
    // `found faulty EGR vlv. Replaced it.`
    let next = rest.split_whitespace().next().unwrap_or_default();
    let begins = next.starts_with(char::is_uppercase) && next.ends_with("ed");
    // `Reprogram trans ctrl mod. Fluid service declined`: not after an action or a place.
    let names = last.word.is_some_and(|word| words.alone(word).is_none());
    let fresh = next.starts_with(char::is_uppercase) && next.ends_with(char::is_lowercase);
    // `sensor failed, replcd. DEF injector refitted`: what was done ends it.
    let done = text[last.from..last.to].to_lowercase().ends_with('d')
        && next.starts_with(char::is_uppercase);
    begins
        || names && fresh
        || done
        || !(last.kind == Kind::Word && words.is_short(&text[last.from..last.to].to_lowercase()))
}
