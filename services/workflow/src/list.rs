//! Pages of lists.

use contract::list::{Page, PageQuery};
use uuid::Uuid;

use crate::refusal::Refusal;

/// Items of a page when nobody says otherwise.
const USUAL: u32 = 50;

/// How many items a page may have.
pub(crate) fn limit(asked: Option<u32>) -> Result<usize, Refusal> {
    match asked.unwrap_or(USUAL) {
        limit @ 1..=500 => Ok(limit as usize),
        _ => Err(Refusal::field("limit", "1 to 500")),
    }
}

/// The id behind which a page begins.
pub(crate) fn cursor(text: Option<&str>) -> Result<Option<Uuid>, Refusal> {
    text.map(|text| Uuid::try_parse(text).map_err(|_| no_cursor())).transpose()
}

/// What is said of a cursor that no page gave.
pub(crate) fn no_cursor() -> Refusal {
    Refusal::field("cursor", "no cursor of this list, or its item is gone: begin anew")
}

/// A page of items that were read with one more than it holds, which tells whether there is a next one.
pub(crate) fn cut<T>(mut items: Vec<T>, limit: usize, key: impl Fn(&T) -> String) -> Page<T> {
    let more = items.len() > limit;
    items.truncate(limit);
    let next = items.last().filter(|_| more).map(key);
    Page { items, next }
}

/// A page of a short list that was read whole.
pub(crate) fn page<T>(
    all: Vec<T>,
    query: &PageQuery,
    key: impl Fn(&T) -> String,
) -> Result<Page<T>, Refusal> {
    let limit = limit(query.limit)?;
    let from = match &query.cursor {
        None => 0,
        Some(cursor) => all.iter().position(|item| key(item) == *cursor).ok_or_else(no_cursor)? + 1,
    };
    Ok(cut(all.into_iter().skip(from).collect(), limit, key))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn query(cursor: Option<&str>, limit: u32) -> PageQuery {
        PageQuery { cursor: cursor.map(str::to_owned), limit: Some(limit) }
    }

    #[test]
    fn pages_follow_each_other_to_the_last_which_names_no_next() {
        let all = vec!["a", "b", "c", "d"];
        let page = |cursor, limit| {
            let page = page(all.clone(), &query(cursor, limit), |item| (*item).to_owned());
            page.map(|page| (page.items, page.next)).map_err(|refusal| refusal.0.kind)
        };
        assert_eq!(page(None, 3).expect("a page"), (vec!["a", "b", "c"], Some("c".to_owned())));
        assert_eq!(page(Some("c"), 3).expect("a page"), (vec!["d"], None));
        assert_eq!(page(Some("b"), 2).expect("a page"), (vec!["c", "d"], None));
        assert_eq!(page(Some("d"), 2).expect("a page"), (vec![], None));
        for (cursor, limit) in [(Some("x"), 2), (None, 0), (None, 501)] {
            assert!(page(cursor, limit).is_err(), "{cursor:?} {limit}");
        }
    }
}
