//! The samples of an attempt, laid out by what they speak of and in order of time.

use chrono::{DateTime, Utc};

use crate::judge::{Phase, Window};
use crate::refusal;
use crate::sample::{Kind, Sample};

/// Samples by what they speak of.
pub(super) struct Board<'a> {
    /// Numbers and states by signal.
    series: Vec<(&'a str, Vec<&'a Sample>)>,
    /// Everything else.
    rest: Vec<&'a Sample>,
    /// Samples count from here.
    pub(super) from: DateTime<Utc>,
    pub(super) window: &'a Window,
    pub(super) phase: Phase,
}

/// A negative response that speaks of the vehicle's condition.
#[derive(Clone, Copy)]
pub(super) struct Refused<'a> {
    pub(super) sample: &'a Sample,
    pub(super) service: u8,
    pub(super) nrc: u8,
}

impl<'a> Board<'a> {
    pub(super) fn new(samples: &'a [Sample], window: &'a Window, phase: Phase) -> Self {
        let order = |sample: &&Sample| (sample.taken_at, sample.received_at, sample.id);
        let mut sorted: Vec<&Sample> = samples.iter().collect();
        if !sorted.is_sorted_by_key(order) {
            sorted.sort_by_key(order);
        }
        let mut series: Vec<(&str, Vec<&Sample>)> = Vec::new();
        let mut rest = Vec::new();
        for sample in sorted {
            match &sample.kind {
                Kind::Number { signal, .. } | Kind::State { signal, .. } => {
                    // A procedure asks for a handful of signals, so that looking through them is quickest.
                    match series.iter_mut().find(|(name, _)| name == signal) {
                        Some((_, known)) => known.push(sample),
                        None => series.push((signal, vec![sample])),
                    }
                }
                _ => rest.push(sample),
            }
        }
        let from = match phase {
            Phase::Starting | Phase::Running => window.attempt_from,
            Phase::Finishing => window.running_from.unwrap_or(window.attempt_from),
        };
        Self { series, rest, from, window, phase }
    }

    /// Numbers or states of a signal at a place, whether or not they count.
    pub(super) fn series(
        &self,
        signal: &str,
        place: Option<&str>,
    ) -> impl Iterator<Item = &'a Sample> {
        let known = self.series.iter().find(|(name, _)| *name == signal);
        let all = known.map_or(&[][..], |(_, samples)| samples.as_slice());
        all.iter().copied().filter(move |sample| match &sample.kind {
            Kind::Number { place: at, .. } => place.is_none() || at.as_deref() == place,
            _ => true,
        })
    }

    /// Everything that is neither number nor state, whether or not it counts.
    pub(super) fn rest(&self) -> impl DoubleEndedIterator<Item = &'a Sample> {
        self.rest.iter().copied()
    }

    /// What else there is, as far as it counts.
    pub(super) fn counted(&self, unverified: bool) -> impl DoubleEndedIterator<Item = &'a Sample> {
        self.rest().filter(move |sample| self.objection(sample, unverified).is_none())
    }

    /// What else there is of the whole attempt, from before the start too: what a proof may not forget.
    pub(super) fn of_attempt(
        &self,
        unverified: bool,
    ) -> impl DoubleEndedIterator<Item = &'a Sample> {
        let window = self.window;
        self.rest().filter(move |sample| {
            sample.objection(unverified).is_none()
                && (window.attempt_from..=window.now).contains(&sample.taken_at)
        })
    }

    /// Why a sample proves nothing here.
    pub(super) fn objection(&self, sample: &Sample, unverified: bool) -> Option<&'static str> {
        sample.objection(unverified).or_else(|| {
            if sample.taken_at > self.window.now {
                Some("it was taken later than now")
            } else if sample.taken_at >= self.from {
                None
            } else if self.phase == Phase::Finishing {
                Some("it was taken before the start")
            } else {
                Some("it was taken before this attempt")
            }
        })
    }

    /// The last refusal that speaks of something, by the test of its code.
    pub(super) fn refusal(&self, speaks: impl Fn(u8) -> bool) -> Option<Refused<'a>> {
        let refused = |sample: &'a Sample| match sample.kind {
            Kind::Refused { service, nrc } if refusal::counts(service, nrc) && speaks(nrc) => {
                Some(Refused { sample, service, nrc })
            }
            _ => None,
        };
        // A refusal is no proof, so an unregistered interface may show it.
        self.counted(true).rev().find_map(refused)
    }
}
