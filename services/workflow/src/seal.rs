//! A duty: entries get their positions, gap-free; the tree grows over them; its root is signed.

use contract::journal::{CheckpointView, EntryView, ProofQuery, ProofView};
use contract::list::{Page, PageQuery};
use journal::checkpoint::{Checkpoint, origin};
use journal::hash::{Hash, leaf};
use journal::key::SealingKey;
use journal::proof::{self, Plan};
use journal::tree::{Frontier, NodeId, peaks};
use store::journal::{CheckpointRow, NodeRow, SealedRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::checks::fault;
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::hex;
use crate::refusal::Refusal;

/// Seconds for which a process holds the duty of sealing a shop's journal.
const HOLD: f64 = 5.0;
/// Entries that one round seals at the most.
const BATCH: i64 = 1_000;

/// Seals what is new in a shop's journal, and says how many entries. One process at a time does; entries that commit
/// later get later positions, whatever their time.
pub async fn seal(flow: &Flow, shop: Uuid, holder: Uuid) -> Result<usize, Refusal> {
    let Some(key) = flow.sealing.clone() else { return Ok(0) };
    let caller = Caller::duty(shop, "sealer");
    let anything = flow
        .read(&caller, async |step| {
            let shop = step.shop();
            Ok(store::journal::any_unsealed(step.conn(), shop).await?)
        })
        .await?;
    if !anything {
        return Ok(0);
    }
    let call = Call { caller, once: None, expects: None };
    let sealed =
        flow.write(&call, "journal.seal", async |step| step.seal(holder, &key).await).await?;
    if sealed > 0 {
        flow.sealed.notify_waiters();
    }
    Ok(sealed)
}

impl Step {
    async fn seal(&mut self, holder: Uuid, key: &SealingKey) -> Result<usize, Refusal> {
        let shop = self.shop();
        if !store::shops::hold_duty(self.conn(), shop, "seal", holder, HOLD).await? {
            return Ok(0);
        }
        let fresh = store::journal::unsealed(self.conn(), shop, BATCH).await?;
        if fresh.is_empty() {
            return Ok(0);
        }
        let size = store::journal::size(self.conn(), shop).await?;
        let mut frontier = self.frontier(size).await?;
        let ids: Vec<Uuid> = fresh.iter().map(|(id, _)| *id).collect();
        let leaves: Vec<Hash> = fresh.iter().map(|(_, bytes)| leaf(bytes)).collect();
        let nodes: Vec<NodeRow> = frontier
            .append(&leaves)
            .into_iter()
            .map(|node| NodeRow {
                level: i32::from(node.id.level),
                index: signed(node.id.index),
                hash: node.hash.0.to_vec(),
            })
            .collect();
        store::journal::put_positions(self.conn(), shop, size, &ids).await?;
        store::journal::put_nodes(self.conn(), shop, &nodes).await?;
        let now = self.now().await?;
        let statement = Checkpoint {
            origin: origin(shop),
            size: frontier.size(),
            root: frontier.root(),
            time: now,
        };
        let signed_one = statement.sign(key);
        let row = CheckpointRow {
            size: signed(frontier.size()),
            root: frontier.root().0.to_vec(),
            note: signed_one.to_text(),
            made_at: now,
        };
        store::journal::put_checkpoint(self.conn(), shop, &row).await?;
        Ok(fresh.len())
    }

    async fn frontier(&mut self, size: i64) -> Result<Frontier, Refusal> {
        let wanted = peaks(unsigned(size));
        let hashes = self.nodes(&wanted).await?;
        Frontier::resume(unsigned(size), hashes).map_err(|wrong| broken(&wrong.to_string()))
    }

    /// Stored nodes, in the order asked for.
    async fn nodes(&mut self, wanted: &[NodeId]) -> Result<Vec<Hash>, Refusal> {
        let shop = self.shop();
        let levels: Vec<i32> = wanted.iter().map(|id| i32::from(id.level)).collect();
        let indices: Vec<i64> = wanted.iter().map(|id| signed(id.index)).collect();
        let rows = store::journal::nodes(self.conn(), shop, &levels, &indices).await?;
        wanted
            .iter()
            .map(|id| {
                let row = rows
                    .iter()
                    .find(|r| r.level == i32::from(id.level) && r.index == signed(id.index));
                row.and_then(|row| Hash::try_from(row.hash.as_slice()).ok())
                    .ok_or_else(|| broken("a node of the tree is missing"))
            })
            .collect()
    }

    async fn fold(&mut self, plan: &Plan) -> Result<Vec<String>, Refusal> {
        let wanted: Vec<NodeId> = plan.nodes().collect();
        let hashes = self.nodes(&wanted).await?;
        let of = |id: NodeId| wanted.iter().position(|w| *w == id).map(|at| hashes[at]);
        let folded = plan.fold(of).map_err(|error| broken(&error.to_string()))?;
        Ok(folded.iter().map(|hash| hex(&hash.0)).collect())
    }
}

/// A page of checkpoints, newest first.
pub async fn checkpoints(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<CheckpointView>, Refusal> {
    let key = flow.sealing.as_ref().map(|key| hex(key.public().as_bytes())).unwrap_or_default();
    let (limit, below) = (list::limit(query.limit)?, number(query.cursor.as_deref())?);
    flow.read(caller, async |step| {
        let shop = step.shop();
        let rows = store::journal::checkpoints(step.conn(), shop, below, limit + 1).await?;
        let all = rows.into_iter().map(|row| CheckpointView {
            size: row.size,
            root: hex(&row.root),
            made_at: row.made_at,
            note: row.note,
            public_key: key.clone(),
        });
        Ok(list::cut(all.collect(), limit, |checkpoint| checkpoint.size.to_string()))
    })
    .await
}

/// The cursor of a list of the journal: a position or a size.
fn number(cursor: Option<&str>) -> Result<Option<i64>, Refusal> {
    cursor.map(|text| text.parse().map_err(|_| list::no_cursor())).transpose()
}

/// A proof that an entry is in the journal, or that the journal only grew.
pub async fn prove(flow: &Flow, caller: &Caller, query: &ProofQuery) -> Result<ProofView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let newest = store::journal::size(step.conn(), shop).await?;
        let size = query.size.unwrap_or(newest);
        if size < 1 || size > newest {
            return Err(Refusal::unprocessable(vec![fault(
                "size",
                format!("the journal has {newest} entries"),
            )]));
        }
        let plan = match (query.position, query.from) {
            (Some(position), None) if position >= 0 => {
                proof::inclusion_nodes(unsigned(position), unsigned(size))
            }
            (None, Some(from)) if from >= 0 => {
                proof::consistency_nodes(unsigned(from), unsigned(size))
            }
            _ => {
                return Err(Refusal::unprocessable(vec![fault(
                    "query",
                    "name a `position` or an earlier size `from`",
                )]));
            }
        };
        let plan =
            plan.map_err(|error| Refusal::unprocessable(vec![fault("query", error.to_string())]))?;
        let hashes = step.fold(&plan).await?;
        Ok(ProofView { position: query.position, from: query.from, size, hashes })
    })
    .await
}

/// Entries behind a position, in the journal's order.
pub async fn entries(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<EntryView>, Refusal> {
    let (limit, after) = (list::limit(query.limit)?, number(query.cursor.as_deref())?);
    flow.read(caller, async |step| {
        let shop = step.shop();
        let rows =
            store::journal::sealed(step.conn(), shop, after.unwrap_or(-1), limit + 1).await?;
        let page = list::cut(rows, limit, |row| row.position.to_string());
        let view = |row: SealedRow| EntryView {
            id: row.id,
            position: Some(row.position),
            leaf: hex(&leaf(&row.bytes).0),
            canonical: String::from_utf8_lossy(&row.bytes).into_owned(),
            names: row.names,
        };
        Ok(Page { items: page.items.into_iter().map(view).collect(), next: page.next })
    })
    .await
}

fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

fn unsigned(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(0)
}

fn broken(detail: &str) -> Refusal {
    Refusal::new(
        contract::problem::ProblemKind::Internal,
        format!("the journal's tree does not hold: {detail}"),
    )
}
