//! Pairs the actions of a piece with its parts.

use crate::reader::line::{Current, Line};
use crate::reader::outcome;
use crate::reader::piece::{Done, Element, Joint, Named, Piece};

impl Line<'_, '_> {
    /// A piece with an action that does something.
    pub(super) fn work(&mut self, joint: Joint, piece: &Piece, next_is_job: bool) {
        match piece.elements.first() {
            Some(Element::Action(_)) if piece.parts().next().is_none() => {
                self.actions_only(piece, next_is_job);
            }
            Some(Element::Action(_)) => self.action_first(piece),
            Some(Element::Part(_)) => self.part_first(joint, piece),
            None => {}
        }
    }

    /// `replace pads`, `replace pads bleed brakes`.
    pub(super) fn action_first(&mut self, piece: &Piece) {
        self.begin_group();
        let mut actions = std::mem::take(&mut self.carried);
        actions.retain(|done| !self.heads(done));
        actions = self.leave_what_fits_before(actions, piece);
        if !actions.is_empty() && self.carried_beside {
            self.doubts.push("an action before this one names no part".to_owned());
        }
        let mut carried = actions.len();
        let mut fresh = true;
        let mut parts: Vec<Named> = Vec::new();
        for element in piece.elements.iter().cloned().map(Some).chain([None]) {
            match element {
                Some(Element::Part(part)) => {
                    parts.push(part);
                    fresh = false;
                }
                Some(Element::Action(done)) if fresh => actions.push(done),
                other => {
                    self.ask_which(&actions[carried.min(actions.len())..]);
                    self.job(&actions, &self.side_by_side(parts.iter()), piece.same_part, 1.0);
                    let Some(Element::Action(done)) = other else { break };
                    let behind = !piece.parts().any(|part| part.from > done.from);
                    if behind && !parts.is_empty() {
                        self.trailing(&actions, &done, &parts);
                        break;
                    }
                    (actions, parts, fresh, carried) = (vec![done], Vec::new(), true, 0);
                }
            }
        }
        if !parts.is_empty() {
            self.recent = parts;
        }
        self.current = Current::Actions(actions);
    }

    /// `replace ABS unit, program and bleed brakes`: an action that does not fit the part behind it, but the one before,
    /// is about that. Gives back the others.
    fn leave_what_fits_before(&mut self, actions: Vec<Done>, piece: &Piece) -> Vec<Done> {
        let Some(next) = piece.parts().next() else { return actions };
        let fits = |done: &Done, part: &Named| {
            outcome::resolve(self.lexicon, done, part, piece.same_part).doubt.is_none()
        };
        let before = |done: &Done| match &self.recent[..] {
            [part] if fits(done, part) && !fits(done, next) => Some(part.clone()),
            _ => None,
        };
        let (behind, left): (Vec<_>, Vec<_>) = actions
            .into_iter()
            .map(|done| (done, before(&done)))
            .partition(|(_, part)| part.is_some());
        for (done, part) in behind {
            if let Some(part) = part {
                self.apply(&done, &part, 0.97, false);
            }
        }
        left.into_iter().map(|(done, _)| done).collect()
    }

    /// `Repair: replaced water pump`: an action before a colon or dash that another one follows only heads it.
    fn heads(&self, done: &Done) -> bool {
        let mark = self.tokens.get(done.to).map_or("", |mark| &self.text[mark.from..mark.to]);
        let action = &self.lexicon.actions[usize::from(done.action)];
        let vague = action.slight || action.gives.as_deref() == Some("repair");
        mark == ":" || mark == "-" && vague
    }

    /// Two different actions side by side (`program replacement module`): one of them may only describe the part.
    fn ask_which(&mut self, actions: &[Done]) {
        let gives = |done: &Done| {
            let action = &self.lexicon.actions[usize::from(done.action)];
            (!action.follows).then_some(action.gives.as_deref())
        };
        let mut given = actions.iter().filter_map(gives);
        let first = given.next();
        if given.any(|other| Some(other) != first)
            && let (Some(from), Some(to)) = (actions.first(), actions.last())
        {
            let words = self.words(from.from, to.to);
            self.doubts.push(format!("which of \"{words}\" is done is not clear"));
        }
    }

