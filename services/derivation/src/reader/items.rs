//! What the words of a line mean: the longest known phrase at each place.

use crate::lexicon::Lexicon;
use crate::lexicon::kinds::{Half, Meaning};
use crate::reader::location;
use crate::reader::named_again;
use crate::reader::own::OwnPhrases;
use crate::reader::part_of;
use crate::reader::software;
use crate::reader::tokens::{Kind, Token};

/// A phrase, word or mark of the line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Item {
    pub(crate) what: What,
    /// Tokens from and to (exclusive).
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) corrected: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum What {
    Means(Meaning),
    /// One of the shop's own phrases, by its index.
    Own(usize),
    Number,
    Unknown,
    Comma,
    Stop,
}

impl Item {
    pub(crate) fn means(&self, meaning: Meaning) -> bool {
        self.what == What::Means(meaning)
    }

    /// The index of the action, and whether it is a weak one.
    pub(crate) fn action(&self) -> Option<(u16, bool)> {
        match self.what {
            What::Means(Meaning::Action(index)) => Some((index, false)),
            What::Means(Meaning::WeakAction(index)) => Some((index, true)),
            _ => None,
        }
    }

    pub(crate) fn noun(&self) -> Option<u16> {
        match self.what {
            What::Means(Meaning::Noun(index)) => Some(index),
            _ => None,
        }
    }
}

/// `park sensors (4) rear bumper`: how many does not part what stands around it.
fn is_count_in_brackets(text: &str, tokens: &[Token]) -> bool {
    let word = |token: &Token| &text[token.from..token.to];
    matches!(tokens, [open, number, close, ..]
        if word(open) == "(" && word(close) == ")" && word(number).bytes().all(|b| b.is_ascii_digit()))
}

pub(crate) fn recognise(
    lexicon: &Lexicon,
    own: &OwnPhrases,
    text: &str,
    tokens: &[Token],
) -> Vec<Item> {
    let mut items = Vec::with_capacity(tokens.len());
    let mut from = 0;
    while from < tokens.len() {
        if is_count_in_brackets(text, &tokens[from..]) {
            from += 3;
            continue;
        }
        let (what, length) = if let Some((index, length)) = own.longest(text, &tokens[from..]) {
            (What::Own(index), length)
        } else if begins_a_row(&items)
            && let Some(to) = turned(lexicon, tokens, from, &mut items)
        {
            from = to;
            continue;
        } else {
            let words = tokens[from..].iter().map(|token| token.word);
            let known = lexicon.phrases.longest(words);
            let length = known.map_or(0, |(_, length)| length);
            if let Some((meaning, to)) = meant(lexicon, text, &tokens[from..], length) {
                let to = from + to;
                items.push(Item { what: What::Means(meaning), from, to, corrected: true });
                from = to;
                continue;
            }
            match known {
                // `Do not program keys` tells what to leave, `modules do not program` what is wrong.
                Some((Meaning::State, length))
                    if length > 1 && bids(text, tokens, from, &items) =>
                {
                    let words = tokens[from..from + length - 1].iter().map(|token| token.word);
                    let first = lexicon.phrases.longest(words);
                    first.map_or((What::Unknown, 1), |(first, length)| (What::Means(first), length))
                }
                // `front axle shaft`, `rear window motor`: a place gives way to the name of a part that begins within it.
                Some((meaning @ (Meaning::Place(_) | Meaning::SmallPart), length))
                    if length > 1 && part_begins_within(lexicon, &tokens[from..], length) =>
                {
                    let first = lexicon.phrases.longest(std::iter::once(tokens[from].word));
                    (What::Means(first.map_or(meaning, |(first, _)| first)), 1)
                }
                Some((meaning, length)) => {
                    // `Update software on-board charger`: a phrase leaves its last word to the name of a part.
                    let shorter = shortened(lexicon, &tokens[from..], meaning, length);
                    let (meaning, length) = shorter.unwrap_or((meaning, length));
                    (What::Means(meaning), length)
                }
                None if measured(text, tokens[from]) => (What::Means(Meaning::State), 1),
                None if is_name(text, tokens, &items, from) => (What::Means(Meaning::Filler), 1),
                None if numbered(text, tokens[from]) => (What::Number, 1),
                None => (alone(tokens[from]), 1),
            }
        };
        let to = from + length;
        let corrected = tokens[from..to].iter().any(|token| token.corrected);
        items.push(Item { what, from, to, corrected });
        from = to;
    }
    // `to` begins a job where an action follows: `R&I bumper cover to replace radar`.
    for index in 1..items.len() {
        if items[index].action().is_some() && items[index - 1].means(Meaning::To) {
            items[index - 1].what = What::Means(Meaning::Then);
        }
    }
    named_again::name_again(lexicon, text, tokens, &mut items);
    location::locate(lexicon, text, tokens, &mut items);
    location::name_the_rear(text, tokens, &mut items);
    location::measure(text, tokens, &mut items);
    location::write_into(lexicon, text, tokens, &mut items);
    describe(lexicon, text, tokens, &mut items);
    put_in(lexicon, text, tokens, &mut items);
    clean_between(lexicon, text, tokens, &mut items);
    take_off(lexicon, text, tokens, &mut items);
    software::load(lexicon, text, tokens, &mut items);
    part_of::name(lexicon, text, tokens, &mut items);
    items
}

