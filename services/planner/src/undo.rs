//! What a try changes in a list of many parts, so that all of it can be taken back at once.

/// The parts that changed, as they were before.
#[derive(Debug, Clone)]
pub(crate) struct Undo<T> {
    before: Vec<T>,
    changed: Vec<u32>,
    known: Vec<bool>,
}

impl<T: Clone + Default> Undo<T> {
    /// For a list of so many parts.
    pub(crate) fn new(parts: usize) -> Self {
        Self { before: vec![T::default(); parts], changed: Vec::new(), known: vec![false; parts] }
    }

    /// A part is about to change.
    #[inline]
    pub(crate) fn note(&mut self, now: &[T], part: usize) {
        if !self.known[part] {
            self.known[part] = true;
            self.changed.push(crate::shop::index(part));
            self.before[part].clone_from(&now[part]);
        }
    }

    /// The changes stay.
    pub(crate) fn keep(&mut self) {
        for part in self.changed.drain(..) {
            self.known[part as usize] = false;
        }
    }

    /// All parts are again what they were.
    pub(crate) fn take_back(&mut self, now: &mut [T]) {
        for part in self.changed.drain(..) {
            let part = part as usize;
            self.known[part] = false;
            std::mem::swap(&mut now[part], &mut self.before[part]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Undo;

    #[test]
    fn what_is_taken_back_is_as_before_the_first_change_since_the_last_was_kept() {
        let mut list = vec![vec![1], vec![2], vec![3]];
        let mut undo = Undo::new(list.len());
        undo.note(&list, 0);
        list[0].push(10);
        undo.keep();
        for change in [20, 21] {
            for part in [0, 2] {
                undo.note(&list, part);
                list[part].push(change);
            }
        }
        undo.take_back(&mut list);
        assert_eq!(list, [vec![1, 10], vec![2], vec![3]]);
        undo.take_back(&mut list);
        assert_eq!(list, [vec![1, 10], vec![2], vec![3]]);
    }
}
