//! What every step needs: the database, and transactions that carry an idempotency key.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use contract::problem::ProblemKind;
use journal::key::SealingKey;
use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest as _, Sha256};
use store::stored_answers::{self, Known, StoredAnswer};
use store::{Conn, Db, Moment, StoreError, Tx};
use tokio::sync::{Notify, OwnedSemaphorePermit, Semaphore, broadcast, watch};
use tokio::task::JoinHandle;
use uuid::Uuid;

use crate::caller::{Call, Caller, Once};
use crate::ids::Ids;
use crate::reading::Readers;
use crate::recent::{Left, Recent};
use crate::record::Signature;
use crate::refusal::Refusal;
use crate::shelf::Shelf;

/// Changes that a watcher may be behind before it must look at everything.
const REMEMBERED: usize = 1024;

/// The steps' common ground. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Flow {
    pub(crate) db: Db,
    /// Rings after every committed change, for the duties of this process; they poll besides.
    pub(crate) bell: Arc<Notify>,
    /// Tells who watches an order, in this process, that it changed; they look by themselves besides.
    pub(crate) changes: broadcast::Sender<Uuid>,
    pub(crate) shelf: Arc<Shelf>,
    pub(crate) readers: Arc<Readers>,
    pub(crate) recent: Arc<Recent>,
    pub(crate) sealing: Option<Arc<SealingKey>>,
    /// Rings after entries of the journal got their positions in this process.
    pub(crate) sealed: Arc<Notify>,
    /// Whether the service stops: nobody waits for anything any more.
    stopping: watch::Sender<bool>,
    /// Turns at heavy work, so that large documents do not fill the memory beside each other.
    turns: Arc<Semaphore>,
}

/// Heavy work that runs at once.
const TURNS: usize = 2;

/// One transaction of one caller.
#[derive(Debug)]
pub struct Step {
    pub(crate) tx: Tx,
    pub(crate) caller: Caller,
    moment: Option<Moment>,
    ids: Ids,
    /// Orders that entries were written for.
    pub(crate) touched: BTreeSet<Uuid>,
    /// The numbers that the next entries of orders will have, whose rows are locked.
    pub(crate) next_seqs: BTreeMap<Uuid, i64>,
    /// What a batch of evidence left, for the next one.
    pub(crate) left: Option<Left>,
    pub(crate) signature: Option<Signature>,
}

impl Flow {
    /// Ties the steps to a database.
    pub fn new(db: Db) -> Self {
        let (changes, _) = broadcast::channel(REMEMBERED);
        Self {
            db,
            bell: Arc::new(Notify::new()),
            changes,
            shelf: Arc::default(),
            readers: Arc::default(),
            recent: Arc::default(),
            sealing: None,
            sealed: Arc::new(Notify::new()),
            stopping: watch::Sender::new(false),
            turns: Arc::new(Semaphore::new(TURNS)),
        }
    }

    /// The same with the key that checkpoints are signed with; without one nothing is sealed.
    #[must_use]
    pub fn sealing_with(self, key: SealingKey) -> Self {
        Self { sealing: Some(Arc::new(key)), ..self }
    }

    /// The database, for readiness.
    pub fn db(&self) -> &Db {
        &self.db
    }

    /// Lets everybody go who waits for news, because the service stops.
    pub fn stop(&self) {
        self.stopping.send_replace(true);
    }

    /// Whether the service stops.
    pub fn is_stopping(&self) -> bool {
        *self.stopping.borrow()
    }

    /// Returns when the service stops.
    pub(crate) async fn stopped(&self) {
        // The sender lives in this flow, so that the wait can't fail.
        let _ = self.stopping.subscribe().wait_for(|stopping| *stopping).await;
    }

    /// Runs a step that writes. With an idempotency key, an answer that was given before is given again. A step that
    /// collided with another transaction is run once more.
    pub(crate) async fn write<T, S>(
        &self,
        call: &Call,
        operation: &str,
        step: S,
    ) -> Result<T, Refusal>
    where
        T: Serialize + DeserializeOwned,
        S: AsyncFn(&mut Step) -> Result<T, Refusal>,
    {
        match self.write_once(call, operation, &step).await {
            Err(refusal) if matches!(refusal.0.cause, Some(StoreError::Collision)) => {
                self.write_once(call, operation, &step).await
            }
            done => done,
        }
    }

    async fn write_once<T, S>(&self, call: &Call, operation: &str, step: &S) -> Result<T, Refusal>
    where
        T: Serialize + DeserializeOwned,
        S: AsyncFn(&mut Step) -> Result<T, Refusal>,
    {
        let shop = call.caller.shop;
        let tx = self.db.begin(&[shop]).await?;
        let mut here = Step::new(tx, call.caller.clone());
        if let Some(once) = &call.once
            && let Some(answer) = here.answered(operation, once).await?
        {
            return Ok(serde_json::from_str(&answer).map_err(StoreError::from)?);
        }
        let answer = step(&mut here).await;
        match &answer {
            Ok(answer) => {
                if let Some(once) = &call.once {
                    here.answer(operation, once, answer).await?;
                }
            }
            Err(refusal) if refusal.0.kept => {}
            Err(_) => return answer,
        }
        store::commit(here.tx).await?;
        self.bell.notify_waiters();
        if let Some(left) = here.left {
            self.recent.put(left);
        }
        for order in here.touched {
            // Nobody may be watching.
            drop(self.changes.send(order));
        }
        answer
    }