/// Whether the name of a part begins behind the first word of a phrase and ends after it.
fn part_begins_within(lexicon: &Lexicon, tokens: &[Token], length: usize) -> bool {
    (1..length).any(|start| {
        let behind = lexicon.phrases.longest(tokens[start..].iter().map(|token| token.word));
        matches!(behind, Some((Meaning::Noun(_), words)) if start + words > length)
    })
}

/// The phrase of an action without its last word, where the name of a part begins with that.
fn shortened(
    lexicon: &Lexicon,
    tokens: &[Token],
    meaning: Meaning,
    length: usize,
) -> Option<(Meaning, usize)> {
    let action = matches!(meaning, Meaning::Action(_) | Meaning::WeakAction(_));
    let last = length.checked_sub(1).filter(|last| action && *last > 0)?;
    let behind = lexicon.phrases.longest(tokens[last..].iter().map(|token| token.word));
    let part = matches!(behind, Some((Meaning::Noun(_), words)) if words > 1);
    let shorter = lexicon.phrases.longest(tokens[..last].iter().map(|token| token.word))?;
    (part && shorter.1 == last && shorter.0 == meaning).then_some(shorter)
}

/// A phrase of several words of which one is mistyped, where all words that may be meant say the same: `ride hight
/// sensor`. Longer than what is known without it.
fn meant(
    lexicon: &Lexicon,
    text: &str,
    tokens: &[Token],
    known: usize,
) -> Option<(Meaning, usize)> {
    let run = tokens.iter().take(5).take_while(|token| token.kind == Kind::Word);
    let wrong = run.clone().position(|token| token.word.is_none())?;
    let far = wrong > known && wrong > 2;
    let beside = if wrong == 0 {
        tokens.get(1).is_some_and(|next| next.word.is_some())
    } else {
        lexicon.phrases.begin_with(tokens[..wrong].iter().map(|token| token.word))
    };
    if far || !beside || run.count() < 2 {
        return None;
    }
    let token = tokens[wrong];
    let near = lexicon.words.near(&text[token.from..token.to].to_lowercase());
    // `rear camer`: a part by itself may be meant as well.
    let part = |id: &u32| matches!(lexicon.words.alone(*id), Some(Meaning::Noun(_)));
    let ambiguous = |chosen: u32| near.iter().any(|id| *id != chosen && part(id));
    let mut best: Option<(Meaning, usize)> = None;
    for &candidate in &near {
        let words = tokens
            .iter()
            .enumerate()
            .map(|(index, token)| if index == wrong { Some(candidate) } else { token.word });
        let Some((meaning, length)) = lexicon.phrases.longest(words) else { continue };
        let covers = length > wrong && length > 1 && length > known;
        if !covers || !matches!(meaning, Meaning::Noun(_) | Meaning::Action(_)) {
            continue;
        }
        match best {
            _ if ambiguous(candidate) => return None,
            Some((other, _)) if other != meaning => return None,
            Some((_, longest)) if longest >= length => {}
            _ => best = Some((meaning, length)),
        }
    }
    best
}

