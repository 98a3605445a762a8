//! The impact of a catalogue on all open orders, before it is put in force.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};
use std::hash::Hash;
use std::sync::Arc;
use std::thread;

use contract::catalogue::{ImpactView, OrderImpact, ProcedureImpact, TaskKey};
use derivation::compare::Key;
use derivation::index::Compiled;
use store::labour_words::LabourWordRow;
use store::lines::LineRow;
use store::orders::OrderRow;
use store::tasks::HeldRow;
use tokio::task::{JoinHandle, spawn_blocking};
use uuid::Uuid;

use crate::caller::Caller;
use crate::checks;
use crate::derive::Stated;
use crate::flow::{Flow, Step, ended};
use crate::foretell::{Foretold, Pair};
use crate::refusal::Refusal;

/// Orders that are loaded at once: few enough that the database sorts them in its memory.
const SHARE: usize = 400;

/// What deriving every open order anew with this version would change.
pub async fn impact(flow: &Flow, caller: &Caller, version: &str) -> Result<ImpactView, Refusal> {
    let turn = flow.turn().await?;
    let found = flow.read(caller, async |step| step.impact(flow, version).await).await;
    drop(turn);
    found
}

/// The catalogue that is tried, and those of the orders.
#[derive(Clone)]
struct Catalogues {
    tried: Arc<Compiled>,
    of_orders: HashMap<String, Arc<Compiled>>,
}

/// An open order as it stands.
struct Open {
    order: OrderRow,
    lines: Vec<LineRow>,
    tasks: Vec<HeldRow>,
    pending: BTreeSet<String>,
}

impl Step {
    /// Derives one share of the orders while the next is loaded, on as many threads as there are processors.
    async fn impact(&mut self, flow: &Flow, version: &str) -> Result<ImpactView, Refusal> {
        let shop = self.shop();
        let tried = self.catalogue(flow, version).await?;
        let words = store::labour_words::every(self.conn(), shop).await?;
        let unknown_labour_words = unknown_words(&tried, &words);
        let ids = store::orders::open(self.conn(), shop).await?;
        let mut catalogues = Catalogues { tried, of_orders: HashMap::new() };
        let threads = thread::available_parallelism().map_or(1, usize::from);
        let mut going_on: VecDeque<JoinHandle<Vec<OrderImpact>>> = VecDeque::new();
        let mut orders: Vec<OrderImpact> = Vec::new();
        for share in ids.chunks(SHARE) {
            let open = self.open_orders(share).await?;
            for one in &open {
                let version = &one.order.catalogue_version;
                if !catalogues.of_orders.contains_key(version) {
                    let compiled = self.catalogue(flow, version).await?;
                    catalogues.of_orders.insert(version.clone(), compiled);
                }
            }
            if going_on.len() >= threads
                && let Some(oldest) = going_on.pop_front()
            {
                orders.extend(ended(oldest).await?);
            }
            let catalogues = catalogues.clone();
            going_on.push_back(spawn_blocking(move || catalogues.foretell(open)));
        }
        for rest in going_on {
            orders.extend(ended(rest).await?);
        }
        let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        Ok(ImpactView {
            version: version.to_owned(),
            open_orders: count(ids.len()),
            affected_orders: count(orders.len()),
            procedures: by_procedure(&orders),
            unknown_labour_words,
            orders,
        })
    }

    /// These orders as they stand, in a few statements.
    async fn open_orders(&mut self, ids: &[Uuid]) -> Result<Vec<Open>, Refusal> {
        let shop = self.shop();
        let conn = self.conn();
        let orders = store::orders::load(&mut *conn, shop, ids).await?;
        let lines = store::lines::load(&mut *conn, shop, ids).await?;
        let tasks = store::tasks::held(&mut *conn, shop, ids).await?;
        let pending = store::questions::pending(&mut *conn, shop, ids).await?;
        let mut lines = grouped(lines, |line| line.order_id);
        let mut tasks = grouped(tasks, |task| task.order_id);
        let mut pending = grouped(pending, |(order, _)| *order);
        let orders = orders.into_iter().map(|order| Open {
            lines: lines.remove(&order.id).unwrap_or_default(),
            tasks: tasks.remove(&order.id).unwrap_or_default(),
            pending: pending
                .remove(&order.id)
                .into_iter()
                .flatten()
                .map(|(_, asks)| asks)
                .collect(),
            order,
        });
        Ok(orders.collect())
    }
}

impl Catalogues {
    /// What would change on these orders, where anything would.
    fn foretell(&self, orders: Vec<Open>) -> Vec<OrderImpact> {
        let pairs: HashMap<&str, Pair<'_>> = self
            .of_orders
            .iter()
            .map(|(version, old)| (version.as_str(), Pair::new(old, &self.tried)))
            .collect();
        let foretell = |open: Open| {
            let pair = pairs.get(open.order.catalogue_version.as_str())?;
            let stated = Stated::of(&open.order, &open.lines);
            let repair = stated.repair(&open.order.facts);
            let foretold = pair.foretell(&repair, &open.tasks, &open.lines, &open.pending);
            (foretold != Foretold::default()).then(|| shown(&open.order, foretold))
        };
        orders.into_iter().filter_map(foretell).collect()
    }
}

fn unknown_words(tried: &Compiled, words: &[LabourWordRow]) -> Vec<String> {
    let unknown = |word: &&LabourWordRow| {
        let mut operations = word.operations.iter();
        operations.any(|o| !checks::operation(tried, &o.operation(), "").is_empty())
    };
    words.iter().filter(unknown).map(|word| word.phrase.clone()).collect()
}

fn by_procedure(orders: &[OrderImpact]) -> Vec<ProcedureImpact> {
    let mut all: BTreeMap<String, ProcedureImpact> = BTreeMap::new();
    let mut count = |keys: &[TaskKey], add: fn(&mut ProcedureImpact)| {
        for key in keys {
            add(all.entry(key.procedure.clone()).or_default());
        }
    };
    for one in orders {
        count(&one.adds, |impact| impact.adds += 1);
        count(&one.withdraws, |impact| impact.withdraws += 1);
        count(&one.disturbs, |impact| impact.disturbs += 1);
        count(&one.revises, |impact| impact.revises += 1);
    }
    all.into_iter().map(|(procedure, impact)| ProcedureImpact { procedure, ..impact }).collect()
}

fn shown(order: &OrderRow, foretold: Foretold) -> OrderImpact {
    let keys = |keys: Vec<Key>| {
        keys.into_iter().map(|Key { procedure, place }| TaskKey { procedure, place }).collect()
    };
    OrderImpact {
        order: order.id,
        number: order.number.clone(),
        catalogue_version: order.catalogue_version.clone(),
        adds: keys(foretold.adds),
        withdraws: keys(foretold.withdraws),
        disturbs: keys(foretold.disturbs),
        revises: keys(foretold.revises),
        unknown_operations: foretold.unknown,
        asks: foretold.asks,
    }
}

fn grouped<K: Hash + Eq, T>(rows: Vec<T>, key: impl Fn(&T) -> K) -> HashMap<K, Vec<T>> {
    let mut groups: HashMap<K, Vec<T>> = HashMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}
