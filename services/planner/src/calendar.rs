//! When a bay, a person or a unit of equipment can be used.

use crate::model::Ticks;

/// No such moment.
pub const NEVER: Ticks = Ticks::MAX / 4;

/// Open windows `[from, to)`, sorted and apart.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Calendar {
    windows: Vec<(Ticks, Ticks)>,
}

impl Calendar {
    /// From windows in any order; those that touch or overlap become one, empty ones vanish.
    #[must_use]
    pub fn open(mut windows: Vec<(Ticks, Ticks)>) -> Self {
        windows.retain(|(from, to)| from < to);
        windows.sort_unstable();
        let mut joined: Vec<(Ticks, Ticks)> = Vec::with_capacity(windows.len());
        for (from, to) in windows {
            match joined.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ => joined.push((from, to)),
            }
        }
        Self { windows: joined }
    }

    /// Always open between two moments.
    #[must_use]
    pub fn between(from: Ticks, to: Ticks) -> Self {
        Self::open(vec![(from, to)])
    }

    /// Takes `[from, to)` out.
    pub fn close(&mut self, from: Ticks, to: Ticks) {
        if from >= to || !self.windows.iter().any(|&(a, b)| a < to && from < b) {
            return;
        }
        let cut = |&(a, b): &(Ticks, Ticks)| [(a, b.min(from)), (a.max(to), b)];
        self.windows = self.windows.iter().flat_map(cut).filter(|(a, b)| a < b).collect();
    }

    /// The windows.
    #[must_use]
    pub fn windows(&self) -> &[(Ticks, Ticks)] {
        &self.windows
    }

    /// The longest window.
    #[must_use]
    pub fn longest(&self) -> Ticks {
        self.windows.iter().map(|(from, to)| to - from).max().unwrap_or(0)
    }

    /// The first start at `at` or later with all of `length` inside one window, looking from window `hint` on;
    /// gives the start ([`NEVER`] if there is none) and its window.
    #[inline]
    #[must_use]
    pub fn fit(&self, at: Ticks, length: Ticks, hint: u32) -> (Ticks, u32) {
        let mut index = hint;
        while let Some(&(from, to)) = self.windows.get(index as usize) {
            let start = at.max(from);
            if start + length <= to {
                return (start, index);
            }
            index += 1;
        }
        (NEVER, index)
    }

    /// Like [`Calendar::fit`], for work that may pause over gaps no longer than `gap`: gives start and end.
    #[must_use]
    pub fn fit_paused(&self, at: Ticks, length: Ticks, gap: Ticks) -> (Ticks, Ticks) {
        for (index, &(from, to)) in self.windows.iter().enumerate() {
            let start = at.max(from);
            if start >= to {
                continue;
            }
            let mut left = length - (to - start);
            let mut end = start + length;
            let mut before = to;
            for &(from, to) in &self.windows[index + 1..] {
                if left <= 0 || from - before > gap {
                    break;
                }
                end = from + left;
                left -= to - from;
                before = to;
            }
            if left <= 0 {
                return (start, end);
            }
        }
        (NEVER, NEVER)
    }
}

#[cfg(test)]
mod tests {
    use super::Calendar;

    #[test]
    fn work_fits_into_one_window_or_pauses_over_a_short_gap() {
        let day = Calendar::open(vec![(270, 480), (0, 240), (1440, 1680), (700, 700)]);
        assert_eq!(day.fit(100, 100, 0), (100, 0));
        assert_eq!(day.fit(200, 100, 0), (270, 1));
        assert_eq!(day.fit(400, 100, 0), (1440, 2));
        assert_eq!(day.fit_paused(200, 100, 30), (200, 330));
        assert_eq!(day.fit_paused(400, 100, 30), (1440, 1540));
        assert_eq!(day.fit_paused(0, 450, 30), (0, 480));
    }

    #[test]
    fn closing_cuts_a_window_in_two() {
        let mut calendar = Calendar::between(0, 100);
        calendar.close(20, 30);
        assert_eq!(calendar.windows(), [(0, 20), (30, 100)]);
    }
}