/// Whether a phrase begins a sentence as an order not to do something.
fn bids(text: &str, tokens: &[Token], from: usize, items: &[Item]) -> bool {
    let word = |at: usize| tokens.get(at).map(|token| &text[token.from..token.to]);
    let is = |at: usize, known: &str| word(at).is_some_and(|word| word.eq_ignore_ascii_case(known));
    begins_a_row(items)
        && (is(from, "do") && is(from + 1, "not") || is(from, "dont") || is(from, "don't"))
}

/// Letters within a part number or the number of a bulletin: `8821-HS`, `21-B-0417`.
fn numbered(text: &str, token: Token) -> bool {
    // `(M)`: how the labour is counted.
    let single = token.to - token.from == 1;
    let digit = |letter: Option<char>| letter.is_some_and(|letter| letter.is_ascii_digit());
    let mut before = text[..token.from].chars().rev();
    let mut after = text[token.to..].chars();
    token.kind == Kind::Word
        && token.to - token.from <= 3
        && (single
            || before.next() == Some('-') && digit(before.next())
            || after.next() == Some('-') && digit(after.next()))
}

/// What was measured on a part: `4mm`, `65psi`, `5/32`.
fn measured(text: &str, token: Token) -> bool {
    let word = &text[token.from..token.to];
    let unit =
        word.trim_start_matches(|letter: char| letter.is_ascii_digit() || ".,".contains(letter));
    let units = ["mm", "psi", "bar", "kpa", "/32"];
    token.kind == Kind::Number && units.iter().any(|known| unit.eq_ignore_ascii_case(known))
}

/// Who did it or whom it is for: `tech Mike`, `done by JR`.
fn is_name(text: &str, tokens: &[Token], items: &[Item], from: usize) -> bool {
    let Some(before) = items.last() else { return false };
    let token = tokens[before.to - 1];
    let word = text[token.from..token.to].to_lowercase();
    before.means(Meaning::Filler)
        && ["by", "tech", "technician", "advisor", "mechanic"].contains(&&*word)
        && tokens[from].kind == Kind::Word
        && text[tokens[from].from..].starts_with(char::is_uppercase)
}

/// Whether only numbers and words of no weight stand before in the sentence.
fn begins_a_row(items: &[Item]) -> bool {
    let sentence = items.iter().rev().take_while(|item| item.what != What::Stop);
    sentence
        .into_iter()
        .all(|item| matches!(item.what, What::Number | What::Comma | What::Means(Meaning::Filler)))
}

/// A part as parts lists write it, `SENSOR, WHEEL SPEED, FRONT`: the words behind the comma come first. A place
/// between them (`ARM, FRONT LOWER CONTROL`) is an item of its own. Gives back where the next item begins.
fn turned(
    lexicon: &Lexicon,
    tokens: &[Token],
    from: usize,
    items: &mut Vec<Item>,
) -> Option<usize> {
    let comma = from + tokens[from..].iter().take(4).position(|token| token.kind == Kind::Comma)?;
    let head = &tokens[from..comma];
    if head.is_empty() {
        return None;
    }
    let mut place = None;
    let mut start = comma + 1;
    loop {
        let rest = tokens.get(start..)?;
        let run =
            rest.iter().take(4).take_while(|token| matches!(token.kind, Kind::Word | Kind::Number));
        for length in (1..=run.count()).rev() {
            // `control unit, climate control unit`: what both end or begin with is said once.
            let again = rest[length - 1].word.is_some() && rest[length - 1].word == head[0].word;
            let head = &head[usize::from(again)..];
            let words = rest[..length].iter().chain(head).map(|token| token.word);
            let Some((meaning @ Meaning::Noun(_), known)) = lexicon.phrases.longest(words) else {
                continue;
            };
            if known < length + head.len() {
                continue;
            }
            let to = start + length;
            let corrected = tokens[from..to].iter().any(|token| token.corrected);
            items.extend(place);
            items.push(Item { what: What::Means(meaning), from, to, corrected });
            return Some(to);
        }
        if place.is_some() {
            return None;
        }
        let words = rest.iter().map(|token| token.word);
        let (meaning @ Meaning::Place(_), length) = lexicon.phrases.longest(words)? else {
            return None;
        };
        let to = start + length;
        place = Some(Item { what: What::Means(meaning), from: start, to, corrected: false });
        start = to;
    }
}