    /// `surround camera, right mirror, replace`: what stands behind a part may only say where that sits.
    pub(super) fn ask_of_a_location(&mut self, actions: &[Done], parts: &[Named]) {
        if actions.iter().any(|done| self.in_the_past(done.from, done.to)) {
            return;
        }
        let location = parts
            .windows(2)
            .find(|both| !both[1].joined && self.sits_in(&both[0], &both[1]))
            .map(|both| self.words(both[1].from, both[1].to));
        if let Some(words) = location {
            self.doubts.push(format!("\"{words}\" may only say where the part before it sits"));
        }
    }

    /// An action behind the parts of another: `clean throttle body service`.
    pub(super) fn trailing(&mut self, actions: &[Done], done: &Done, parts: &[Named]) {
        let action = &self.lexicon.actions[usize::from(done.action)];
        let same = actions
            .iter()
            .any(|first| self.lexicon.actions[usize::from(first.action)].gives == action.gives);
        if action.follows || action.half.is_some() {
            for part in parts {
                self.apply(done, part, 0.97, false);
            }
        } else if !same {
            let words = self.words(done.from, done.to);
            self.doubts.push(format!("what \"{words}\" belongs to is not clear"));
        }
    }

    /// `pads replaced`, `pads replaced brakes bled`.
    pub(super) fn part_first(&mut self, joint: Joint, piece: &Piece) {
        self.begin_group();
        let mut parts: Vec<Named> = Vec::new();
        if matches!(joint, Joint::And | Joint::Comma) {
            parts.append(&mut self.pending);
        }
        let waiting = parts.len();
        let mut actions: Vec<Done> = Vec::new();
        let mut groups = Vec::new();
        for element in piece.elements.iter().cloned() {
            match element {
                Element::Part(part) if actions.is_empty() => parts.push(part),
                Element::Part(part) => {
                    groups.push((std::mem::take(&mut actions), std::mem::take(&mut parts)));
                    parts.push(part);
                }
                Element::Action(done) => actions.push(done),
            }
        }
        groups.push((actions, parts));
        for (index, (actions, parts)) in groups.iter().enumerate() {
            if actions.is_empty() {
                // `tie rod replaced, toe set`
                if parts
                    .iter()
                    .all(|part| self.lexicon.nouns[usize::from(part.noun)].alone.is_some())
                {
                    for part in parts {
                        self.alone(part, 1.0);
                    }
                    continue;
                }
                let again =
                    |part: &Named| groups[0].1.iter().any(|first| self.same_component(first, part));
                if !parts.iter().all(|part| again(part) || self.only_location(part, &groups[0].1)) {
                    let words = self.words(parts[0].from, parts[0].to);
                    self.doubts.push(format!("nothing says what is done with \"{words}\""));
                }
                continue;
            }
            self.ask_which(actions);
            let before = if index == 0 { waiting } else { 0 };
            let mut all = parts[..before].to_vec();
            all.extend(self.side_by_side(parts[before..].iter()));
            share_places(&mut all);
            self.ask_of_a_location(actions, &all);
            self.job(actions, &all, piece.same_part, 1.0);
            self.recent = all;
        }
        self.current = Current::None;
    }
}

/// `LF strut and tie rod`: in a list the first place holds for parts that name none.
pub(super) fn share_places(parts: &mut [Named]) {
    let Some(said) = parts.iter().find(|part| !part.places.is_empty()).cloned() else { return };
    for part in parts.iter_mut().filter(|part| part.places.is_empty() && !part.all) {
        part.places.clone_from(&said.places);
        part.all |= said.all;
    }
}
