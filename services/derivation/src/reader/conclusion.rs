//! From what was read of a line to its reading.

use domain::order::{ReadOperation, Reading};

use crate::lexicon::kinds::{Action, Half, Noun};
use crate::reader::LineReading;
use crate::reader::line::{Line, Taken, Untouched};
use crate::reader::outcome;
use crate::reader::piece::Named;

impl<'l> Line<'l, '_> {
    pub(super) fn conclude(mut self) -> LineReading {
        self.join_halves();
        self.drop_what_follows();
        self.drop_doubles();
        self.ask_for_new_parts();
        self.ask_whether_new_ones_are_fitted();
        self.weigh_passing();
        self.ask_what_stands_aside();
        for Untouched { part, actions } in &self.untouched {
            let noun = &self.lexicon.nouns[usize::from(part.noun)];
            let touched = outcome::components(noun, part).unwrap_or_default();
            let denied = |taken: &Taken<'l>| {
                actions.is_empty()
                    || actions.iter().any(|done| {
                        let action = &self.lexicon.actions[usize::from(done.action)];
                        action.gives.as_deref().is_none_or(|gives| gives == taken.read.action)
                    })
            };
            let both = self.taken.iter().filter(|taken| denied(taken)).any(|taken| {
                touched.iter().any(|(component, place)| {
                    *component == taken.read.component
                        && (place.is_none()
                            || taken.read.place.is_none()
                            || *place == taken.read.place)
                })
            });
            if both {
                let words = self.words(part.from, part.to);
                self.doubts.push(format!("\"{words}\" is said to be done and not done"));
            }
        }
        let coolant = self.taken.iter().any(|taken| taken.read.component == "cooling_system");
        let own = |noun: &Noun| {
            let worked = |taken: &Taken<'l>| taken.read.component == &*noun.component;
            noun.own_coolant && self.taken.iter().any(worked)
        };
        if coolant && self.lexicon.nouns.iter().any(own) {
            self.doubts.push("which coolant is meant is not said".to_owned());
        }
        self.ask_which_battery();
        let certain = self.doubts.is_empty();
        let reading = match (self.taken.is_empty(), certain, self.settled) {
            (false, true, _) => Reading::Sure,
            (false, false, _) => Reading::Unsure,
            (true, true, true) => Reading::None,
            (true, ..) => Reading::Unread,
        };
        let explanation = self.explain(reading);
        let operations = self.taken.iter().map(|taken| ReadOperation {
            action: taken.read.action.to_owned(),
            component: taken.read.component.to_owned(),
            place: taken.read.place.map(str::to_owned),
            confidence: if certain { taken.confidence } else { taken.confidence * 0.5 },
            words: self.words(taken.from, taken.to).to_owned(),
        });
        LineReading { reading, operations: operations.collect(), explanation }
    }

    /// `battery replaced` in a hybrid vehicle, without a word of which.
    fn ask_which_battery(&mut self) {
        let unclear = |taken: &Taken<'l>| {
            let within = |part: &&Named| part.from >= taken.from && part.to <= taken.to;
            taken.done.is_some()
                && taken.read.component == "battery"
                && taken.read.action != "disconnect"
                && self
                    .spoken
                    .iter()
                    .rev()
                    .find(within)
                    .is_some_and(|part| part.to == part.from + 1)
        };
        if !self.taken.iter().any(unclear) {
            return;
        }
        let lower = self.text.to_lowercase();
        let mut words = lower.split(|letter: char| !letter.is_alphanumeric());
        if words.any(|word| ["hybrid", "ev", "phev", "hev", "bev"].contains(&word)) {
            self.doubts.push("which battery is meant is not said".to_owned());
        }
    }

    fn explain(&self, reading: Reading) -> String {
        if !self.doubts.is_empty() {
            return self.doubts.join("; ");
        }
        match reading {
            Reading::None => "understood, and nothing on the vehicle is changed".to_owned(),
            Reading::Sure => "every word is understood".to_owned(),
            _ => "no action on a part was recognised".to_owned(),
        }
    }

    fn action(&self, taken: &Taken<'l>) -> Option<&'l Action> {
        taken.done.map(|done| &self.lexicon.actions[usize::from(done.action)])
    }

    /// Taking out and putting back is `remove_install`; taking out and replacing is `replace`.
    fn join_halves(&mut self) {
        let half =
            |line: &Self, taken: &Taken<'l>| line.action(taken).and_then(|action| action.half);
        let same = |one: &Taken<'l>, other: &Taken<'l>| {
            one.read.component == other.read.component
                && (one.read.place.is_none()
                    || other.read.place.is_none()
                    || one.read.place == other.read.place)
        };
        let keep: Vec<bool> = self
            .taken
            .iter()
            .map(|taken| {
                let others = || self.taken.iter().filter(|other| same(taken, other));
                let fresh = |other: &Taken<'l>| {
                    other.read.action == "replace"
                        && (half(self, other) != Some(Half::In)
                            || other.done.is_some_and(|done| done.new_part))
                };
                match (taken.read.action, half(self, taken)) {
                    // A new part went in: what was taken out did not come back.
                    ("remove_install", Some(_)) => !others().any(fresh),
                    // No new part is named, and one was taken out or put back: it is the same.
                    ("replace", Some(Half::In)) => {
                        fresh(taken)
                            || others().any(fresh)
                            || !others().any(|other| {
                                // `sent away for repair, came back, fitted`
                                matches!(other.read.action, "remove_install" | "repair")
                            })
                    }
                    _ => true,
                }
            })
            .collect();
        let mut keep = keep.into_iter();
        self.taken.retain(|_| keep.next().unwrap_or(true));
    }

    /// "R&R" of a part that often goes back, without a word of a new one.
    fn ask_for_new_parts(&mut self) {
        for taken in &self.taken {
            let unclear =
                self.action(taken).is_some_and(|action| action.doubted_where_often_refitted)
                    && taken.refitted
                    && taken.done.is_some_and(|done| !done.new_part);
            if unclear {
                let words = self.words(taken.from, taken.to);
                self.doubts
                    .push(format!("\"{words}\": the same part or a new one may have gone in"));
            }
        }
    }

    /// `new BCM programmed`: whether it was fitted too is not said. Keys are only programmed.
    fn ask_whether_new_ones_are_fitted(&mut self) {
        let fitted = |taken: &Taken<'l>| {
            self.taken.iter().any(|other| {
                other.read.action == "replace" && other.read.component == taken.read.component
            })
        };
        let unclear = self.taken.iter().find(|taken| {
            matches!(taken.read.action, "program" | "adjust")
                && taken.read.component != "key"
                && taken.done.is_some_and(|done| done.new_part)
                && !fitted(taken)
        });
        if let Some(words) = unclear.map(|taken| self.words(taken.from, taken.to)) {
            self.doubts.push(format!("\"{words}\": whether a new part was fitted is not said"));
        }
    }

    /// A calibration follows from the work on the same part, and reconnecting from disconnecting; alone they are asked.
    fn drop_what_follows(&mut self) {
        let follows = |line: &Self, taken: &Taken<'l>| {
            line.action(taken).is_some_and(|action| {
                (action.follows || action.slight) && !taken.read.sure || action.doubted
            })
        };
        let aimed = |taken: &Taken<'l>| {
            taken.read.action == "adjust"
                && self.taken.iter().any(|other| {
                    other.aimed
                        && other.read.component == taken.read.component
                        && matches!(other.read.action, "replace" | "remove_install")
                })
        };
        let mut asked = Vec::new();
        let keep: Vec<bool> = self
            .taken
            .iter()
            .map(|taken| {
                if aimed(taken) {
                    return false;
                }
                if !follows(self, taken) {
                    return true;
                }
                let based = self.taken.iter().any(|other| {
                    // What is connected again was disconnected, whatever the words nearest to it.
                    let again = self.action(taken).is_some_and(|action| action.doubted)
                        && other.read.action == taken.read.action;
                    let same = other.read.component == taken.read.component
                        && self.action(taken).is_some_and(|action| !action.doubted);
                    !follows(self, other) && (again || same || self.fitted_in(taken, other))
                });
                if !based {
                    asked.push(format!(
                        "\"{}\": the work that asks for it is not named",
                        self.words(taken.from, taken.to)
                    ));
                }
                !based
            })
            .collect();
        let mut keep = keep.into_iter();
        self.taken.retain(|_| keep.next().unwrap_or(true));
        asked.dedup();
        self.doubts.extend(asked);
    }

    /// `windshield replaced, camera calibrated`: the procedure follows from work on what the part sits in.
    fn fitted_in(&self, taken: &Taken<'l>, other: &Taken<'l>) -> bool {
        let worked = matches!(other.read.action, "replace" | "remove_install" | "align" | "adjust");
        let follows = self.action(taken).is_some_and(|action| action.follows);
        worked
            && follows
            && other.from < taken.from
            && self.lexicon.nouns.iter().any(|noun| {
                let names = noun.by_axle.iter().flatten().chain([&noun.component]);
                let sits_in = noun.sits_in.iter().filter(|_| noun.aimed);
                names.into_iter().any(|name| **name == *taken.read.component)
                    && sits_in.chain(&noun.set_after).any(|part| **part == *other.read.component)
            })
    }

    /// One operation once; with a place rather than without.
    fn drop_doubles(&mut self) {
        let mut kept: Vec<Taken<'l>> = Vec::with_capacity(self.taken.len());
        for taken in std::mem::take(&mut self.taken) {
            let same = |other: &Taken<'l>| {
                other.read.action == taken.read.action
                    && other.read.component == taken.read.component
            };
            if kept.iter().any(|other| {
                same(other) && (taken.read.place.is_none() || other.read.place == taken.read.place)
            }) {
                continue;
            }
            kept.retain(|other| !(same(other) && other.read.place.is_none()));
            kept.push(taken);
        }
        self.taken = kept;
    }
}