    /// Runs a step that writes, and takes all of it back: what would be, if.
    pub(crate) async fn imagine<T, S>(&self, caller: &Caller, step: S) -> Result<T, Refusal>
    where
        S: AsyncFnOnce(&mut Step) -> Result<T, Refusal>,
    {
        let tx = self.db.begin(&[caller.shop]).await?;
        let mut here = Step::new(tx, caller.clone());
        let imagined = step(&mut here).await?;
        store::roll_back(here.tx).await?;
        Ok(imagined)
    }

    /// Runs a step that reads one state.
    pub(crate) async fn read<T, S>(&self, caller: &Caller, step: S) -> Result<T, Refusal>
    where
        S: AsyncFnOnce(&mut Step) -> Result<T, Refusal>,
    {
        let tx = self.db.begin_reading(&[caller.shop]).await?;
        let mut here = Step::new(tx, caller.clone());
        step(&mut here).await
    }
}

impl Flow {
    /// Waits for a turn at heavy work; it lasts until it is dropped.
    pub(crate) async fn turn(&self) -> Result<OwnedSemaphorePermit, Refusal> {
        let turn = Arc::clone(&self.turns).acquire_owned().await;
        turn.map_err(|_| Refusal::new(ProblemKind::Unavailable, "the service stops"))
    }

    /// Runs heavy work off the threads that answer requests, when its turn comes.
    pub(crate) async fn aside<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Refusal> {
        let turn = self.turn().await?;
        // The turn lasts as long as the work, also when nobody waits for it any more.
        off_the_runtime(move || {
            let done = work();
            drop(turn);
            done
        })
        .await
    }
}

/// Runs work off the threads that answer requests.
pub(crate) async fn off_the_runtime<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    ended(tokio::task::spawn_blocking(work)).await
}

/// Waits for work that was begun off those threads.
pub(crate) async fn ended<T>(work: JoinHandle<T>) -> Result<T, Refusal> {
    work.await.map_err(|error| {
        tracing::error!(%error, "heavy work broke off");
        Refusal::new(ProblemKind::Internal, "a fault of the service; it is in the log")
    })
}

impl Step {
    fn new(tx: Tx, caller: Caller) -> Self {
        Self {
            tx,
            caller,
            moment: None,
            ids: Ids::new(),
            touched: BTreeSet::new(),
            next_seqs: BTreeMap::new(),
            left: None,
            signature: None,
        }
    }

    /// The connection.
    pub(crate) fn conn(&mut self) -> &mut Conn {
        &mut self.tx
    }

    /// The shop.
    pub(crate) fn shop(&self) -> Uuid {
        self.caller.shop
    }

    /// The time of this step: the service's clock, read once. Ask for it after taking locks.
    pub(crate) async fn now(&mut self) -> Result<DateTime<Utc>, Refusal> {
        Ok(self.moment().await?.now)
    }

    /// When this is done and who does it, read once.
    pub(crate) async fn moment(&mut self) -> Result<&Moment, Refusal> {
        if self.moment.is_none() {
            let technician = self.caller.technician.map(|id| (self.caller.shop, id));
            self.moment = Some(store::moment(&mut self.tx, technician).await?);
        }
        self.moment.as_ref().ok_or_else(|| Refusal::new(ProblemKind::Internal, "no clock"))
    }

    /// A fresh id.
    pub(crate) async fn new_id(&mut self) -> Result<Uuid, Refusal> {
        let now = self.now().await?;
        Ok(self.ids.next(now))
    }

    /// Keeps the answer to a key for the caller who used it.
    async fn answer(
        &mut self,
        operation: &str,
        once: &Once,
        answer: &impl Serialize,
    ) -> Result<(), Refusal> {
        let (shop, at) = (self.shop(), self.now().await?);
        let stored = StoredAnswer {
            fingerprint: once.fingerprint.to_vec(),
            answer: serde_json::to_string(answer).map_err(StoreError::from)?,
        };
        let operation = self.own(operation);
        Ok(stored_answers::insert(&mut self.tx, shop, &operation, &once.key, &stored, at).await?)
    }

    /// An operation as its answers are kept: two people who use the same key do not get each other's.
    fn own(&self, operation: &str) -> String {
        format!("{operation} by {}", self.caller.person())
    }

    /// The answer given to this key before, after locking the key so that a second request does not run beside it.
    async fn answered(&mut self, operation: &str, once: &Once) -> Result<Option<String>, Refusal> {
        let shop = self.shop();
        let operation = self.own(operation);
        let mut hash = Sha256::new();
        for part in [shop.as_bytes().as_slice(), operation.as_bytes(), once.key.as_bytes()] {
            hash.update(part);
            hash.update([0]);
        }
        let digest: [u8; 32] = hash.finalize().into();
        let mut lock = [0; 8];
        lock.copy_from_slice(&digest[..8]);
        let lock = i64::from_be_bytes(lock);
        match stored_answers::find(&mut self.tx, shop, &operation, &once.key, lock).await? {
            Known::New => Ok(None),
            Known::Busy => Err(Refusal::new(
                ProblemKind::RequestInProgress,
                "a request with this idempotency key still runs",
            )),
            Known::Answered(stored) if stored.fingerprint == once.fingerprint => {
                Ok(Some(stored.answer))
            }
            Known::Answered(_) => Err(Refusal::new(
                ProblemKind::IdempotencyKeyReused,
                "this idempotency key was used with another body",
            )),
        }
    }
}
