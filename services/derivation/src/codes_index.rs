//! Rules by trouble code (SAE J2012 form). A pattern's `x` is any digit, so a code is looked up once for each set
//! of places that some pattern leaves open: the cost does not depend on how many patterns there are.

use rustc_hash::FxHashMap;

use crate::index::RuleId;

const LENGTH: usize = 5;
const OPEN: u8 = b'X';

#[derive(Debug, Default)]
pub(crate) struct CodeIndex {
    rules: FxHashMap<[u8; LENGTH], Vec<RuleId>>,
    open_places: Vec<[bool; LENGTH]>,
}

impl CodeIndex {
    pub(crate) fn add(&mut self, pattern: &str, rule: RuleId) {
        let Some(key) = key(pattern) else { return };
        let open = key.map(|byte| byte == OPEN);
        if !self.open_places.contains(&open) {
            self.open_places.push(open);
        }
        self.rules.entry(key).or_default().push(rule);
    }

    pub(crate) fn of(&self, code: &str) -> impl Iterator<Item = RuleId> + '_ {
        let key = key(code);
        self.open_places.iter().flat_map(move |open| {
            let masked = key.map(|key| {
                std::array::from_fn(|place| if open[place] { OPEN } else { key[place] })
            });
            masked.and_then(|masked| self.rules.get(&masked)).into_iter().flatten().copied()
        })
    }
}

/// The five characters of a code in upper case, without a failure type byte behind a dash.
fn key(code: &str) -> Option<[u8; LENGTH]> {
    let code = code.trim().split('-').next().unwrap_or_default().as_bytes();
    let code: [u8; LENGTH] = code.try_into().ok()?;
    Some(code.map(|byte| byte.to_ascii_uppercase()))
}