/// `clutch kit in`: a part is put in; `gearbox out`, where something is put back or in later, one is taken out.
fn put_in(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let (Some(install), Some(remove)) = (lexicon.usual.install, lexicon.usual.remove) else {
        return;
    };
    let halves = |item: &Item| {
        let half = item.action().and_then(|(action, _)| lexicon.actions[usize::from(action)].half);
        matches!(half, Some(Half::In | Half::Back))
    };
    // From the end: `trans out, clutch in, trans in` is out where something goes in later.
    for index in (1..items.len()).rev() {
        let token = tokens[items[index].from];
        let word = &text[token.from..token.to];
        let is = |known: &[&str]| known.iter().any(|known| word.eq_ignore_ascii_case(known));
        if word.len() > 4 || !is(&["in", "out", "off", "down"]) {
            continue;
        }
        let ends = items.get(index + 1).is_none_or(|next| {
            use Meaning::{Access, Join, Purpose, Then, To};
            matches!(
                next.what,
                What::Comma | What::Stop | What::Means(Join | Purpose | Access | Then | To)
            )
        });
        let place = |item: &&Item| matches!(item.what, What::Means(Meaning::Place(_)));
        let part = items[..index].iter().rev().find(|item| !place(item)).and_then(Item::noun);
        let behind = ends
            && (items[index].means(Meaning::Filler)
                || items[index].means(Meaning::State)
                || items[index].what == What::Unknown)
            && items[index].to == items[index].from + 1
            && part.is_some();
        if behind && is(&["in"]) {
            items[index].what = What::Means(Meaning::Action(install));
        } else if behind && items[index..].iter().any(halves) {
            items[index].what = What::Means(Meaning::Action(remove));
        }
    }
}

/// `DPF off, blown out, back on`: by itself between the halves of a job it is what was done meanwhile.
fn clean_between(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    const CLEANED: &[&str] = &["blown out", "blown through", "blown off", "scraped", "sprayed"];
    let Some(clean) = lexicon.usual.clean else { return };
    let half =
        |item: &Item| item.action().and_then(|(at, _)| lexicon.actions[usize::from(at)].half);
    let cut = |item: &Item| matches!(item.what, What::Comma | What::Means(Meaning::Join));
    for index in 2..items.len() {
        let [.., before, item] = items[..=index] else { continue };
        let words = text[tokens[item.from].from..tokens[item.to - 1].to].to_lowercase();
        if cut(&before)
            && items.get(index + 1).is_none_or(cut)
            && CLEANED.contains(&&*words)
            && items[..index].iter().any(|item| half(item) == Some(Half::Out))
            && items[index..].iter().any(|item| half(item) == Some(Half::Back))
        {
            items[index].what = What::Means(Meaning::Action(clean));
        }
    }
}

/// `caliper siezed`: a word that nobody knows right behind a part and ends so tells what became of it.
fn describe(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    for index in 1..items.len() {
        let before = items[index - 1];
        if items[index].what == What::Unknown && before.noun().is_some() {
            let token = tokens[items[index].from];
            let word = text[token.from..token.to].to_lowercase();
            let told = word.len() > 4 && word.ends_with("ed") && token.word.is_none();
            if told && !lexicon.may_matter(&word) && !lexicon.looks_like_action(&word) {
                items[index].what = What::Means(Meaning::State);
            }
        }
    }
}

/// `disc neg batt cable`, `batt disc`: beside a battery it is no brake disc.
fn take_off(lexicon: &Lexicon, text: &str, tokens: &[Token], items: &mut [Item]) {
    let Some(disconnect) = lexicon.usual.disconnect else { return };
    for index in 1..items.len() {
        let battery = |item: &Item| {
            let noun = item.noun().map(|noun| &lexicon.nouns[usize::from(noun)]);
            noun.is_some_and(|noun| {
                ["battery", "high_voltage_battery"].contains(&&*noun.component) && !noun.nothing
            })
        };
        for (whole, word) in [(index, index - 1), (index - 1, index)] {
            let token = tokens[items[word].from];
            let alone = items[word].to == items[word].from + 1;
            let disc = text[token.from..token.to].eq_ignore_ascii_case("disc");
            if alone && disc && battery(&items[whole]) {
                items[word].what = What::Means(Meaning::Action(disconnect));
            }
        }
    }
}

fn alone(token: Token) -> What {
    match token.kind {
        Kind::Word => What::Unknown,
        Kind::Number => What::Number,
        Kind::Comma => What::Comma,
        Kind::Stop => What::Stop,
    }
}
