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
        let first = self.after(from);
        let count = self.windows[first..].partition_point(|window| window.0 < to);
        if from >= to || count == 0 {
            return;
        }
        let (begin, end) = (self.windows[first].0, self.windows[first + count - 1].1);
        let rest = [(begin, from), (to, end)].into_iter().filter(|(from, to)| from < to);
        self.windows.splice(first..first + count, rest);
    }

    /// The first window that ends after that moment.
    #[inline]
    fn after(&self, at: Ticks) -> usize {
        self.windows.partition_point(|window| window.1 <= at)
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

    /// The first start at `at` or later with all of `length` inside one window; [`NEVER`] if there is none.
    #[inline]
    #[must_use]
    pub fn fit(&self, at: Ticks, length: Ticks) -> Ticks {
        for &(from, to) in &self.windows[self.windows.partition_point(|window| window.1 < at)..] {
            let start = at.max(from);
            if start + length <= to {
                return start;
            }
        }
        NEVER
    }

    /// Like [`Calendar::fit`], for work that may pause over gaps no longer than `gap`: gives start and end.
    #[must_use]
    pub fn fit_paused(&self, at: Ticks, length: Ticks, gap: Ticks) -> (Ticks, Ticks) {
        for (index, &(from, to)) in self.windows.iter().enumerate().skip(self.after(at)) {
            let start = at.max(from);
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
    use super::{Calendar, NEVER};

    #[test]
    fn work_fits_into_one_window_or_pauses_over_a_short_gap() {
        let day = Calendar::open(vec![(270, 480), (0, 240), (1440, 1680), (700, 700)]);
        assert_eq!(day.fit(100, 100), 100);
        assert_eq!(day.fit(200, 100), 270);
        assert_eq!(day.fit(400, 100), 1440);
        assert_eq!(day.fit(1600, 100), NEVER);
        assert_eq!(day.fit_paused(200, 100, 30), (200, 330));
        assert_eq!(day.fit_paused(400, 100, 30), (1440, 1540));
        assert_eq!(day.fit_paused(0, 450, 30), (0, 480));
    }

    #[test]
    fn closing_cuts_a_window_in_two() {
        let mut calendar = Calendar::between(0, 100);
        calendar.close(20, 30);
        assert_eq!(calendar.windows(), [(0, 20), (30, 100)]);
        calendar.close(100, 200);
        calendar.close(10, 40);
        assert_eq!(calendar.windows(), [(0, 10), (40, 100)]);
        calendar.close(-5, 45);
        assert_eq!(calendar.windows(), [(45, 100)]);
    }
}
